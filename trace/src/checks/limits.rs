//! What the checks of revised limits share.

use petgraph::Direction;
use schema::Quantity;
use schema::records::{Body, Target};

use super::Inputs;
use crate::graph::Link;
use crate::history::LimitMove;
use crate::history::agreed;
pub(super) use crate::history::agreed::{Agreed, on_record};
pub(super) use crate::history::{ends, same_limit};

/// Is this quantity the limit of the target, or an end of it?
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target.limit().any(|(_, limit)| limit.same_value(quantity))
}

/// The revisions of a target, in the order of the records, given how its limit moved.
pub(super) fn revisions<'r>(
    inputs: &Inputs<'_, 'r>,
    index: usize,
    target: &Target,
    moves: &[LimitMove],
) -> Vec<Agreed<'r>> {
    let mut about: Vec<usize> = inputs.graph.linked(index, Link::Of, Direction::Incoming).collect();
    about.sort_unstable();
    agreed::agreed(inputs.graph.loaded, inputs.history, moves, target, about.into_iter())
}

/// The targets with their indices.
pub(super) fn targets<'r>(inputs: &Inputs<'_, 'r>) -> impl Iterator<Item = (usize, &'r str, &'r Target)> {
    let entries = inputs.graph.loaded.entries.iter().enumerate();
    entries.filter_map(|(index, entry)| match &entry.record.body {
        Body::Target(target) => Some((index, entry.record.id.as_str(), target.as_ref())),
        _ => None,
    })
}
