//! Functions for the checks of changed limits.

use petgraph::Direction;
use schema::records::Target;
use schema::{Day, Quantity};

use super::{RecordId, Study};
use crate::graph::Link;
pub(super) use crate::history::limit_changes::is_within;
pub(super) use crate::history::order::LimitOrder;
use crate::history::revisions;
pub(super) use crate::history::revisions::{TargetRevision, is_recorded};
use crate::history::{History, LimitChange, RecordHistory};
pub(super) use crate::history::{ends, same_limit};
use crate::values::Status;

/// Whether a quantity is the limit of the target, or one end of it.
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target.limit().any(|(_, limit)| limit.same_value(quantity))
}

/// The revisions of a target, in the order of the records. `changes`: those of its limit.
pub(super) fn revisions<'r>(
    study: &'r Study,
    index: RecordId,
    target: &Target,
    changes: &[LimitChange],
) -> Vec<TargetRevision<'r>> {
    let mut about: Vec<RecordId> = study.graph.linked(index, Link::Of, Direction::Incoming).collect();
    about.sort_unstable();
    revisions::of_target(&study.loaded, study.history(), changes, target, about.into_iter())
}

/// A result of a target with its history and its date.
pub(super) struct DatedResult<'r> {
    pub(super) index: RecordId,
    pub(super) history: &'r RecordHistory,
    pub(super) date: Day,
    /// The value in SI; `None` if it has an outcome.
    pub(super) value: Option<f64>,
}

/// The results of a target that have a history and a date, also those at the contest.
pub(super) fn dated_results<'r>(study: &'r Study, history: &'r History, target: RecordId) -> Vec<DatedResult<'r>> {
    let results = study.graph.results(target).into_iter();
    let dated = results.filter_map(|(index, body)| {
        let history = history.record(study.loaded.record(index).id.as_str())?;
        Some(DatedResult { index, history, date: body.date?, value: body.quantity().map(Quantity::si) })
    });
    let driven = study.graph.driven(target).into_iter().filter_map(|driven| {
        let history = history.record(study.loaded.record(driven.result).id.as_str())?;
        Some(DatedResult { index: driven.result, history, date: driven.date?, value: Some(driven.value.si()) })
    });
    dated.chain(driven).collect()
}

/// The changes of the limit of a target that count, given its results.
pub(super) fn changes(
    study: &Study,
    history: &History,
    index: RecordId,
    target: &RecordHistory,
    results: &[DatedResult<'_>],
) -> Vec<LimitChange> {
    let results: Vec<&RecordHistory> = results.iter().map(|result| result.history).collect();
    let about = study.graph.linked(index, Link::Of, Direction::Incoming);
    let agreed = about.filter_map(|index| Some(study.loaded.revision(index)?.to.as_ref()?.si()));
    history.counted_limit_changes(target, &results, &agreed.collect::<Vec<f64>>())
}

/// Whether a target is met, by all that is known.
pub(super) fn is_met(study: &Study, target: RecordId) -> bool {
    study.target_status(target).is_some_and(|target| matches!(target.status, Status::Met | Status::OnTarget))
}
