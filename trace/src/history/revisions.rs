//! The revisions of a target, and whether a change of its limit is recorded in one: one rule for the checks and the
//! audit.

use std::sync::Arc;

use schema::Quantity;
use schema::quantity::same_number;
use schema::records::{Revision, Target};

use super::{History, LimitChange, RecordHistory, ends};
use crate::ids::{CommitIndex, RecordId};
use crate::load::Loaded;
use crate::values::Limit;

/// A revision of a target.
pub(crate) struct TargetRevision<'r> {
    /// Its record.
    pub(crate) index: RecordId,
    /// Its fields.
    pub(crate) revision: &'r Revision,
    /// The commit that added it; the first one if there is no history.
    pub(crate) added: CommitIndex,
    /// The commit that edited its `to` after the limit had been changed to that value: such a revision records nothing.
    pub(crate) edited: Option<CommitIndex>,
}

impl TargetRevision<'_> {
    /// Whether it records a limit with this end, in SI.
    fn records(&self, end: f64) -> bool {
        self.edited.is_none() && self.revision.to.as_ref().is_some_and(|to| same_number(to.si(), end))
    }
}

/// The revisions of a target among these records, given the changes of its limit.
pub(crate) fn of_target<'r>(
    loaded: &'r Loaded,
    history: Option<&History>,
    changes: &[LimitChange],
    target: &Target,
    about: impl Iterator<Item = RecordId>,
) -> Vec<TargetRevision<'r>> {
    let dimension = target.limit().next().map(|(_, limit)| limit.unit().dimension());
    let bodies = about.filter_map(|index| Some((index, loaded.revision(index)?)));
    // A `to` in another dimension is no limit of the target; `unit-mismatch` reports it.
    let own = bodies.filter(|(_, revision)| revision.to.as_ref().map(|to| to.unit().dimension()) == dimension);
    own.map(|(index, revision)| {
        let record = history.and_then(|history| history.record(loaded.record(index).id.as_str()));
        let known = history.zip(record).zip(revision.to.as_ref());
        let edited = known.and_then(|((history, record), to)| edited(history, record, changes, to.si()));
        TargetRevision { index, revision, added: record.map_or(CommitIndex::FIRST, |record| record.added), edited }
    })
    .collect()
}

/// The commit that edited the `to` of a revision, if the limit had been changed to that value before. A typing error
/// that was put right on the day of the revision is no edit, nor is a change up to the base.
fn edited(history: &History, record: &RecordHistory, changes: &[LimitChange], to: f64) -> Option<CommitIndex> {
    let number = |text: &Option<Arc<str>>| Some(Quantity::parse(text.as_deref()?).ok()?.si());
    let added = history.place_of_addition(record).commit.day;
    let mut edits = record.changes_of("to").filter(|change| {
        change.commit > record.added
            && !history.is_up_to_base(change.commit)
            && history.place_of_change(record, change).commit.day != added
    });
    let last = edits.rfind(|change| match (number(&change.before), number(&change.after)) {
        (Some(before), Some(after)) => !same_number(before, after),
        _ => false,
    });
    let commit = last?.commit;
    let has_end = |after: &super::LimitText| ends(&after.limit).any(|end| same_number(end, to));
    let reached = || changes.iter().filter(|(.., after)| after.as_ref().is_some_and(has_end)).map(|(at, ..)| *at);
    // A limit that had this value before the revision was added is no reason to distrust the revision.
    let since = reached().any(|at| record.added <= at && at < commit);
    (since || reached().next_back().is_some_and(|last| last < commit)).then_some(commit)
}

/// Whether revisions record a change of a limit.
///
/// - Every end that was set or changed needs a revision with this end.
/// - If an end was only removed, a revision with one of the remaining ends is enough, added in that commit or later.
pub(crate) fn is_recorded(
    commit: CommitIndex,
    before: Option<&Limit>,
    after: &Limit,
    revisions: &[TargetRevision<'_>],
) -> bool {
    let both: [fn(&Limit) -> Option<f64>; 2] = [|limit| limit.at_least, |limit| limit.at_most];
    let (mut changed, mut was_removed) = (Vec::new(), false);
    for end in both {
        match (before.and_then(end), end(after)) {
            (Some(_), None) => was_removed = true,
            (Some(before), Some(after)) if same_number(before, after) => {}
            (_, Some(after)) => changed.push(after),
            (None, None) => {}
        }
    }
    if changed.is_empty() && was_removed {
        let remaining = || ends(after);
        return revisions.iter().any(|own| own.added >= commit && remaining().any(|end| own.records(end)));
    }
    changed.into_iter().all(|end| revisions.iter().any(|own| own.records(end)))
}
