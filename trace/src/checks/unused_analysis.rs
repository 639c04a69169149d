//! `unused-analysis`: a calculation that changed nothing.

use super::{Check, Group, Note, RecordId, Reporter, Study, Warning};
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

fn run(study: &Study, reporter: &mut Reporter) {
    let superseded = study.graph.superseded();
    let feeds = study.values().feeding();
    let moves_points = |index: RecordId, analysis: &schema::records::Analysis| {
        let found = analysis.finds.as_ref().map(schema::records::Finds::targets).unwrap_or_default();
        found.iter().any(|target| {
            let target = study.loaded.find(target.as_str());
            // Where a result stands in its place, its value moves nothing any more.
            let counts = target.filter(|target| study.values().origin(*target) == Origin::Analysis(index));
            counts.and_then(|target| study.values().record_node(target)).is_some_and(|node| feeds[node])
        })
    };
    for (index, record, analysis) in study.loaded.analyses() {
        let idle = analysis.informs.is_empty() && !superseded.contains(record.id.as_str());
        if idle && !moves_points(index, analysis) {
            let message = format!("{} informs no decision and no part, and moves no points", record.name());
            reporter.report(index, &["informs"], message, "name what it changed under `informs`");
        }
    }
}
