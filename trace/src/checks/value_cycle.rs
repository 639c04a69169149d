//! `value-cycle`: values that need one another.

use super::{ALWAYS_ERROR, Check, Group};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "value-cycle",
    group: Group::Values,
    levels: ALWAYS_ERROR,
    reports: "A value that needs itself, through formulas, models, totals or scores.",
    why: "There is no order in which it could be computed, so it has no value, and neither has what rests on it.",
    fix: "Give one of the values in the circle another source, as an estimate or a result. The message tells the way.",
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
