//! `duplicate-key`: A key given twice in one map.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "duplicate-key",
    group: Group::Reading,
    levels: ALWAYS_ERROR,
    reports: "A key given twice in one map.",
    why: "Only one of the two values could count, and nobody would know which.",
    fix: "Keep one of them.",
    bad_example: "\
parts:
  front-upright: {in: suspension, in: brakes}",
    good_example: "\
parts:
  front-upright: {in: suspension}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::DuplicateKey, study),
};
