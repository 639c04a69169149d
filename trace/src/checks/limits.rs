//! What the checks of revised limits share.

use petgraph::Direction;
use schema::Quantity;
use schema::quantity::same_number;
use schema::records::{Body, Revision, Target};

use super::Inputs;
use crate::graph::Link;
pub(super) use crate::history::{ends, same_limit};
use crate::values::Limit;

/// Is this quantity the limit of the target, or an end of it?
pub(super) fn is_limit(target: &Target, quantity: &Quantity) -> bool {
    target.limit().any(|(_, limit)| {
        limit.unit().dimension() == quantity.unit().dimension() && same_number(limit.si(), quantity.si())
    })
}

/// A revision of a target.
pub(super) struct Agreed<'r> {
    /// Its record.
    pub(super) index: usize,
    /// What it says.
    pub(super) revision: &'r Revision,
    /// The step in which its end was edited after the limit had gone there: such a one records nothing.
    pub(super) edited: Option<usize>,
}

impl Agreed<'_> {
    /// Does it record a limit that ends here, in SI?
    fn leads_to(&self, end: f64) -> bool {
        self.edited.is_none() && self.revision.to.as_ref().is_some_and(|to| same_number(to.si(), end))
    }
}

/// The revisions of a target, in the order of the records.
pub(super) fn revisions<'r>(inputs: &Inputs<'_, 'r>, index: usize, target: &Target) -> Vec<Agreed<'r>> {
    let mut about: Vec<usize> = inputs.graph.linked(index, Link::Of, Direction::Incoming).collect();
    about.sort_unstable();
    let loaded = inputs.graph.loaded;
    let id = loaded.record(index).id.as_str();
    let dimension = target.limit().next().map(|(_, limit)| limit.unit().dimension());
    let bodies = about.into_iter().filter_map(|index| match &loaded.record(index).body {
        Body::Revision(revision) => Some((index, revision.as_ref())),
        _ => None,
    });
    // In another dimension it ends nowhere, which is told as a mismatch of units.
    let of_it = bodies.filter(|(_, revision)| revision.to.as_ref().map(|to| to.unit().dimension()) == dimension);
    let edited = |index: usize, revision: &Revision| {
        inputs.history?.edited(loaded.record(index).id.as_str(), id, revision.to.as_ref()?.si())
    };
    of_it.map(|(index, revision)| Agreed { index, revision, edited: edited(index, revision) }).collect()
}

/// Does a revision lead to every end that moved?
pub(super) fn on_record(before: Option<&Limit>, after: &Limit, revisions: &[Agreed<'_>]) -> bool {
    let same = |a: Option<f64>, b: f64| a.is_some_and(|a| same_number(a, b));
    let moved = [(before.and_then(|b| b.at_least), after.at_least), (before.and_then(|b| b.at_most), after.at_most)];
    let mut moved = moved.into_iter().filter_map(|(before, after)| after.filter(|after| !same(before, *after)));
    moved.all(|end| revisions.iter().any(|agreed| agreed.leads_to(end)))
}

/// The targets with their indices.
pub(super) fn targets<'r>(inputs: &Inputs<'_, 'r>) -> impl Iterator<Item = (usize, &'r str, &'r Target)> {
    let entries = inputs.graph.loaded.entries.iter().enumerate();
    entries.filter_map(|(index, entry)| match &entry.record.body {
        Body::Target(target) => Some((index, entry.record.id.as_str(), target.as_ref())),
        _ => None,
    })
}
