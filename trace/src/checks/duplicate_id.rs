//! `duplicate-id`: an id that two records share.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, Check, Draft, Group, Inputs, Told, reading};

pub(super) static CHECK: Check = Check {
    name: "duplicate-id",
    group: Group::Reading,
    levels: ALWAYS_ERROR,
    reports: "An id that two records share, in one file or in two, of one kind or of two.",
    why: "Whoever names the id may mean either; only the first one read is in the graph.",
    fix: "Give one of them another id, and list the old one under `formerly` if history should follow it.",
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

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    reading::tell(ProblemKind::DuplicateId, inputs, told);
    let loaded = inputs.graph.loaded;
    for (double, first) in &loaded.doubles {
        let record = &double.record;
        let first = &loaded.entries[*first];
        let place = &loaded.snapshot.files[first.file].path;
        told.drafts.push(Draft {
            check: told.check,
            record: None,
            named: Some(record.id.to_string()),
            file: Some(double.file),
            route: vec![record.kind().plural().to_owned(), record.id.to_string()],
            at_key: true,
            offset: None,
            spot: None,
            message: format!("`{}` is also the id of a {} in {place}", record.id, first.record.kind()),
            help: "give one of them another id".to_owned(),
        });
    }
}
