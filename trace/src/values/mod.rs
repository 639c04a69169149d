//! Values: from records to numbers. Targets, events, goals and amounts are nodes of one acyclic graph;
//! formulas, models, roll-ups and scores are its rules.

mod budgets;
mod build;
mod closing;
mod compare;
mod ledger;
mod network;
mod order;
mod points;
mod problems;
mod sheets;
mod status;
mod tables;
pub mod transfer;
mod worth;

pub use budgets::{Budget, Share};
pub use closing::{Move, Transfer};
pub use compare::{Comparison, Outcome};
pub use network::{Gradients, Network, Partials, Rule, State};
pub use points::{EventPoints, GoalPoints, LEVEL, Needed};
pub use problems::{ValueProblem, ValueProblemKind};
pub use sheets::{all as score_sheets, find as score_sheet, names as sheet_names};
pub use status::{Limit, Status, TargetStatus};
pub use worth::Worth;

use std::sync::{Arc, OnceLock};

use foldhash::HashMap;
use schema::quantity::{Dimension, Unit};
use schema::records::Body;

use crate::graph::Graph;
use crate::ids::{NodeId, RecordId};

/// What a node stands for.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Key {
    /// A target, an event (its points) or a goal (its total).
    Record(RecordId),
    /// An amount of one piece of a part, as it is written.
    Part(RecordId, u16),
    /// An amount of a system, or of the car where there is none: counted, with growth.
    Group(Option<RecordId>, u16),
    /// A name under `given` or `reads` of a record.
    Local(RecordId, Box<str>),
}

/// Where the value of a target, an event or a goal comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// A result.
    Result(RecordId),
    /// An analysis.
    Analysis(RecordId),
    /// Its formula.
    Formula,
    /// The roll-up of an amount.
    Total,
    /// An estimate written by hand, or the points expected of a judged event.
    Estimate,
    /// The score of what an event reads.
    Score,
    /// The sum of the events.
    Events,
    /// It has none.
    None,
}

impl Origin {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Result(_) => "result",
            Self::Analysis(_) => "analysis",
            Self::Formula => "formula",
            Self::Total => "total",
            Self::Estimate => "estimate",
            Self::Score => "score",
            Self::Events => "events",
            Self::None => "none",
        }
    }
}

/// Which results count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measured {
    /// All.
    All,
    /// Those of tests, and not those of events.
    BeforeTheContest,
    /// None: estimates alone.
    Nothing,
}

/// All values of a data root.
#[derive(Debug)]
pub struct Values {
    /// The records and links.
    pub graph: Arc<Graph>,
    /// The value graph.
    pub network: Network,
    /// The values as the records have them.
    pub state: State,
    /// What each node stands for.
    pub keys: Vec<Key>,
    /// What is wrong with formulas, units and models.
    pub problems: Vec<ValueProblem>,
    amounts: Vec<Box<str>>,
    by_key: HashMap<Key, NodeId>,
    origins: HashMap<RecordId, Origin>,
    partials: OnceLock<Partials>,
    gradients: OnceLock<Gradients>,
}

impl Values {
    /// Builds and evaluates the value graph.
    pub fn new(graph: &Arc<Graph>) -> Self {
        build::build(graph, Measured::All)
    }

    /// The value graph as it would be with fewer results: what was expected.
    pub fn with_measured(graph: &Arc<Graph>, measured: Measured) -> Self {
        build::build(graph, measured)
    }

    /// How many results give a value.
    pub fn results(&self) -> usize {
        self.graph.loaded.results().filter(|(.., result)| result.value.is_some()).count()
    }

    /// All nodes with what they stand for.
    pub fn nodes(&self) -> impl Iterator<Item = (NodeId, &Key)> {
        self.keys.iter().enumerate().map(|(at, key)| (NodeId::new(at), key))
    }

    /// The node of a key.
    pub fn node(&self, key: &Key) -> Option<NodeId> {
        self.by_key.get(key).copied()
    }

    /// The node of a target, an event or a goal.
    pub fn record_node(&self, index: RecordId) -> Option<NodeId> {
        self.node(&Key::Record(index))
    }

    /// The node of a name such as `car-mass`, `engine-unit.mass` or `car.cost`.
    pub fn named(&self, name: &str) -> Option<NodeId> {
        let (id, amount) = name.split_once('.').map_or((name, None), |(id, amount)| (id, Some(amount)));
        let Some(amount) = amount else { return self.record_node(self.graph.loaded.find(id)?) };
        let amount = self.amount(amount)?;
        if id == schema::words::CAR {
            return self.node(&Key::Group(None, amount));
        }
        let index = self.graph.loaded.find(id)?;
        match self.graph.loaded.record(index).body {
            Body::Part(_) => self.node(&Key::Part(index, amount)),
            _ => self.node(&Key::Group(Some(index), amount)),
        }
    }

    /// The name of a node, as it can be referred to; a local name stands behind its record's.
    pub fn name(&self, node: NodeId) -> String {
        let id = |index: RecordId| self.graph.loaded.record(index).id.as_str();
        let amount = |amount: u16| &self.amounts[usize::from(amount)];
        match &self.keys[node] {
            Key::Record(index) => id(*index).to_owned(),
            Key::Part(index, of) | Key::Group(Some(index), of) => format!("{}.{}", id(*index), amount(*of)),
            Key::Group(None, of) => format!("car.{}", amount(*of)),
            Key::Local(index, name) => format!("{} given {name}", id(*index)),
        }
    }

    /// The names of all amounts.
    pub fn amounts(&self) -> &[Box<str>] {
        &self.amounts
    }

    /// The number of an amount's name.
    pub fn amount(&self, name: &str) -> Option<u16> {
        self.amounts.iter().position(|known| **known == *name).map(|at| at as u16)
    }

    /// Where the value of a target, an event or a goal comes from.
    pub fn origin(&self, index: RecordId) -> Origin {
        self.origins.get(&index).copied().unwrap_or(Origin::None)
    }

    /// The derivatives of values by what they read, as the records have them: models are slow to differentiate, so it is
    /// done once.
    pub fn partials(&self) -> &Partials {
        self.partials.get_or_init(|| self.network.partials(&self.state))
    }

    /// What every value owes to each uncertain one, as the records have them.
    pub fn gradients(&self) -> &Gradients {
        self.gradients.get_or_init(|| self.network.gradients(self.partials()))
    }

    /// For every node: do the points of an event rest on it?
    pub fn feeding(&self) -> Vec<bool> {
        let mut feeds = vec![false; self.network.nodes.len()];
        for node in self.graph.loaded.events().filter_map(|(event, ..)| self.record_node(event)) {
            feeds[node] = true;
        }
        for &node in self.network.order.iter().rev() {
            if feeds[node] {
                for &input in &self.network.nodes[node].inputs {
                    feeds[input] = true;
                }
            }
        }
        feeds
    }

    /// The value of a node in SI, if it has one.
    pub fn value(&self, node: NodeId) -> Option<f64> {
        Some(self.state.values[node]).filter(|value| !value.is_nan())
    }

    /// The unit to show a node in.
    pub fn unit(&self, node: NodeId) -> &Unit {
        &self.network.nodes[node].unit
    }

    /// A quantity in SI, its money in the team's currency where the settings have a rate: dimension, value, and
    /// expanded uncertainty.
    pub fn in_team(&self, quantity: &schema::Quantity) -> (Dimension, f64, f64) {
        let rates = &self.graph.loaded.settings().rates;
        let (unit, value, uncertainty) = build::in_currency(rates, quantity);
        (unit.dimension(), value, uncertainty)
    }

    /// The dimension of a node.
    pub fn dimension(&self, node: NodeId) -> Dimension {
        self.network.nodes[node].dimension
    }
}

#[cfg(test)]
mod tests;
