#!/usr/bin/env bash
# Tests the pages of the example in headless Chromium: the audit, the talk and the page of the car. run.sh [FOLDER for screenshots]
# Needs the binary from `cargo build`, Chromium, Node.js and npm.
set -euo pipefail
shots=${1:+$(realpath "$1")}
cd "$(dirname "$0")"
tierod=${TIEROD:-$(realpath ../../target/debug/tierod)}
here=$PWD
work=$(mktemp -d)
page=
finish() {
  if [ -n "$page" ]; then
    kill "$page" 2>/dev/null || true
    wait "$page" 2>/dev/null || true
    cat "$work/page.log"
  fi
  rm -rf "$work"
}
trap finish EXIT
cp package.json .npmrc accessible.mjs audit.mjs audit_print.mjs paper.mjs "$work"
(cd "$work" && npm install --silent --no-audit --no-fund)
export TIEROD_MODULES="$work/node_modules"
"$tierod" example "$work/season" >/dev/null
status=0
(cd "$work/season" && "$tierod" audit --format html >"$work/audit.html") || status=$?
# Findings at error level are not a failure of the page.
[ "$status" -le 1 ]

# The page and the audit take a browser each, so that both cores have work.
"$here/page.sh" ${shots:+"$shots"} >"$work/page.log" 2>&1 &
page=$!
cd "$work"
node audit.mjs "$work/audit.html" ${shots:+"$shots"}
# In the middle of the season, at its end, and both in brief.
middle=$(git -C "$work/season" rev-list -1 --before=2027-03-20 HEAD)
for state in middle end; do
  rev=$([ "$state" = middle ] && echo "$middle" || echo HEAD)
  for brief in "" --brief; do
    status=0
    (cd "$work/season" && "$tierod" audit --rev "$rev" $brief --format html >"$work/$state$brief.html") || status=$?
    [ "$status" -le 1 ]
  done
done
node audit_print.mjs "$work" ${shots:+"$shots"}

"$here/deck.sh" ${shots:+"$shots"}
status=0
wait "$page" || status=$?
page=
cat "$work/page.log"
exit "$status"
