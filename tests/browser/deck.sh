#!/usr/bin/env bash
# Tests the talk of the example car, and of the example's season, in headless Chromium. deck.sh [FOLDER for screenshots]
# Needs the binary from `cargo build`, Chromium, Node.js, npm.
set -euo pipefail
shots=${1:+$(realpath "$1")}
cd "$(dirname "$0")"
tierod=${TIEROD:-$(realpath ../../target/debug/tierod)}
example=$(realpath ../../example-car)
here=$PWD
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json .npmrc accessible.mjs deck.mjs "$work"
# run.sh has installed the packages already.
if [ -n "${TIEROD_MODULES:-}" ]; then
  cp -r "$TIEROD_MODULES" "$work/node_modules"
else
  (cd "$work" && npm install --silent --no-audit --no-fund)
fi
"$tierod" example "$work/season" >/dev/null
cd "$work"
"$tierod" deck "$example" --output "$work/example.html" >/dev/null
"$tierod" deck "$work/season" --for judges --output "$work/season.html" >/dev/null
node deck.mjs "$work/season.html" ${shots:+"$shots"}
node deck.mjs "$work/example.html"
cd "$here"
