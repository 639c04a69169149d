//! Targets whose limit moved, and the revision that records it.

use schema::Quantity;
use schema::records::{Body, Target};

use super::{Delta, Renames};
use crate::ids::RecordId;
use crate::study::Study;

/// A target whose limit is another one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedLimit {
    /// The target in base.
    pub base: RecordId,
    /// The target in head.
    pub head: RecordId,
    /// The revision in head that records the new limit, by its index there.
    pub revision: Option<RecordId>,
}

fn same_limit(a: &Target, b: &Target) -> bool {
    let (a, b): (Vec<_>, Vec<_>) = (a.limit().collect(), b.limit().collect());
    a.len() == b.len() && a.iter().zip(&b).all(|((key, x), (other, y))| key == other && x.same_value(y))
}

/// Does a revision begin at one of a target's limits?
fn begins_at(revision: &Body, target: &Target) -> bool {
    let Body::Revision(revision) = revision else { return false };
    revision.from.as_ref().is_some_and(|from| target.limit().any(|(_, limit)| limit.same_value(from)))
}

/// The revision of a target that leads to one of its limits; the latest of them.
fn recorded(study: &Study, target: RecordId) -> Option<RecordId> {
    let limits = study.loaded.target(target)?;
    let leads = |to: &Quantity| limits.limit().any(|(_, limit)| limit.same_value(to));
    let mut revisions = study.graph.revisions(target).into_iter().rev();
    revisions.find(|(_, revision)| revision.to.as_ref().is_some_and(leads)).map(|(id, _)| id)
}

pub(super) fn subtract(renames: &Renames, base: &Study, head: &Study, delta: &mut Delta) {
    let (before, after) = (&base.loaded, &head.loaded);
    for &(old, new) in delta.edited.iter().chain(&delta.renamed) {
        let (Body::Target(was), Body::Target(is)) = (&before.record(old).body, &after.record(new).body) else {
            continue;
        };
        if same_limit(was, is) {
            continue;
        }
        // A revision that base has recorded an earlier move, unless it was written ahead of this one.
        let revision = recorded(head, new).filter(|revision| {
            let Some(old) = renames.base_of[*revision] else { return true };
            let (then, body) = (&before.record(old).body, &after.record(*revision).body);
            // One whose end was edited was agreed for another limit.
            let (Body::Revision(earlier), Body::Revision(now)) = (then, body) else { return true };
            let as_agreed = earlier.to.as_ref().zip(now.to.as_ref()).is_none_or(|(then, now)| then.same_value(now));
            as_agreed && (then != body || begins_at(body, was))
        });
        delta.limits.push(ChangedLimit { base: old, head: new, revision });
    }
}
