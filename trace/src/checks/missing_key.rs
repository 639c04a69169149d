//! `missing-key`: A record without a key that its kind cannot do without.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "missing-key",
    group: Group::Reading,
    levels: ALWAYS_ERROR,
    finds: "A record without a key that its kind cannot do without.",
    why: "A target without a limit, or a result without a day, says nothing that can be checked.",
    mend: "Add the key that is named.",
    found: "\
targets:
  car-mass: {of: car}",
    mended: "\
targets:
  car-mass: {of: car, at-most: 205 kg}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::MissingKey, study),
};
