//! `value-cycle`: values that depend on each other.

use super::{ALWAYS_ERROR, About, Check, Group};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "value-cycle",
    group: Group::Values,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A value that depends on itself, through formulas, models, totals or scores.",
    why: "The value depends on itself, so it cannot be calculated, and neither can the values that depend on it.",
    fix: "Give one of the values in the cycle another source, for example an estimate or a result. The message lists \
            the values of the cycle.",
    bad_example: "\
targets:
  top-speed: {of: car, at-least: 28 m/s, formula: 2 * mean-speed}
  mean-speed: {of: car, at-least: 14 m/s, formula: 0.5 * top-speed}",
    good_example: "\
targets:
  top-speed: {of: car, at-least: 28 m/s, estimate: 29 m/s}
  mean-speed: {of: car, at-least: 14 m/s, formula: 0.5 * top-speed}",
    run: |study, reporter| reporter.report_value_problems(ValueProblemKind::Cycle, study),
};
