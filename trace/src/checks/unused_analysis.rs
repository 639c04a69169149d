//! `unused-analysis`: a calculation that changed nothing.

use foldhash::HashSet;
use petgraph::Direction;

use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::graph::Link;
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "unused-analysis",
    group: Group::Verification,
    about: About::Records,
    levels: [Note, Note, Note, Warning, Warning],
    reports: "An analysis that informs no decision or part, finds no value that the points of an event depend on, finds \
            none that was measured since, and is not superseded.",
    why: "A calculation that changes nothing took time and added no points.",
    fix: "List the decisions or parts that it changed under `informs`. If there are none, remove it, or explain its purpose in `notes`.",
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
    let measuring = study.loaded.results().filter(|(.., result)| result.value.is_some());
    let measured = measuring.filter_map(|(id, ..)| study.graph.linked(id, Link::Verifies, Direction::Outgoing).next());
    let measured: HashSet<RecordId> = measured.collect();
    let is_used = |index: RecordId, analysis: &schema::records::Analysis| {
        let found = analysis.finds.as_ref().map(schema::records::Finds::targets).unwrap_or_default();
        found.iter().any(|target| {
            let target = study.loaded.find(target.as_str());
            // What was measured since was predicted, and the prediction can be compared with the result.
            if target.is_some_and(|target| measured.contains(&target)) {
                return true;
            }
            let counts = target.filter(|target| study.values().origin(*target) == Origin::Analysis(index));
            counts.and_then(|target| study.values().record_node(target)).is_some_and(|node| feeds[node])
        })
    };
    for (index, record, analysis) in study.loaded.analyses() {
        let unused = analysis.informs.is_empty() && !superseded.contains(record.id.as_str());
        if unused && !is_used(index, analysis) {
            let message =
                format!("{} is not used: it informs no decision or part, and changes no points", record.name());
            reporter.report(index, &["informs"], message, "list what it changed under `informs`");
        }
    }
}
