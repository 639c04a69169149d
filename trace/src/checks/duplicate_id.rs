//! `duplicate-id`: an id that two records share.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group, Reporter, Study};

pub(super) static CHECK: Check = Check {
    name: "duplicate-id",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "An id that two records share: in one file or two, of one kind or two.",
    why: "A reference to the id could mean either record; only the first one read is in the graph.",
    fix: "Give one of them another id. To keep its history, list the old id under its `formerly`.",
    bad_example: "\
parts:
  front-upright: {in: suspension}
targets:
  front-upright: {of: suspension, at-most: 2 kg}",
    good_example: "\
parts:
  front-upright: {in: suspension}
targets:
  front-upright-mass: {of: suspension, at-most: 2 kg}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    reporter.report_read_problems(ProblemKind::DuplicateId, study);
    let loaded = &study.loaded;
    for (duplicate, first) in &loaded.doubles {
        let record = &duplicate.record;
        let first = &loaded.entries[*first];
        let (path, unread_id) = (loaded.path(first.file), Some(record.id.to_string()));
        let message = format!("`{}` is also the id of {} in {path}", record.id, first.record.kind().with_article());
        let route = [record.kind().plural(), record.id.as_str()];
        reporter.report_in_file(duplicate.file, unread_id, route, message, "give one of them another id".to_owned());
    }
}
