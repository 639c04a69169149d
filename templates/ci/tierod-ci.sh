#!/bin/sh
# Compares the records of a change with those it began from, in any CI that has git and tierod.
#
#   summary.md  the comparison, for people
#   stdout      a line for each finding, in the form that the CI at hand shows beside the change
#   status      that of tierod: 0 no new error, 1 new errors, 2 it could not do its work
#
# The history back to where the change began must be there: fetch all of it, not the last commit alone.
#
# TIEROD_BASE     what to compare with (auto)
# TIEROD_ROOT     the folder of the data root (.)
# TIEROD_SUMMARY  the file of the comparison (summary.md)
set -u

base=${TIEROD_BASE:-auto}
top=$(pwd)
summary=${TIEROD_SUMMARY:-summary.md}
case $summary in
  /*) ;;
  *) summary=$top/$summary ;;
esac
cd "${TIEROD_ROOT:-.}" || exit 2

tierod delta --base "$base" --format markdown >"$summary"
status=$?
[ "$status" -le 1 ] || exit "$status"

# Status 1 is told by the comparison already; beyond it the tool could not do its work.
told() {
  "$@" || [ $? -eq 1 ] || exit 2
}

if [ "${GITHUB_ACTIONS:-}" = true ]; then
  told tierod delta --base "$base" --format github
  if [ -n "${GITHUB_STEP_SUMMARY:-}" ]; then
    cat "$summary" >>"$GITHUB_STEP_SUMMARY" || exit 2
  fi
elif [ "${GITLAB_CI:-}" = true ]; then
  told tierod delta --base "$base" --format lines
  # All findings, new or not: the forge itself compares the reports of two branches.
  told tierod check --format gitlab >"$top/gl-code-quality-report.json"
else
  told tierod delta --base "$base" --format lines
fi
exit "$status"
