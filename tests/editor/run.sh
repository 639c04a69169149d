#!/usr/bin/env bash
# Tests the JSON Schemas in a real YAML language server: what it offers, and what it reports.
# Needs the binary from `cargo build`, Node.js and npm.
set -euo pipefail
cd "$(dirname "$0")"
tierod=${TIEROD:-$(realpath ../../target/debug/tierod)}
example=$(realpath ../../example-car)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
cp package.json .npmrc editor.mjs "$work"
(cd "$work" && npm install --silent --no-audit --no-fund)
cp -r "$example" "$work/example"
"$tierod" init "$work/starter" --season 2028 >/dev/null
# A project whose schema has its own ids.
cp -r "$example" "$work/own"
"$tierod" schema records --project "$work/own" >"$work/records.json"
"$tierod" schema settings --project "$work/own" >"$work/own/tierod-settings.schema.json"
mv "$work/records.json" "$work/own/tierod.schema.json"
cd "$work"
node editor.mjs node_modules/yaml-language-server/bin/yaml-language-server "$work/example" "$work/starter" "$work/own"
