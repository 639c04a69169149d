//! `missing-key`: a record without a key that its kind requires.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "missing-key",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A record without a key that its kind requires.",
    why: "A target without a limit, or a result without a date, cannot be checked.",
    fix: "Add the key that the finding names.",
    bad_example: "\
targets:
  car-mass: {of: car}",
    good_example: "\
targets:
  car-mass: {of: car, at-most: 205 kg}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::MissingKey, study),
};
