//! `two-sources`: a target whose value has more than one source.

use super::{About, Check, Error, Group, Note, Warning};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "two-sources",
    group: Group::Values,
    about: About::Records,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "A target with more than one source for its value: two analyses that find it, more than one of \
            `formula`, `total` and `estimate`, or two results of the same date.",
    why: "Only one of them is used, so a change to the other one has no effect.",
    fix: "Keep one. If an analysis replaces an earlier one, list the earlier one under its `supersedes`.",
    bad_example: "\
targets:
  corner-speed: {of: car, at-least: 12 m/s, formula: 2 * 6 m/s, estimate: 13 m/s}",
    good_example: "\
targets:
  corner-speed: {of: car, at-least: 12 m/s, formula: 2 * 6 m/s}",
    run: |study, reporter| reporter.report_value_problems(ValueProblemKind::Twice, study),
};
