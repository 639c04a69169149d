//! Due dates that were moved later although there is no result yet.

use petgraph::Direction;
use schema::Day;

use super::{Parents, Renames};
use crate::checks::verification_overdue::due_date;
use crate::graph::Link;
use crate::ids::RecordId;
use crate::study::Study;

/// The check that a later due date silences.
pub(super) const CHECK: &str = "verification-overdue";

/// A verification without a result whose due date is later than it was, or was removed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Postponed {
    /// The record in base.
    pub base: RecordId,
    /// The record in head.
    pub head: RecordId,
    /// The due date in base.
    pub before: Day,
    /// The due date in head; `None` if it has none.
    pub after: Option<Day>,
}

pub(super) fn compare(parents: &Parents, renames: &Renames, head: &Study) -> Vec<Postponed> {
    let base = &parents.first.seen;
    let due = |study: &Study, id: RecordId| due_date(&study.loaded, id);
    let mut all: Vec<Postponed> = Vec::new();
    for new in head.loaded.record_ids() {
        let Some(old) = renames.base_of[new].filter(|old| !base.loaded.shares(*old, &head.loaded, new)) else {
            continue;
        };
        let (Some(before), after) = (due(base, old), due(head, new)) else { continue };
        let is_later = after.is_none_or(|after| after > before);
        let mut results = head.graph.linked(new, Link::Verifies, Direction::Incoming);
        let has_result = results.any(|result| !head.graph.lacks_outcome(new, result)) || head.graph.is_driven(new);
        let id = head.loaded.record(new).id.as_str();
        // Another parent of a merge has postponed it already.
        let known = |other: &Study| other.loaded.find(id).is_some_and(|own| due(other, own) == after);
        if is_later && !has_result && !parents.seen().skip(1).any(known) {
            all.push(Postponed { base: old, head: new, before, after });
        }
    }
    all.sort_by(|a, b| head.loaded.record(a.head).id.cmp(&head.loaded.record(b.head).id));
    all
}
