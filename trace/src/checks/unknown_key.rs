//! `unknown-key`: A key that the record, or the file, does not have.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "unknown-key",
    group: Group::Reading,
    levels: ALWAYS_ERROR,
    reports: "A key that the record, or the file, does not have.",
    why: "A mistyped key is a value that nobody reads.",
    fix: "Take the key suggested, or put the text under `notes`. `tierod schema` lists all keys.",
    bad_example: "\
parts:
  front-upright: {in: suspension, cuont: 2}",
    good_example: "\
parts:
  front-upright: {in: suspension, count: 2}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::UnknownKey, study),
};
