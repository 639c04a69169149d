#!/bin/sh
# Compares the records of a change with those of its base, in any CI that has git and tierod.
#
#   tierod-ci.sh       what a change does; status 1 if it adds errors
#   tierod-ci.sh week  for a scheduled run: what time alone has broken; status 1 if there are errors that were none a
#                      week ago
#
#   summary.md  the comparison as text
#   stdout      one line per finding, in the format that this CI shows next to the change
#   status      the exit status of tierod: 0 no new errors, 1 new errors, 2 tierod could not do its work
#
# The history is needed back to the commit where the change branched off: fetch all of it, not only the last commit. Take
# this script and tierod from outside of the checkout, so that a change cannot decide what checks it.
#
# TIEROD_BASE     what to compare with. `auto` reads the target of a request and what was there before a push from the
#                 variables of the two large forges; any other CI has to give it for a push of several commits (auto)
# TIEROD_ROOT     the project root, the folder with tierod.yaml (.)
# TIEROD_SUMMARY  the file of the comparison (summary.md)
# TIEROD_AUDIT    the file of the audit as a page, to keep as an artifact (none)
set -u

base=${TIEROD_BASE:-auto}
top=$(pwd)
# A path from the folder that the script was started in.
from_top() {
  case $1 in
    /*) printf '%s\n' "$1" ;;
    *) printf '%s\n' "$top/$1" ;;
  esac
}
summary=$(from_top "${TIEROD_SUMMARY:-summary.md}")
audit=${TIEROD_AUDIT:+$(from_top "$TIEROD_AUDIT")}
# Not every CI sets it: the templates of the change must not decide what is reported about it.
export CI="${CI:-true}"
# A link of the change could lead to any file of this machine.
rm -f -- "$summary" "$top/gl-code-quality-report.json" ${audit:+"$audit"} || exit 2
# So could one in the place of the project root.
case ${TIEROD_ROOT:-.} in
  /* | .. | ../*) ;;
  *)
    case $(cd "${TIEROD_ROOT:-.}" && pwd -P)/ in
      "$(pwd -P)"/*) ;;
      *)
        echo "TIEROD_ROOT is not a folder in $top" >&2
        exit 2
        ;;
    esac
    ;;
esac
cd "${TIEROD_ROOT:-.}" || exit 2

# Ignores status 1 (errors), which the comparison has reported already. Any other status means that tierod failed.
allow_findings() {
  "$@" || [ $? -eq 1 ] || exit 2
}

# Writes the findings that were none on a day. A finding is known by its place, level and check, because its text may
# count days.
broken_since() {
  work=$(mktemp -d) || exit 2
  trap 'rm -rf "$work"' EXIT
  allow_findings tierod check --on "$1" --format lines >"$work/before"
  allow_findings tierod check --on "$(date -u +%F)" --format lines >"$work/today"
  awk '
    { match($0, /:[0-9]+:[0-9]+: [a-z]+: /); place = substr($0, 1, RSTART + RLENGTH - 1); key = place $NF }
    FILENAME == ARGV[1] { known[key]; next }
    !(key in known) { print; if (place ~ / error: $/) failed = 1 }
    END { exit failed }
  ' "$work/before" "$work/today" >"$work/broken"
  status=$?
  {
    printf '### What time has broken since %s\n\n````\n' "$1"
    if [ -s "$work/broken" ]; then cat "$work/broken"; else echo nothing; fi
    printf '````\n'
  } >"$summary"
  cat "$work/broken"
}

if [ "${1:-}" = week ]; then
  broken_since "$(date -u -d '7 days ago' +%F 2>/dev/null || date -u -v-7d +%F)"
else
  tierod delta --base "$base" --format markdown >"$summary"
  status=$?
  [ "$status" -le 1 ] || exit "$status"
  if [ "${GITHUB_ACTIONS:-}" = true ]; then
    allow_findings tierod delta --base "$base" --format github
  else
    allow_findings tierod delta --base "$base" --format lines
  fi
  if [ "${GITLAB_CI:-}" = true ]; then
    # All findings, new or not, because the forge itself compares the reports of two branches.
    allow_findings tierod check --format gitlab >"$top/gl-code-quality-report.json"
  fi
fi
if [ -n "${GITHUB_STEP_SUMMARY:-}" ] && [ "${GITHUB_ACTIONS:-}" = true ]; then
  cat "$summary" >>"$GITHUB_STEP_SUMMARY" || exit 2
fi
if [ -n "$audit" ]; then
  allow_findings tierod audit --format html >"$audit"
fi
exit "$status"
