#!/bin/sh
# Compares the records of a change with those of its base, in any CI that has git and tierod.
#
#   summary.md  the comparison as text
#   stdout      one line per finding, in the format that this CI shows next to the change
#   status      the exit status of tierod: 0 no new errors, 1 new errors, 2 tierod could not do its work
#
# The history is needed back to the commit where the change branched off: fetch all of it, not only the last commit.
#
# TIEROD_BASE     what to compare with (auto)
# TIEROD_ROOT     the project root, the folder with tierod.yaml (.)
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

# Ignores status 1 (errors), which the comparison has reported already. Any other status means that tierod failed.
allow_findings() {
  "$@" || [ $? -eq 1 ] || exit 2
}

if [ "${GITHUB_ACTIONS:-}" = true ]; then
  allow_findings tierod delta --base "$base" --format github
  if [ -n "${GITHUB_STEP_SUMMARY:-}" ]; then
    cat "$summary" >>"$GITHUB_STEP_SUMMARY" || exit 2
  fi
elif [ "${GITLAB_CI:-}" = true ]; then
  allow_findings tierod delta --base "$base" --format lines
  # All findings, new or not, because the forge itself compares the reports of two branches.
  allow_findings tierod check --format gitlab >"$top/gl-code-quality-report.json"
else
  allow_findings tierod delta --base "$base" --format lines
fi
exit "$status"
