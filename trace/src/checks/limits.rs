//! Functions for the checks of changed limits.

use petgraph::Direction;
use schema::Quantity;
use schema::records::Target;

use super::{RecordId, Study};
use crate::graph::Link;
use crate::history::LimitChange;
use crate::history::revisions;
pub(super) use crate::history::revisions::{TargetRevision, is_recorded};
pub(super) use crate::history::{ends, same_limit};

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
