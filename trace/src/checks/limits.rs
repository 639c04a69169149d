//! What the checks of revised limits share.

use schema::Quantity;
use schema::records::{Body, Revision, Target};

use super::Inputs;
use crate::values::Limit;

/// Are these the same in SI, but for rounding?
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

/// Is this quantity the limit of the target, or an end of it?
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target
        .limit()
        .any(|(_, limit)| limit.unit().dimension() == quantity.unit().dimension() && same(limit.si(), quantity.si()))
}

/// Are two limits the same?
pub(super) fn same_limit(a: &Limit, b: &Limit) -> bool {
    let end = |a: Option<f64>, b: Option<f64>| match (a, b) {
        (Some(a), Some(b)) => same(a, b),
        (a, b) => a == b,
    };
    end(a.at_least, b.at_least) && end(a.at_most, b.at_most)
}

/// The revisions of a target, in the order of the records.
pub(super) fn revisions<'r>(inputs: &Inputs<'_, 'r>, id: &str) -> Vec<&'r Revision> {
    let entries = inputs.graph.loaded.entries.iter();
    let bodies = entries.filter_map(|entry| match &entry.record.body {
        Body::Revision(revision) => Some(revision.as_ref()),
        _ => None,
    });
    bodies.filter(|revision| revision.of.as_ref().is_some_and(|of| of.as_str() == id)).collect()
}

/// The targets with their indices.
pub(super) fn targets<'r>(inputs: &Inputs<'_, 'r>) -> impl Iterator<Item = (usize, &'r str, &'r Target)> {
    let entries = inputs.graph.loaded.entries.iter().enumerate();
    entries.filter_map(|(index, entry)| match &entry.record.body {
        Body::Target(target) => Some((index, entry.record.id.as_str(), target.as_ref())),
        _ => None,
    })
}
