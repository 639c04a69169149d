//! `two-sources`: a target whose value is given twice.

use super::{Check, Error, Group, Note, Warning};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "two-sources",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "A target whose value two analyses find, or that has more than one of `formula`, `total` and \
            `estimate`, or two results of one day.",
    why: "Only one of them counts, and whoever changes the other changes nothing.",
    fix: "Keep one. An analysis that takes the place of an earlier one names it under `supersedes`.",
    bad_example: "\
targets:
  corner-speed: {of: car, at-least: 12 m/s, formula: 2 * 6 m/s, estimate: 13 m/s}",
    good_example: "\
targets:
  corner-speed: {of: car, at-least: 12 m/s, formula: 2 * 6 m/s}",
    run: |study, reporter| reporter.report_value_problems(ValueProblemKind::Twice, study),
};
