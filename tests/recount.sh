#!/usr/bin/env bash
# The figures of the audit of the example's season, calculated again by a script that shares no code with tierod.
# Needs the binary from `cargo build`, python3 and PyYAML.
set -euo pipefail
cd "$(dirname "$0")"
tierod=${TIEROD:-$(realpath ../target/debug/tierod)}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
"$tierod" example "$work/season" >/dev/null
status=0
(cd "$work/season" && "$tierod" audit --format json >"$work/audit.json") || status=$?
[ "$status" -le 1 ]
python3 recount.py "$work/season" "$work/audit.json"
