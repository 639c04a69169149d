//! The changes of a limit that count for the checks: without those up to the base, typing errors and drafts.

use std::sync::Arc;

use foldhash::HashMap;
use schema::Day;
use schema::quantity::same_number;

use super::order::LimitOrder;
use super::{CommitIndex, History, LimitChange, RecordHistory, ends, same_limit};
use crate::values::Limit;

/// The number of days after its first appearance in which a limit is a draft, if nothing depends on it yet: a weekend.
pub(crate) const DRAFT_DAYS: i32 = 3;

impl History {
    /// The changes of a limit, given the results of its target and the `to` of its revisions, in SI.
    ///
    /// - Changes up to the base are one: the limit that was recorded then.
    /// - Changes of one day are one if there is no result between them and no revision of the limit between them: a
    ///   typing error that was put right.
    pub(crate) fn counted_limit_changes(
        &self,
        target: &RecordHistory,
        results: &[&RecordHistory],
        agreed: &[f64],
    ) -> Vec<LimitChange> {
        let mut counted: Vec<(LimitChange, Day)> = Vec::new();
        for change in self.limit_changes_in(target) {
            let day = self.commit_of_limit(target, &change).day;
            let (commit, before, after) = change;
            let is_taken = self.is_up_to_base(commit);
            let joined = counted.pop_if(|((earlier, _, own), earlier_day)| {
                let is_result = || results.iter().any(|result| *earlier <= result.added && result.added <= commit);
                let is_agreed = || {
                    own.as_ref()
                        .is_some_and(|own| ends(&own.limit).any(|end| agreed.iter().any(|to| same_number(*to, end))))
                };
                is_taken || (*earlier_day == day && !self.is_up_to_base(*earlier) && !is_result() && !is_agreed())
            });
            let before = if is_taken { None } else { joined.map_or(before, |((_, before, _), _)| before) };
            // A limit that was changed and restored on one day was not changed.
            let is_restored = before.as_ref().zip(after.as_ref()).is_some_and(|(a, b)| same_limit(&a.limit, &b.limit));
            if !is_restored {
                counted.push(((commit, before, after), day));
            }
        }
        counted.into_iter().map(|(change, _)| change).collect()
    }

    /// The first commit in which a record was a share of each budget. Of a record only its first budget counts.
    fn first_shares(&self) -> &HashMap<Arc<str>, CommitIndex> {
        self.first_shares.get_or_init(|| {
            let mut all: HashMap<Arc<str>, CommitIndex> = HashMap::default();
            for change in self.records().iter().filter_map(|record| record.changes_of("share-of").next()) {
                if let Some(id) = &change.after {
                    let first = all.entry(Arc::clone(id)).or_insert(change.commit);
                    *first = change.commit.min(*first);
                }
            }
            all
        })
    }

    /// The position of the limit that others could rely on first: later ones are changes, earlier ones were drafts.
    ///
    /// A draft is changed within [`DRAFT_DAYS`] days after the limit appeared, before there is a result of the target or
    /// a share of its budget.
    pub(crate) fn first_agreed(
        &self,
        target: &RecordHistory,
        changes: &[LimitChange],
        results: &[(&RecordHistory, Day)],
    ) -> Option<usize> {
        let mut agreed = changes.iter().position(|(.., after)| after.is_some())?;
        let first = self.commit_of_limit(target, &changes[agreed]).day;
        let is_share = |commit: CommitIndex| {
            let first = self.first_shares();
            let mut names = std::iter::once(&target.id).chain(&target.older_ids);
            names.any(|id| first.get(id).is_some_and(|at| *at < commit))
        };
        while let Some(next @ (commit, _, Some(_))) = changes.get(agreed + 1) {
            let days = first.days_until(self.commit_of_limit(target, next).day);
            let is_result = |(result, date): &(&RecordHistory, Day)| {
                self.limit_order(target, next, result, *date) != LimitOrder::Before
            };
            if !(0..=DRAFT_DAYS).contains(&days) || results.iter().any(is_result) || is_share(*commit) {
                break;
            }
            agreed += 1;
        }
        Some(agreed)
    }
}

/// Whether a limit allows no value that another one does not allow.
pub(crate) fn is_within(limit: &Limit, outer: &Limit) -> bool {
    let at_least = |outer: f64| limit.at_least.is_some_and(|least| least >= outer || same_number(least, outer));
    let at_most = |outer: f64| limit.at_most.is_some_and(|most| most <= outer || same_number(most, outer));
    let (least, most) = (outer.at_least.is_none_or(at_least), outer.at_most.is_none_or(at_most));
    least && most
}
