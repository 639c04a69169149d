#!/bin/sh
# The hook `tierod-check` of the pre-commit framework: builds tierod in the clone that the framework keeps, which
# takes minutes the first time and none after it, then checks what is staged.
#
# The framework's `language: rust` would run `cargo install --path .`, which a workspace without a package at its
# top refuses.
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
target=${CARGO_TARGET_DIR:-$here/target}

if ! command -v cargo >/dev/null 2>&1; then
  echo "tierod is built from its source, and there is no cargo here" >&2
  echo "install Rust; or put tierod on the PATH and use the hook tierod-check-system" >&2
  exit 2
fi
cargo build --quiet --release --locked --package tierod --manifest-path "$here/Cargo.toml" --target-dir "$target" >&2
exec "$target/release/tierod" check --staged "$@"
