//! `unreadable-file`: a record file that is not valid YAML, or is not a map of record kinds.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group};

pub(super) static CHECK: Check = Check {
    name: "unreadable-file",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A record file that is not valid YAML, is not a map of record kinds, or has the conflict markers of a merge.",
    why: "The file is not read, so none of its records is checked or counted. Findings that may only follow from that \
          are held back until the file can be read.",
    fix: "Correct the YAML at the position shown. Record files end in `.yaml` or `.yml`, are UTF-8 and \
            contain one document, no tags, at most 64 levels of nesting and at most 8 MiB. List a file that is not a record file under `ignore:` in \
            tierod.yaml.",
    bad_example: "\
parts:
  front-upright: {in: suspension",
    good_example: "\
parts:
  front-upright: {in: suspension}",
    run: |study, reporter| {
        reporter.report_read_problems(ProblemKind::Conflict, study);
        reporter.report_read_problems(ProblemKind::Unreadable, study);
    },
};
