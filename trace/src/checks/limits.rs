//! What the checks of revised limits share.

use petgraph::Direction;
use schema::Quantity;
use schema::records::Target;

use super::{RecordId, Study};
use crate::graph::Link;
use crate::history::LimitChange;
use crate::history::revisions;
pub(super) use crate::history::revisions::{TargetRevision, is_recorded};
pub(super) use crate::history::{ends, same_limit};

/// Is this quantity the limit of the target, or an end of it?
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target.limit().any(|(_, limit)| limit.same_value(quantity))
}

/// The revisions of a target, in the order of the records, given how its limit moved.
pub(super) fn revisions<'r>(
    study: &'r Study,
    index: RecordId,
    target: &Target,
    moves: &[LimitChange],
) -> Vec<TargetRevision<'r>> {
    let mut about: Vec<RecordId> = study.graph.linked(index, Link::Of, Direction::Incoming).collect();
    about.sort_unstable();
    revisions::of_target(&study.loaded, study.history(), moves, target, about.into_iter())
}
