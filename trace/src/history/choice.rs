//! When the choice of a decision was made, and what came after it.

use schema::Day;

use super::order::{Descendants, Order, PlacedCommit};
use super::{Commit, History, RecordHistory};
use crate::Study;
use crate::ids::{CommitIndex, RecordId};

/// The choice of a decision, as it is now.
pub struct Choice<'h> {
    /// The record of the decision.
    pub decision: RecordId,
    history: &'h History,
    record: &'h RecordHistory,
    place: PlacedCommit<'h>,
    later: Descendants<'h>,
}

/// An analysis that informs a decision and was added after the choice.
#[derive(Clone, Debug)]
pub struct LaterAnalysis<'h> {
    /// Its record.
    pub analysis: RecordId,
    /// The commit that added it.
    pub commit: &'h Commit,
    place: PlacedCommit<'h>,
    /// The commit of the history that added it, or merged its branch.
    at: CommitIndex,
}

/// The keys of a decision in which a choice that was looked at again is recorded.
const CONFIRMING: [&str; 3] = ["chosen", "reason", "notes"];

impl<'h> Choice<'h> {
    /// The choice of a decision; `None` if nothing is chosen or the history does not contain the decision.
    pub fn of(study: &Study, history: &'h History, decision: RecordId) -> Option<Self> {
        study.loaded.decision(decision)?.chosen.as_ref()?;
        let record = history.record(study.loaded.record(decision).id.as_str())?;
        let change = record.changes_of("chosen").next_back().filter(|change| change.after.is_some())?;
        let place = history.place_of_change(record, change);
        Some(Self { decision, history, record, place, later: history.descendants(&[place]) })
    }

    /// The commit that made the choice; if it came in with a merge, the one on the merged branch.
    pub fn commit(&self) -> &'h Commit {
        self.place.commit
    }

    /// The day of the choice.
    pub fn day(&self) -> Day {
        self.place.commit.day
    }

    /// The ids that the decision has and had, the newest first.
    pub fn ids(&self) -> impl Iterator<Item = &'h str> {
        std::iter::once(&self.record.id).chain(self.record.older_ids.iter().rev()).map(|id| &**id)
    }

    /// Whether something was committed after the choice, as far as it is known.
    pub(crate) fn is_before(&self, place: PlacedCommit<'_>) -> bool {
        match self.later.order(place, Some(self.day())) {
            Order::Descends | Order::DatedLater => true,
            Order::Before | Order::Together | Order::Contradicted => false,
        }
    }

    /// Whether the choice, its reason or the notes were changed in a commit or after it: it was looked at again.
    pub(crate) fn is_confirmed_after(&self, place: PlacedCommit<'_>) -> bool {
        let after = self.history.descendants(&[place]);
        let changes = self.record.changes.iter().filter(|change| CONFIRMING.contains(&&*change.route));
        changes.map(|change| self.history.place_of_change(self.record, change)).any(|change| {
            match after.order(change, None) {
                Order::Descends | Order::Together | Order::Contradicted | Order::DatedLater => true,
                Order::Before => false,
            }
        })
    }

    /// The analyses that inform the decision and were added after the choice, in the order of the records.
    pub fn later_analyses(&self, study: &Study) -> Vec<LaterAnalysis<'h>> {
        let informing = study.graph.informing(self.decision).into_iter();
        informing
            .filter_map(|analysis| {
                let added = self.history.record(study.loaded.record(analysis).id.as_str())?;
                let place = self.history.place_of_addition(added);
                let at = added.added;
                self.is_before(place).then_some(LaterAnalysis { analysis, commit: place.commit, place, at })
            })
            .collect()
    }

    /// Those of [`Self::later_analyses`] after which the choice was not looked at again, without those up to the base.
    pub(crate) fn unconfirmed_analyses(&self, study: &Study) -> Vec<LaterAnalysis<'h>> {
        let mut all = self.later_analyses(study);
        all.retain(|later| !self.history.is_up_to_base(later.at) && !self.is_confirmed_after(later.place));
        all
    }
}
