#!/bin/sh
# The hook `tierod-delta-system` of the pre-commit framework, for CI and before a push: compares what is checked with
# the commit where it branched off from --from-ref.
#
#   pre-commit-delta.sh TIEROD [ROOT]
#
# The framework passes --from-ref and --to-ref, and in the stage pre-push what is pushed, as PRE_COMMIT_FROM_REF and
# PRE_COMMIT_TO_REF. Without them (`run --all-files`) the base is the one that `tierod delta` finds itself.
set -eu

tierod=$1
root=${2:-.}
from=${PRE_COMMIT_FROM_REF:-}
to=${PRE_COMMIT_TO_REF:-HEAD}
if [ -z "$from" ]; then
  exec "$tierod" delta --root "$root" --format lines
fi
# What the other side has got since is not part of the change.
if ! base=$(git merge-base "$from" "$to"); then
  echo "no commit in common with $from: fetch the whole history, for example with \`git fetch --unshallow\`" >&2
  exit 2
fi
exec "$tierod" delta "$base" "$to" --root "$root" --format lines
