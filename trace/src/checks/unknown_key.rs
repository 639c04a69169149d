//! `unknown-key`: a key that the record, or the file, does not have.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "unknown-key",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A key that the record, or the file, does not have.",
    why: "A mistyped key has no effect, because its value is never read.",
    fix: "Use the suggested key, or move the text to `notes`. `tierod schema` lists all keys.",
    bad_example: "\
parts:
  front-upright: {in: suspension, cuont: 2}",
    good_example: "\
parts:
  front-upright: {in: suspension, count: 2}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::UnknownKey, study),
};
