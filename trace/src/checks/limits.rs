//! What the checks of revised limits share.

use petgraph::Direction;
use schema::Quantity;
use schema::quantity::same_number;
use schema::records::{Body, Revision, Target};

use super::Inputs;
use crate::graph::Link;
pub(super) use crate::history::same_limit;

/// Is this quantity the limit of the target, or an end of it?
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target.limit().any(|(_, limit)| {
        limit.unit().dimension() == quantity.unit().dimension() && same_number(limit.si(), quantity.si())
    })
}

/// The revisions of a target, in the order of the records.
pub(super) fn revisions<'r>(inputs: &Inputs<'_, 'r>, target: usize) -> Vec<&'r Revision> {
    numbered(inputs, target).into_iter().map(|(_, revision)| revision).collect()
}

/// The same with their records.
pub(super) fn numbered<'r>(inputs: &Inputs<'_, 'r>, target: usize) -> Vec<(usize, &'r Revision)> {
    let mut about: Vec<usize> = inputs.graph.linked(target, Link::Of, Direction::Incoming).collect();
    about.sort_unstable();
    let loaded = inputs.graph.loaded;
    let as_written = about.into_iter().filter(|index| !is_rewritten(inputs, loaded.record(*index).id.as_str()));
    let bodies = as_written.filter_map(|index| match &loaded.record(index).body {
        Body::Revision(revision) => Some((index, revision.as_ref())),
        _ => None,
    });
    bodies.collect()
}

/// A revision is written when the change is made: one whose end was edited in a later commit records nothing.
fn is_rewritten(inputs: &Inputs<'_, '_>, id: &str) -> bool {
    let number = |text: &Option<std::sync::Arc<str>>| Some(Quantity::parse(text.as_deref()?).ok()?.si());
    inputs.history.and_then(|history| history.life(id)).is_some_and(|life| {
        life.changes_of("to").filter(|change| change.step > life.born).any(|change| {
            match (number(&change.before), number(&change.after)) {
                (Some(before), Some(after)) => !same_number(before, after),
                _ => false,
            }
        })
    })
}

/// The targets with their indices.
pub(super) fn targets<'r>(inputs: &Inputs<'_, 'r>) -> impl Iterator<Item = (usize, &'r str, &'r Target)> {
    let entries = inputs.graph.loaded.entries.iter().enumerate();
    entries.filter_map(|(index, entry)| match &entry.record.body {
        Body::Target(target) => Some((index, entry.record.id.as_str(), target.as_ref())),
        _ => None,
    })
}
