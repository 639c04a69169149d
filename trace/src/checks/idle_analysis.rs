//! `idle-analysis`: a calculation that changed nothing.

use std::collections::HashSet;

use schema::records::Body;

use super::{Check, Group, Inputs, Note, Told, Warning};

pub(super) static CHECK: Check = Check {
    name: "idle-analysis",
    group: Group::Verification,
    levels: [Note, Note, Note, Warning, Warning],
    finds: "An analysis that informs no decision and no part, and that no later analysis supersedes.",
    why: "A calculation that changes nothing cost a week and earned no point.",
    mend: "Name the decisions or parts that it changed under `informs`; if there are none, ask what it was for.",
    found: "\
analyses:
  upright-stress: {title: Stress in the upright}",
    mended: "\
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
    for (index, record, analysis) in analyses() {
        if analysis.informs.is_empty() && !superseded.contains(record.id.as_str()) {
            let message = format!("{} informs no decision and no part", record.name());
            told.tell(index, &["informs"], message, "name what it changed under `informs`");
        }
    }
}
