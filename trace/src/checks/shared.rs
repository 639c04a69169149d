//! What several checks say in the same words.

use foldhash::HashSet;

use super::{RecordId, Study};
use crate::values::{FoundSetProblem, SetProblemKind};

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

/// The problems of one kind under `sets` of all alternatives.
pub(super) fn set_problems(study: &Study, kind: SetProblemKind) -> impl Iterator<Item = FoundSetProblem<'_>> {
    let decisions = study.loaded.decisions();
    let found = decisions.flat_map(|(decision, ..)| study.values().set_problems(decision));
    found.filter(move |(.., problem)| problem.kind == kind)
}
