//! `no-number`: a value that has no number although everything that it reads has one.

use super::{ALWAYS_ERROR, About, Check, Group};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "no-number",
    group: Group::Values,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A formula, a model or a total without a number although its inputs have one: a division by zero, a number \
              that is too large (overflow), a square root or logarithm outside its domain.",
    why: "Everything that is calculated from it is missing: the value of a target, the points of an event, the total of \
          the car.",
    fix: "Correct the input that causes it: the message lists the inputs with their values. If the input may have this \
          value, write the case into the formula: `if(speed > 0 m/s, distance / speed, 0 s)`.",
    bad_example: "\
targets:
  pit-time:
    of: car
    at-most: 40 s
    given: {distance: 300 m, speed: 0 m/s}
    formula: distance / speed",
    good_example: "\
targets:
  pit-time:
    of: car
    at-most: 40 s
    given: {distance: 300 m, speed: 8 m/s}
    formula: distance / speed",
    run: |study, reporter| reporter.report_value_problems(ValueProblemKind::Number, study),
};
