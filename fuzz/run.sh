#!/bin/sh
# Runs the fuzz target `reader` for a number of seconds (60 by default), with optional arguments for libFuzzer;
# fails if it finds a problem.
# Findings are written to fuzz/artifacts/reader; add a short one to schema/src/read/tests.rs.
#
# A stable compiler is enough. RUSTC_BOOTSTRAP=1 allows the flags that coverage needs, and
# the address sanitizer is off, because the workspace forbids unsafe code. To turn it on:
#   SANITIZER=address sh fuzz/run.sh
set -eu
seconds="${1:-60}"
[ $# = 0 ] || shift
cd "$(dirname "$0")"
command -v cargo-fuzz >/dev/null || cargo install cargo-fuzz --locked
mkdir -p found
RUSTC_BOOTSTRAP=1 exec cargo fuzz run reader --fuzz-dir . --sanitizer "${SANITIZER:-none}" found corpus/reader -- \
    -max_total_time="$seconds" -timeout=10 -rss_limit_mb=1024 -max_len=4096 -dict=yaml.dict -print_final_stats=1 "$@"
