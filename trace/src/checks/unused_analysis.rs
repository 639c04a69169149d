//! `unused-analysis`: a calculation that changed nothing.

use foldhash::HashSet;
use schema::records::Body;

use super::{Check, Group, Inputs, Note, Told, Warning};
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "unused-analysis",
    group: Group::Verification,
    levels: [Note, Note, Note, Warning, Warning],
    reports: "An analysis that informs no decision and no part, gives no value that the points of an event rest on, and \
            is not superseded by a later one.",
    why: "A calculation that changes nothing cost a week and earned no point.",
    fix: "Name the decisions or parts that it changed under `informs`; if there are none, ask what it was for.",
    bad_example: "\
analyses:
  upright-stress: {title: Stress in the upright}",
    good_example: "\
analyses:
  upright-stress: {title: Stress in the upright, informs: [hub]}",
    run,
};

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let entries = &inputs.graph.loaded.entries;
    let analyses = || {
        entries.iter().enumerate().filter_map(|(index, entry)| match &entry.record.body {
            Body::Analysis(analysis) => Some((index, &entry.record, analysis)),
            _ => None,
        })
    };
    let superseded: HashSet<&str> =
        analyses().flat_map(|(.., analysis)| analysis.supersedes.iter().map(schema::Id::as_str)).collect();
    let feeds = inputs.values.feeding();
    let moves_points = |index: usize, analysis: &schema::records::Analysis| {
        let found = analysis.finds.as_ref().map(schema::records::Finds::targets).unwrap_or_default();
        found.iter().any(|target| {
            let target = inputs.graph.loaded.find(target.as_str());
            // Where a result stands in its place, its value moves nothing any more.
            let counts = target.filter(|target| inputs.values.origin(*target) == Origin::Analysis(index));
            counts.and_then(|target| inputs.values.of_record(target)).is_some_and(|node| feeds[node])
        })
    };
    for (index, record, analysis) in analyses() {
        let idle = analysis.informs.is_empty() && !superseded.contains(record.id.as_str());
        if idle && !moves_points(index, analysis) {
            let message = format!("{} informs no decision and no part, and moves no points", record.name());
            told.tell(index, &["informs"], message, "name what it changed under `informs`");
        }
    }
}
