//! `missing-key`: A record without a key that its kind cannot do without.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "missing-key",
    group: Group::Reading,
    levels: ALWAYS_ERROR,
    reports: "A record without a key that its kind cannot do without.",
    why: "A target without a limit, or a result without a day, says nothing that can be checked.",
    fix: "Add the key that is named.",
    bad_example: "\
targets:
  car-mass: {of: car}",
    good_example: "\
targets:
  car-mass: {of: car, at-most: 205 kg}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::MissingKey, study),
};
