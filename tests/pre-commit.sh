#!/usr/bin/env bash
# Tries the hooks of .pre-commit-hooks.yaml with the real pre-commit framework, from PyPI, on a copy of the example
# car, and the workflow files against the forges' schemas that check-jsonschema, from PyPI, carries.
#
#   tests/pre-commit.sh TIEROD [system|all]
#
# TIEROD is a built program, for the hook that takes it from the PATH; `system` leaves out the hook that builds its own.
# What is committed at HEAD is tried. Needs python3 with pip.
set -euo pipefail

top=$(cd "$(dirname "$0")/.." && pwd)
program=$(realpath "${1:?name the built program}")
which=${2:-all}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

python3 -m pip install --quiet --disable-pip-version-check --root-user-action=ignore --target "$work/tools" \
  pre-commit==4.7.0 check-jsonschema==0.39.0
export PYTHONPATH="$work/tools" PRE_COMMIT_HOME="$work/cache" PRE_COMMIT_COLOR=never
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
pass "the framework takes the list of hooks"

# Each schema also says no to a file with a slip in it.
valid() {
  local name=$1 file=$2 slip=$3
  schema "$name" "$file" >/dev/null || fail "$file does not fit $name"
  sed "$slip" "$file" >"$work/slip.yml"
  cmp -s "$file" "$work/slip.yml" && fail "the slip in $file changes nothing"
  schema "$name" "$work/slip.yml" >/dev/null && fail "$name takes anything"
  pass "$(basename "$file") fits $name"
}
valid vendor.github-workflows "$top/templates/ci/github-workflow.yml" 's/runs-on:/runs-at:/'
valid vendor.gitlab-ci "$top/templates/ci/gitlab-ci.yml" 's/when: always/when: ever/'

# commit MESSAGE: commits what is staged, and keeps what was said.
commit() { git commit -q -m "$1" >"$work/said" 2>&1; }
refused() {
  local before after
  before=$(git rev-parse HEAD)
  if commit "$1"; then fail "$1: was not refused"; fi
  after=$(git rev-parse HEAD)
  [ "$before" = "$after" ] || fail "$1: there is a commit"
  grep -q -- "$2" "$work/said" || { cat "$work/said"; fail "$1: \`$2\` is not told"; }
  pass "$1: refused, and told why"
}
accepted() {
  commit "$1" || { cat "$work/said"; fail "$1: was refused"; }
  grep -Eq 'tierod check\.+Passed' "$work/said" || { cat "$work/said"; fail "$1: the hook did not run"; }
  pass "$1: accepted"
}

try() {
  local id=$1
  echo "== $id"
  git init -q -b main "$work/$id"
  cd "$work/$id"
  cp -R "$top/example-car" car
  cat >.pre-commit-config.yaml <<END
repos:
  - repo: $top
    rev: $(git -C "$top" rev-parse HEAD)
    hooks:
      - id: $id
        args: [car]
END
  framework install >/dev/null
  git add .
  accepted "$id, the example car"

  printf 'parts:\n  stay:\n    in: bodywork-and-aero\n    serves: {bare-darg: It holds the wing.}\n' >car/stay.yaml
  git add .
  refused "$id, a link that leads nowhere" 'car/stay.yaml:4:14.*unknown-reference'
  sed -n '/unknown-reference/,/mend/p' "$work/said"

  # What is staged counts, not what is in the folder.
  sed -i.bak 's/bare-darg/bare-drag/' car/stay.yaml && rm car/stay.yaml.bak
  refused "$id, mended in the folder only" unknown-reference
  git rm -q -f --cached car/stay.yaml
  printf 'parts: {stay: {in: nowhere}}\n' >car/stay.yaml
  sed -i.bak 's/Tarnmoor Student Racing/The team/' car/tierod.yaml && rm car/tierod.yaml.bak
  git add car/tierod.yaml
  accepted "$id, broken in the folder only"
  rm car/stay.yaml

  # No file is left that the framework could pass to the hook, and still it runs.
  git rm -q -r car/aero
  refused "$id, a folder that others need is taken away" unknown-reference
}

try tierod-check-system
if [ "$which" = all ]; then
  try tierod-check
fi
printf 'pre-commit: %s passed, 0 failed\n' "$passed"
