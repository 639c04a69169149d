//! Which moves of a limit were agreed on record: one rule for the checks and the audit.

use std::sync::Arc;

use schema::Quantity;
use schema::quantity::same_number;
use schema::records::{Body, Revision, Target};

use super::{History, LimitChange, RecordHistory, ends};
use crate::ids::RecordId;
use crate::load::Loaded;
use crate::values::Limit;

/// A revision of a target.
pub(crate) struct TargetRevision<'r> {
    /// Its record.
    pub(crate) index: RecordId,
    /// What it says.
    pub(crate) revision: &'r Revision,
    /// The commit in which it came; the first where there is no history.
    added: usize,
    /// The commit in which its end was edited after the limit had gone there: such a one records nothing.
    pub(crate) edited: Option<usize>,
}

impl TargetRevision<'_> {
    /// Does it record a limit that ends here, in SI?
    fn leads_to(&self, end: f64) -> bool {
        self.edited.is_none() && self.revision.to.as_ref().is_some_and(|to| same_number(to.si(), end))
    }
}

/// The revisions of a target among these records, given how its limit moved.
pub(crate) fn of_target<'r>(
    loaded: &'r Loaded,
    history: Option<&History>,
    moves: &[LimitChange],
    target: &Target,
    about: impl Iterator<Item = RecordId>,
) -> Vec<TargetRevision<'r>> {
    let dimension = target.limit().next().map(|(_, limit)| limit.unit().dimension());
    let bodies = about.filter_map(|index| match &loaded.record(index).body {
        Body::Revision(revision) => Some((index, revision.as_ref())),
        _ => None,
    });
    // In another dimension it ends nowhere, which is told as a mismatch of units.
    let of_it = bodies.filter(|(_, revision)| revision.to.as_ref().map(|to| to.unit().dimension()) == dimension);
    of_it
        .map(|(index, revision)| {
            let record = history.and_then(|history| history.record(loaded.record(index).id.as_str()));
            let edited = record.zip(revision.to.as_ref()).and_then(|(record, to)| edited(record, moves, to.si()));
            TargetRevision { index, revision, added: record.map_or(0, |record| record.added), edited }
        })
        .collect()
}

/// The commit in which the end of a revision was edited, if the limit was there before.
fn edited(record: &RecordHistory, moves: &[LimitChange], to: f64) -> Option<usize> {
    let number = |text: &Option<Arc<str>>| Some(Quantity::parse(text.as_deref()?).ok()?.si());
    let mut edits = record.changes_of("to").filter(|change| change.commit > record.added);
    let last = edits.rfind(|change| match (number(&change.before), number(&change.after)) {
        (Some(before), Some(after)) => !same_number(before, after),
        _ => false,
    });
    let commit = last?.commit;
    let leads = |after: &super::LimitText| ends(&after.limit).any(|end| same_number(end, to));
    let went = || moves.iter().filter(|(.., after)| after.as_ref().is_some_and(leads)).map(|(at, ..)| *at);
    // Where the limit stood long before the revision came says nothing of it.
    let since = went().any(|at| record.added <= at && at < commit);
    (since || went().next_back().is_some_and(|last| last < commit)).then_some(commit)
}

/// Does a revision lead to every end that moved? Where an end was only given up, to what is left, and no earlier than
/// the commit that did it.
pub(crate) fn is_recorded(
    commit: usize,
    before: Option<&Limit>,
    after: &Limit,
    revisions: &[TargetRevision<'_>],
) -> bool {
    let both: [fn(&Limit) -> Option<f64>; 2] = [|limit| limit.at_least, |limit| limit.at_most];
    let (mut moved, mut given_up) = (Vec::new(), false);
    for end in both {
        match (before.and_then(end), end(after)) {
            (Some(_), None) => given_up = true,
            (Some(before), Some(after)) if same_number(before, after) => {}
            (_, Some(after)) => moved.push(after),
            (None, None) => {}
        }
    }
    if moved.is_empty() && given_up {
        let left = || ends(after);
        return revisions.iter().any(|agreed| agreed.added >= commit && left().any(|end| agreed.leads_to(end)));
    }
    moved.into_iter().all(|end| revisions.iter().any(|agreed| agreed.leads_to(end)))
}
