//! What the checks of revised limits share.

use schema::Quantity;
use schema::records::{Body, Revision, Target};

use super::Inputs;
pub(super) use crate::history::same_limit;
use crate::history::same_number;

/// Is this quantity the limit of the target, or an end of it?
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target.limit().any(|(_, limit)| {
        limit.unit().dimension() == quantity.unit().dimension() && same_number(limit.si(), quantity.si())
    })
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
