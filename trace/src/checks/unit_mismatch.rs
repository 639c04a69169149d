//! `unit-mismatch`: numbers that cannot be added, compared or put where they stand.

use super::{ALWAYS_ERROR, Check, Group};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "unit-mismatch",
    group: Group::Values,
    levels: ALWAYS_ERROR,
    finds: "A formula, a value or a model's input whose dimensions do not fit.",
    why: "Metres added to seconds are no number, and whatever is computed from them is wrong without a word.",
    mend: "The place shown is the character at which the dimensions part. Give the number its unit, or convert. Money \
           of another currency needs a rate under `rates` in the settings.",
    found: "\
targets:
  lap-length:
    of: car
    at-most: 900 m
    formula: 12 m/s * 60 s + 5 s",
    mended: "\
targets:
  lap-length:
    of: car
    at-most: 900 m
    formula: 12 m/s * 60 s + 5 m",
    run: |inputs, told| told.tell_problems(ValueProblemKind::Unit, inputs),
};
