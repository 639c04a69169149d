#!/bin/sh
# The hook `tierod-check` of the pre-commit framework: builds tierod in the clone that the framework creates, which
# takes minutes the first time only, then checks the index.
#
# The framework's `language: rust` would run `cargo install --path .`, which fails in a workspace without a package at
# its top.
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
target=${CARGO_TARGET_DIR:-$here/target}

if ! command -v cargo >/dev/null 2>&1; then
  echo "cargo not found; it is needed to build tierod from source" >&2
  echo "install Rust, or add tierod to the PATH and use the hook tierod-check-system" >&2
  exit 2
fi
cargo build --quiet --release --locked --package tierod --manifest-path "$here/Cargo.toml" --target-dir "$target" >&2
exec "$target/release/tierod" check --staged "$@"
