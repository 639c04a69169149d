#!/bin/sh
# The hooks `tierod-check` and `tierod-delta` of the pre-commit framework: builds tierod in the clone that the framework
# creates, which takes minutes the first time only, then checks the index, or with --delta what was pushed.
#
# The framework's `language: rust` would run `cargo install --path .`, which fails in a workspace without a package at
# its top.
set -eu

here=$(CDPATH='' cd -- "$(dirname -- "$0")/../.." && pwd)
target=${CARGO_TARGET_DIR:-$here/target}
# The framework starts hooks in the repository that is checked, and nothing of it must decide what is built.
case $target in
  /*) ;;
  *) target=$here/$target ;;
esac

if ! command -v cargo >/dev/null 2>&1; then
  echo "cargo not found; it is needed to build tierod from source" >&2
  echo "install Rust, or add tierod to the PATH and use the hook with -system at the end of its name" >&2
  exit 2
fi
# In this folder, because cargo and rustup read rust-toolchain.toml and .cargo/config.toml from the folder they start in.
(cd "$here" && cargo build --quiet --release --locked --package tierod --target-dir "$target" >&2)
if [ "${1:-}" = --delta ]; then
  shift
  exec "$here/templates/ci/pre-commit-delta.sh" "$target/release/tierod" "$@"
fi
exec "$target/release/tierod" check --staged "$@"
