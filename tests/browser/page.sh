#!/usr/bin/env bash
# Tests the page of the car in headless Chromium: that of the example car, of the example's season, of records with odd names, of
# 3,000 records, and one that is written again while it is open. page.sh [FOLDER for screenshots]
# Needs the binary from `cargo build`, Chromium, Node.js and npm.
set -euo pipefail
shots=${1:+$(realpath "$1")}
cd "$(dirname "$0")"
tierod=${TIEROD:-$(realpath ../../target/debug/tierod)}
example=$(realpath ../../example-car)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json .npmrc accessible.mjs page.mjs page_paper.mjs page_roots.mjs page_watch.mjs paper.mjs "$work"
# run.sh has installed the packages already.
if [ -n "${TIEROD_MODULES:-}" ]; then
  cp -r "$TIEROD_MODULES" "$work/node_modules"
else
  (cd "$work" && npm install --silent --no-audit --no-fund)
fi
cd "$work"
"$tierod" example season >/dev/null
node page_roots.mjs names large
cp -r "$example" car
for root in car season names large; do
  "$tierod" page "$root" --output "$root.html"
done
"$tierod" page season --rev "$(git -C season rev-list -1 --before=2027-04-20 HEAD)" --output middle.html
node page_paper.mjs car.html middle.html season.html ${shots:+"$shots"}
node page.mjs car.html season.html names.html large.html ${shots:+"$shots"}
node page_watch.mjs "$tierod" car live.html
