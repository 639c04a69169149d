//! What several checks say in the same words.

use foldhash::HashSet;

use super::{RecordId, Study};
use crate::values::{SetProblem, SetProblemKind};

/// The largest number of ids that a message lists.
const MOST_LISTED: usize = 5;

/// Records as a list of ids, shortened if there are many: `a, b, c, d, e and 115 more`.
pub(super) fn listed(study: &Study, records: &[RecordId]) -> String {
    let ids = records.iter().take(MOST_LISTED).map(|id| study.loaded.record(*id).id.as_str());
    let mut text = ids.collect::<Vec<_>>().join(", ");
    if records.len() > MOST_LISTED {
        text.push_str(&format!(" and {} more", records.len() - MOST_LISTED));
    }
    text
}

/// The parts of a group in a sentence: `3 parts of Fasteners`.
pub(super) fn parts_of(study: &Study, group: RecordId, parts: &[RecordId]) -> String {
    let word = if parts.len() == 1 { "part" } else { "parts" };
    format!("{} {word} of {}", parts.len(), study.loaded.record(group).name())
}

/// The ids of records whose verification is covered by a target or requirement that is `of` them.
pub(super) fn verified_subjects(study: &Study) -> HashSet<&str> {
    let verifying = study.loaded.records().filter(|(_, record)| record.kind().roles().verifies_subject);
    verifying.filter_map(|(_, record)| record.about().map(schema::Id::as_str)).collect()
}

/// A key under `sets` of an alternative that cannot be set: the decision, the keys below it, and what is wrong.
pub(super) type FoundSetProblem<'s> = (RecordId, [&'s str; 4], SetProblem);

/// The problems of one kind under `sets` of all alternatives.
pub(super) fn set_problems(study: &Study, kind: SetProblemKind) -> Vec<FoundSetProblem<'_>> {
    let mut found = Vec::new();
    for (index, _, decision) in study.loaded.decisions() {
        for (name, alternative) in decision.alternatives.iter() {
            for (to, setting) in alternative.sets.iter() {
                let problem = study.values().effect(alternative, to, setting).err();
                if let Some(problem) = problem.filter(|problem| problem.kind == kind) {
                    found.push((index, ["alternatives", name.as_str(), "sets", to.as_str()], problem));
                }
            }
        }
    }
    found
}
