#!/usr/bin/env bash
# Tests the hooks of .pre-commit-hooks.yaml with the real pre-commit framework, from PyPI, on a copy of the example
# car, and validates the workflow files with the forges' schemas in check-jsonschema, from PyPI.
#
#   tests/pre-commit.sh TIEROD [system|all]
#
# TIEROD is a built program, for the hook that uses it from the PATH; `system` omits the hook that builds its own.
# The commit at HEAD is tested. Needs python3 with pip. INSTALLED_HOOKS names a folder in which the framework keeps what it has
# built for that commit.
set -euo pipefail

top=$(cd "$(dirname "$0")/.." && pwd)
program=$(realpath "${1:?name the built program}")
which=${2:-all}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

python3 -m pip install --quiet --disable-pip-version-check --root-user-action=ignore --target "$work/tools" \
  pre-commit==4.7.0 check-jsonschema==0.39.0
export PYTHONPATH="$work/tools" PRE_COMMIT_HOME="${INSTALLED_HOOKS:-$work/cache}" PRE_COMMIT_COLOR=never
mkdir "$work/bin"
ln -s "$program" "$work/bin/tierod"
export PATH="$work/bin:$PATH"
export GIT_CONFIG_GLOBAL=/dev/null GIT_CONFIG_NOSYSTEM=1
export GIT_AUTHOR_NAME=Team GIT_AUTHOR_EMAIL=team@example.org
export GIT_COMMITTER_NAME=Team GIT_COMMITTER_EMAIL=team@example.org

passed=0
fail() {
  echo "FAILED: $*" >&2
  exit 1
}
pass() {
  echo "ok: $*"
  passed=$((passed + 1))
}

framework() { python3 -m pre_commit "$@"; }
schema() { python3 -m check_jsonschema --builtin-schema "$@"; }

framework validate-manifest "$top/.pre-commit-hooks.yaml"
pass "the framework accepts the list of hooks"

# Each schema also rejects a file with an error.
valid() {
  local name=$1 file=$2 error=$3
  schema "$name" "$file" >/dev/null || fail "$file does not match $name"
  sed "$error" "$file" >"$work/error.yml"
  cmp -s "$file" "$work/error.yml" && fail "the error for $file changes nothing"
  schema "$name" "$work/error.yml" >/dev/null && fail "$name accepts an error"
  pass "$(basename "$file") matches $name"
}
valid vendor.github-workflows "$top/templates/ci/github-workflow.yml" 's/runs-on:/runs-at:/'
valid vendor.gitlab-ci "$top/templates/ci/gitlab-ci.yml" 's/when: always/when: ever/'

# commit MESSAGE: commits what is staged, and keeps the output.
commit() { git commit -q -m "$1" >"$work/said" 2>&1; }
refused() {
  local before after
  before=$(git rev-parse HEAD)
  if commit "$1"; then fail "$1: was not refused"; fi
  after=$(git rev-parse HEAD)
  [ "$before" = "$after" ] || fail "$1: there is a commit"
  grep -q -- "$2" "$work/said" || { cat "$work/said"; fail "$1: \`$2\` is not in the output"; }
  pass "$1: refused, with the reason"
}
accepted() {
  commit "$1" || { cat "$work/said"; fail "$1: was refused"; }
  grep -Eq 'tierod check\.+Passed' "$work/said" || { cat "$work/said"; fail "$1: the hook did not run"; }
  pass "$1: accepted"
}

try() {
  local id=$1 delta=${1/check/delta}
  echo "== $id"
  git init -q -b main "$work/$id"
  cd "$work/$id"
  cp -R "$top/example-car" car
  cat >.pre-commit-config.yaml <<END
default_install_hook_types: [pre-commit, pre-merge-commit]
repos:
  - repo: $top
    rev: $(git -C "$top" rev-parse HEAD)
    hooks:
      - id: $id
        args: [car]
      - id: $delta
        args: [car]
END
  framework install >/dev/null
  git add .
  accepted "$id, the example car"

  printf 'parts:\n  stay:\n    in: bodywork-and-aero\n    serves: {bare-darg: It holds the wing.}\n' >car/stay.yaml
  git add .
  refused "$id, a link to an unknown record" 'car/stay.yaml:4:14.*unknown-reference'
  grep -A 2 unknown-reference "$work/said"

  # The index counts, not the working tree.
  sed -i.bak 's/bare-darg/bare-drag/' car/stay.yaml && rm car/stay.yaml.bak
  refused "$id, fixed in the working tree only" unknown-reference
  git rm -q -f --cached car/stay.yaml
  printf 'parts: {stay: {in: nowhere}}\n' >car/stay.yaml
  sed -i.bak 's/Tarnmoor Student Racing/The team/' car/tierod.yaml && rm car/tierod.yaml.bak
  git add car/tierod.yaml
  accepted "$id, broken in the working tree only"
  rm car/stay.yaml

  # The hook runs, although the framework has no file to pass to it.
  git rm -q -r car/aero
  refused "$id, a folder that others need is removed" unknown-reference
  git reset -q --hard
  git tag before

  # A merge: each of two branches adds a record with the same id.
  for side in left right; do
    git checkout -q -B "$side" before
    printf 'parts:\n  stay:\n    in: bodywork-and-aero\n    serves: {bare-drag: It holds the %s wing.}\n' "$side" >"car/$side.yaml"
    git add .
    accepted "$id, a record in the branch $side"
  done
  if git merge -q --no-edit left >"$work/said" 2>&1; then fail "$id: the merge was committed"; fi
  grep -q duplicate-id "$work/said" || { cat "$work/said"; fail "$id: no duplicate-id in the output"; }
  pass "$id, a merge of two records with one id: refused, with the reason"
  git reset -q --hard

  # CI: nothing is staged, so only the comparison finds what the branch broke.
  git checkout -q -B broken before
  for part in one two three four; do printf 'parts: {%s: {in: nowhere}}\n' "$part" >"car/$part.yaml"; done
  git add .
  git commit -q --no-verify -m "four errors"
  framework run --all-files >"$work/said" 2>&1 || { cat "$work/said"; fail "$id: --all-files finds something"; }
  if framework run --hook-stage manual "$delta" --from-ref before --to-ref HEAD >"$work/said" 2>&1; then
    fail "$delta: passed with four new errors"
  fi
  [ "$(grep -c '^car/.*unknown-reference' "$work/said")" = 4 ] || { cat "$work/said"; fail "$delta: not four errors"; }
  pass "$delta, --from-ref: refused, with the four errors"
  framework run --hook-stage manual "$delta" --from-ref HEAD --to-ref HEAD >"$work/said" 2>&1 ||
    { cat "$work/said"; fail "$delta: refused without a change"; }
  grep -Eq 'tierod delta\.+Passed' "$work/said" || { cat "$work/said"; fail "$delta: the hook did not run"; }
  pass "$delta, without a change: accepted"
}

try tierod-check-system
if [ "$which" = all ]; then
  try tierod-check
fi
printf 'pre-commit: %s passed, 0 failed\n' "$passed"
