//! The upward links that parts inherit from the `for-parts` of a system around them, as edges.

use foldhash::HashMap;
use petgraph::graph::DiGraph;
use schema::records::{ReferenceKey, Serves};

use super::{Broken, Link, node};
use crate::ids::RecordId;
use crate::load::Loaded;

/// The largest number of inherited links in a state: each part of a group has all of its links.
const MOST_INHERITED: usize = 3_000_000;

/// The links that were inherited so far.
#[derive(Default)]
pub(super) struct Inherited {
    groups: HashMap<RecordId, Group>,
    count: usize,
    /// The groups with parts that do not have the links, in the order of the parts.
    cut: Vec<RecordId>,
}

/// A group, with the records that it serves.
struct Group {
    served: Vec<RecordId>,
    is_cut: bool,
}

impl Inherited {
    /// Adds the links that a record inherits.
    pub(super) fn add(&mut self, loaded: &Loaded, id: RecordId, edges: &mut DiGraph<(), Link, u32>) {
        let serves = loaded.serves(id);
        let Some(group) = serves.group else { return };
        let new = || Group { served: served(loaded, serves.value), is_cut: false };
        let own = self.groups.entry(group).or_insert_with(new);
        if self.count + own.served.len() > MOST_INHERITED {
            if !std::mem::replace(&mut own.is_cut, true) {
                self.cut.push(group);
            }
            return;
        }
        self.count += own.served.len();
        for to in &own.served {
            edges.add_edge(node(id), node(*to), Link::Serves);
        }
    }

    /// What is wrong with groups whose parts do not have all links.
    pub(super) fn too_many(self, loaded: &Loaded) -> impl Iterator<Item = Broken> {
        self.cut.into_iter().map(|system| {
            let name = loaded.record(system).name();
            Broken {
                from: system,
                route: vec!["for-parts".to_owned(), "serves".to_owned()],
                is_key: true,
                missing: None,
                near: None,
                message: format!(
                    "the parts of the project inherit more than 3,000,000 links, and further parts of {name} \
                     inherit none"
                ),
                help: "name fewer records here, or add `serves` to the parts".to_owned(),
            }
        })
    }
}

/// The records that a group serves. What is wrong with one of its links is reported once, on its system.
fn served(loaded: &Loaded, serves: &Serves) -> Vec<RecordId> {
    let found = serves.keys().filter_map(|to| loaded.find(to.as_str()));
    found.filter(|to| loaded.kind(*to).may_be_named_under(ReferenceKey::Serves)).collect()
}
