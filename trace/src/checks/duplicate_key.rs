//! `duplicate-key`: a key that appears twice in one map.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "duplicate-key",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A key that appears twice in one map.",
    why: "Only one of the two values could be used, and it would be unclear which.",
    fix: "Keep one of the two.",
    bad_example: "\
parts:
  front-upright: {in: suspension, in: brakes}",
    good_example: "\
parts:
  front-upright: {in: suspension}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::DuplicateKey, study),
};
