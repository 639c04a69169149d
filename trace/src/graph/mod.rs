//! The graph from goal to part: one node per record, one edge per link, with the reason on `serves`.

mod candidates;
mod cycles;
mod driven;
mod groups;
mod inherited;
mod known;
mod links;
mod query;

use std::cell::OnceCell;
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::EdgeRef;
use petgraph::{Direction, graph::EdgeIndex};
use schema::records::roles::TierRule;
use schema::words::CAR;

pub(crate) use query::is_place_enough;

use crate::ids::RecordId;
use crate::load::Loaded;
pub use candidates::ids_for;
pub use cycles::Cycle;
pub(crate) use cycles::shortest_cycle;
pub use driven::Driven;
pub(crate) use driven::target_read;
pub(crate) use groups::DEEPEST;
pub use groups::Given;
use inherited::Inherited;
use known::Known;
pub use links::Broken;
pub(crate) use links::{named_in, renamed_help};
pub use query::Chains;
pub(crate) use query::LONGEST_CHAIN;
pub use schema::records::Tier;

/// The kind of an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Link {
    /// The upward link, which has a reason.
    Serves,
    /// The subject of a record.
    Of,
    /// The system that a record belongs to.
    In,
    /// An analysis finds the value of a target.
    Finds,
    /// An analysis informs a decision or a part.
    Informs,
    /// A target is a criterion of a decision.
    Criteria,
    /// A result verifies a target, requirement, part or event, or has the place of a goal.
    Verifies,
    /// A result of an event has the value that was driven for a target.
    Reads,
}

impl Link {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Serves => "serves",
            Self::Of => "of",
            Self::In => "in",
            Self::Finds => "finds",
            Self::Informs => "informs",
            Self::Criteria => "criteria",
            Self::Verifies => "verifies",
            Self::Reads => "reads",
        }
    }
}

/// An edge, from the record with the link to the record that it names.
#[derive(Clone, Copy, Debug)]
pub struct Edge<'r> {
    /// Its kind.
    pub link: Link,
    /// The reason, on `serves`.
    pub reason: Option<&'r str>,
    /// The system that a part inherits the link from.
    pub group: Option<RecordId>,
}

/// The graph of all records; node `i` is entry `i` of [`Loaded`].
#[derive(Debug)]
pub struct Graph {
    /// The records.
    pub loaded: Arc<Loaded>,
    /// References to missing records or files, or to records of the wrong kind.
    pub broken: Vec<Broken>,
    edges: DiGraph<(), Link, u32>,
    known: Known,
}

impl Graph {
    /// Builds the graph.
    pub fn new(loaded: &Arc<Loaded>) -> Self {
        let mut edges = DiGraph::with_capacity(loaded.entries.len(), loaded.entries.len() * 3);
        for _ in &loaded.entries {
            edges.add_node(());
        }
        let (mut broken, mut inherited) = (Vec::new(), Inherited::default());
        let mut over = None;
        let suggestions = 5 + 500_000 / loaded.entries.len().max(1);
        // Earlier ids are listed when the first unknown one is found.
        let former: OnceCell<HashMap<&str, RecordId>> = OnceCell::new();
        let all_former = || {
            let mut former = HashMap::new();
            for (id, record) in loaded.records() {
                for name in record.body.common().formerly() {
                    former.entry(name.as_str()).or_insert(id);
                }
            }
            former
        };
        let renamed = |id: &str| former.get_or_init(all_former).get(id).copied();
        for (id, record) in loaded.records() {
            for reference in links::references(record) {
                match links::resolve(loaded, id, &reference, broken.len() < suggestions, renamed) {
                    Ok(Some(target)) => {
                        if let Some(link) = reference.link {
                            edges.add_edge(node(id), node(target), link);
                        }
                    }
                    Ok(None) => {}
                    Err(found) if broken.len() < MOST_BROKEN => broken.push(found),
                    Err(found) => {
                        over.get_or_insert(found);
                    }
                }
            }
            inherited.add(loaded, id, &mut edges);
        }
        broken.extend(over.map(too_many_broken));
        broken.extend(inherited.too_many(loaded));
        for (result, target) in driven::links(loaded) {
            edges.add_edge(node(result), node(target), Link::Reads);
        }
        links::suspect_existing_ids(loaded, &mut broken);
        Self { loaded: Arc::clone(loaded), broken, edges, known: Known::default() }
    }

    /// The number of records.
    pub fn len(&self) -> usize {
        self.edges.node_count()
    }

    /// Whether there are no records.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The edges from a record, in the order of the file.
    pub fn outgoing(&self, id: RecordId) -> Vec<(RecordId, Edge<'_>)> {
        self.sorted(id, Direction::Outgoing).map(|(_, to, link)| (to, self.edge(id, to, link))).collect()
    }

    /// The edges to a record, in the order of the records they come from.
    pub fn incoming(&self, id: RecordId) -> Vec<(RecordId, Edge<'_>)> {
        self.sorted(id, Direction::Incoming).map(|(_, from, link)| (from, self.edge(from, id, link))).collect()
    }

    fn sorted(
        &self,
        id: RecordId,
        direction: Direction,
    ) -> impl Iterator<Item = (EdgeIndex<u32>, RecordId, Link)> + use<> {
        let edges = self.edges.edges_directed(node(id), direction);
        let mut all: Vec<_> = edges.map(|edge| (edge.id(), end(&edge, direction), *edge.weight())).collect();
        all.sort_by_key(|(id, ..)| *id);
        all.into_iter()
    }

    fn edge(&self, from: RecordId, to: RecordId, link: Link) -> Edge<'_> {
        if link != Link::Serves {
            return Edge { link, reason: None, group: None };
        }
        let serves = self.loaded.serves(from);
        let reason = serves.value.get(self.loaded.record(to).id.as_str()).and_then(|reason| reason.0.as_deref());
        Edge { link, reason, group: serves.group }
    }

    /// The records that a record serves.
    pub fn parents(&self, id: RecordId) -> impl Iterator<Item = RecordId> + '_ {
        self.linked(id, Link::Serves, Direction::Outgoing)
    }

    /// The records that serve a record.
    pub fn children(&self, id: RecordId) -> impl Iterator<Item = RecordId> + '_ {
        self.linked(id, Link::Serves, Direction::Incoming)
    }

    /// The records at the other end of one kind of link.
    pub fn linked(&self, id: RecordId, link: Link, direction: Direction) -> impl Iterator<Item = RecordId> + '_ {
        let edges = self.edges.edges_directed(node(id), direction);
        edges.filter(move |edge| *edge.weight() == link).map(move |edge| end(&edge, direction))
    }

    /// All edges, in the order of the records they come from.
    pub fn edges(&self) -> impl Iterator<Item = (RecordId, RecordId, Edge<'_>)> + '_ {
        self.pairs().map(|(from, to, link)| (from, to, self.edge(from, to, link)))
    }

    /// All edges without their reasons.
    fn pairs(&self) -> impl Iterator<Item = (RecordId, RecordId, Link)> + '_ {
        let edges = self.edges.edge_references();
        edges.map(|edge| (record_of(edge.source()), record_of(edge.target()), *edge.weight()))
    }

    /// The tier of a record; `None` for records outside the chain.
    pub fn tier(&self, index: RecordId) -> Option<Tier> {
        let record = self.loaded.record(index);
        match record.kind().roles().tier {
            TierRule::Fixed(tier) => Some(tier),
            TierRule::OfSubject => {
                let of = record.about()?.as_str();
                if of == CAR {
                    return Some(Tier::Car);
                }
                match self.loaded.record(self.loaded.find(of)?).kind().roles().tier {
                    TierRule::Fixed(tier @ (Tier::System | Tier::Part)) => Some(tier),
                    TierRule::Fixed(Tier::Goal | Tier::Event | Tier::Car) | TierRule::OfSubject | TierRule::Outside => {
                        None
                    }
                }
            }
            TierRule::Outside => None,
        }
    }

    /// The lead of a record: its own, otherwise that of the nearest enclosing system.
    pub fn lead(&self, id: RecordId) -> Option<&str> {
        let lead = |id| self.loaded.record(id).body.common().lead().filter(|lead| !lead.trim().is_empty());
        self.enclosing(id).find_map(lead)
    }
}

/// The largest number of broken references that are kept.
const MOST_BROKEN: usize = 140_000;

/// What is reported at the first broken reference that is not kept.
fn too_many_broken(first: Broken) -> Broken {
    let message = "the project has more than 140,000 broken references, and this one and further ones are not listed";
    let help = "fix the listed ones first".to_owned();
    Broken { missing: None, near: None, message: message.to_owned(), help, ..first }
}

fn node(id: RecordId) -> NodeIndex<u32> {
    NodeIndex::new(id.index())
}

fn record_of(node: NodeIndex<u32>) -> RecordId {
    RecordId::new(node.index())
}

/// The record at the other end of an edge.
fn end(edge: &impl EdgeRef<NodeId = NodeIndex<u32>>, direction: Direction) -> RecordId {
    record_of(match direction {
        Direction::Outgoing => edge.target(),
        Direction::Incoming => edge.source(),
    })
}

#[cfg(test)]
pub(crate) mod tests;
