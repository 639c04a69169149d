//! `unreadable-file`: A record file that cannot be read as YAML, or is no map of record kinds.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "unreadable-file",
    group: Group::Reading,
    levels: ALWAYS_ERROR,
    reports: "A record file that cannot be read as YAML, or is no map of record kinds.",
    why: "Nothing in the file is checked, so nothing in it counts.",
    fix: "Mend the YAML at the place shown. Record files are UTF-8, hold one document, use no tags, nest no deeper than 64 levels and have at most 8 MiB. A file that is no record file goes under `ignore:` in tierod.yaml.",
    bad_example: "\
parts:
  front-upright: {in: suspension",
    good_example: "\
parts:
  front-upright: {in: suspension}",
    run: |study, reporter| reporter.report_read_problems(ProblemKind::Unreadable, study),
};
