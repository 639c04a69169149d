//! The graph from goal to part: a node a record, an edge a link, with the reason on `serves`.

mod cycles;
mod links;
mod query;

use petgraph::graph::{DiGraph, NodeIndex};
use petgraph::visit::EdgeRef;
use petgraph::{Direction, graph::EdgeIndex};
use schema::records::{Body, Kind};
use schema::words::CAR;

use crate::load::Loaded;
pub use cycles::Cycle;
pub use links::{Broken, Reference};
pub use query::Chains;

/// What an edge says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Link {
    /// The upward link, which carries its reason.
    Serves,
    /// Is about.
    Of,
    /// Belongs to.
    In,
    /// An analysis finds the value of a target.
    Finds,
    /// An analysis changed a decision or a part.
    Informs,
    /// A decision is judged by a target.
    Criteria,
    /// A result is about a target, requirement, part or event.
    Verifies,
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
        }
    }
}

/// An edge, from the record that names to the one that is named.
#[derive(Clone, Copy, Debug)]
pub struct Edge<'r> {
    /// What it says.
    pub link: Link,
    /// Why, on `serves`.
    pub reason: Option<&'r str>,
}

/// The level of a record in the chain: goal, event, car, system, part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tier {
    /// A goal.
    Goal,
    /// An event.
    Event,
    /// A target or requirement of the car.
    Car,
    /// A system, or a target or requirement of one.
    System,
    /// A part, or a target or requirement of one.
    Part,
}

impl Tier {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Goal => "goal",
            Self::Event => "event",
            Self::Car => "car",
            Self::System => "system",
            Self::Part => "part",
        }
    }
}

/// The graph of all records; node `i` is entry `i` of [`Loaded`].
pub struct Graph<'r> {
    /// Where the records are.
    pub loaded: &'r Loaded,
    /// References that lead nowhere, or to the wrong kind of record.
    pub broken: Vec<Broken<'r>>,
    edges: DiGraph<(), Edge<'r>, u32>,
}

impl<'r> Graph<'r> {
    /// Builds the graph.
    pub fn new(loaded: &'r Loaded) -> Self {
        let mut edges = DiGraph::with_capacity(loaded.entries.len(), loaded.entries.len() * 3);
        for _ in &loaded.entries {
            edges.add_node(());
        }
        let mut graph = Self { loaded, broken: Vec::new(), edges };
        let suggestions = 5 + 500_000 / loaded.entries.len().max(1);
        for (index, entry) in loaded.entries.iter().enumerate() {
            for reference in links::references(&entry.record) {
                match links::resolve(loaded, index, &reference, graph.broken.len() < suggestions) {
                    Ok(Some(target)) => {
                        if let Some(link) = reference.link {
                            let edge = Edge { link, reason: reference.reason };
                            graph.edges.add_edge(node(index), node(target), edge);
                        }
                    }
                    Ok(None) => {}
                    Err(broken) => graph.broken.push(broken),
                }
            }
        }
        graph
    }

    /// How many records there are.
    pub fn len(&self) -> usize {
        self.edges.node_count()
    }

    /// Is there no record?
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The edges from a record, in the order in which they are written.
    pub fn out(&self, index: usize) -> Vec<(usize, Edge<'r>)> {
        let mut all: Vec<(EdgeIndex<u32>, usize, Edge<'r>)> = self
            .edges
            .edges_directed(node(index), Direction::Outgoing)
            .map(|edge| (edge.id(), edge.target().index(), *edge.weight()))
            .collect();
        all.sort_by_key(|(id, ..)| *id);
        all.into_iter().map(|(_, to, edge)| (to, edge)).collect()
    }

    /// The edges to a record, in the order of the records they come from.
    pub fn into(&self, index: usize) -> Vec<(usize, Edge<'r>)> {
        let mut all: Vec<(EdgeIndex<u32>, usize, Edge<'r>)> = self
            .edges
            .edges_directed(node(index), Direction::Incoming)
            .map(|edge| (edge.id(), edge.source().index(), *edge.weight()))
            .collect();
        all.sort_by_key(|(id, ..)| *id);
        all.into_iter().map(|(_, from, edge)| (from, edge)).collect()
    }

    /// What a record serves.
    pub fn parents(&self, index: usize) -> impl Iterator<Item = usize> + '_ {
        self.linked(index, Link::Serves, Direction::Outgoing)
    }

    /// What serves a record.
    pub fn children(&self, index: usize) -> impl Iterator<Item = usize> + '_ {
        self.linked(index, Link::Serves, Direction::Incoming)
    }

    /// The records at the other end of one kind of link.
    pub fn linked(&self, index: usize, link: Link, direction: Direction) -> impl Iterator<Item = usize> + '_ {
        self.edges.edges_directed(node(index), direction).filter(move |edge| edge.weight().link == link).map(
            move |edge| match direction {
                Direction::Outgoing => edge.target().index(),
                Direction::Incoming => edge.source().index(),
            },
        )
    }

    /// All edges, by the record they come from.
    pub fn edges(&self) -> impl Iterator<Item = (usize, usize, Edge<'r>)> + '_ {
        self.edges.edge_references().map(|edge| (edge.source().index(), edge.target().index(), *edge.weight()))
    }

    /// The level of a record; none for those that hang on the chain and are not in it.
    pub fn tier(&self, index: usize) -> Option<Tier> {
        let record = self.loaded.record(index);
        match &record.body {
            Body::Goal(_) => Some(Tier::Goal),
            Body::Event(_) => Some(Tier::Event),
            Body::System(_) => Some(Tier::System),
            Body::Part(_) => Some(Tier::Part),
            Body::Target(_) | Body::Requirement(_) => {
                let of = record.about()?.as_str();
                if of == CAR {
                    return Some(Tier::Car);
                }
                match self.loaded.record(self.loaded.find(of)?).kind() {
                    Kind::System => Some(Tier::System),
                    Kind::Part => Some(Tier::Part),
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// The lead of a record: its own, else that of the system it belongs to.
    pub fn lead(&self, index: usize) -> Option<&'r str> {
        let mut at = index;
        // A system inside itself would turn for ever; no car is 20 systems deep.
        for _ in 0..20 {
            let record = self.loaded.record(at);
            if let Some(lead) = record.body.common().lead().filter(|lead| !lead.trim().is_empty()) {
                return Some(lead);
            }
            at = self.loaded.find(record.about()?.as_str())?;
        }
        None
    }
}

fn node(index: usize) -> NodeIndex<u32> {
    NodeIndex::new(index)
}

#[cfg(test)]
pub(crate) mod tests;
