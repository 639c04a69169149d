#!/usr/bin/env bash
# Tests the page of the car in headless Chromium; it takes some minutes. page.sh [FOLDER for screenshots]
# Needs the binary from `cargo build`, Chromium, Node.js and npm.
set -euo pipefail
shots=${1:+$(realpath "$1")}
cd "$(dirname "$0")"
tierod=${TIEROD:-$(realpath ../../target/debug/tierod)}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json .npmrc page.mjs page_watch.mjs "$work"
(cd "$work" && npm install --silent --no-audit --no-fund)
"$tierod" example "$work/season" >/dev/null
cd "$work"
(cd "$work/season" && "$tierod" page --output "$work/page.html")
node page.mjs "$work/page.html" ${shots:+"$shots"}
(cd "$work/season" && exec "$tierod" page --watch --output "$work/live.html") &
watch=$!
for _ in $(seq 1800); do [ -e "$work/live.html" ] && break; sleep 0.1; done
cp "$work/live.html" "$work/open.html"
kill -INT "$watch"
wait "$watch"
node page_watch.mjs "$work/open.html" "$work/live.html"
