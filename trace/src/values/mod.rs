//! Values: from records to numbers. Targets, events, goals and amounts are nodes of one acyclic graph; formulas, models,
//! totals and scores are its rules.

mod at_stake;
pub(crate) mod bases;
mod budgets;
mod build;
mod call;
mod chance;
mod closing;
mod compare;
mod comparison;
mod contributions;
mod currency;
mod derivatives;
mod faults;
pub(crate) mod impossible;
mod ledger;
pub(crate) mod model_tables;
mod most;
mod names;
mod needed;
mod network;
pub(crate) mod passes;
mod plan;
mod points;
mod problems;
pub(crate) mod runs;
mod sampling;
mod sets;
mod spread;
mod status;
pub(crate) mod tables;
mod tolerance;
pub mod transfer;
mod uncertain_work;
mod what_if;
pub(crate) mod work;
mod worth;

pub use crate::sheets::{
    Shipped, all as score_sheets, find as score_sheet, names as sheet_names, sheet_of as score_sheet_of,
};
pub use budgets::{Budget, Share};
pub(crate) use build::growth;
pub use call::Call;
pub use closing::{NewLimit, Transfer};
pub use comparison::{AlternativeProblem, Comparison, Comparisons, Criterion, Lead, Outcome, Significance};
pub use contributions::Contribution;
pub use derivatives::{Gradients, Partials};
pub use faults::{Fault, FaultAt, FaultKind};
pub use ledger::{MissingAmount, WithoutAmount};
pub use model_tables::ModelTable;
pub use needed::{FEW_YEARS, LEVEL, Needed};
pub use network::{LARGEST, Network, Rule, State, Value};
pub use points::{Chance, EventPoints, GoalPoints};
pub use problems::{ValueProblem, ValueProblemKind};
pub use sets::{Effect, FoundSetProblem, SetProblem, SetProblemKind};
pub use spread::Spread;
pub use status::{Limit, Status, TargetStatus};
pub(crate) use tables::TableError;
pub use worth::Worth;

use std::sync::{Arc, OnceLock};

use foldhash::{HashMap, HashSet};
use schema::quantity::{Dimension, Unit};
use schema::records::roles::AmountsRule;

use crate::graph::Graph;
use crate::ids::{NodeId, RecordId};
use crate::load::Loaded;

/// The name of the node of an event's points if it scores; a record cannot have such a name.
pub(crate) const SCORE: &str = "its score";

/// The name of the node of an event's chance.
pub(crate) const CHANCE: &str = "its chance";

/// The name of the node of what a finish adds to the points without one.
pub(crate) const GAIN: &str = "its gain by a finish";

/// The name of the node of what a finish adds with its chance.
pub(crate) const ADDED: &str = "its gain with its chance";

/// The name of the node of the expected points of a judged event, if `most` limits them.
pub(crate) const EXPECTED: &str = "its expectation";

/// What a node represents.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Key {
    /// A target, an event (its points) or a goal (its total).
    Record(RecordId),
    /// An amount of one piece of a part, as in the record.
    Part(RecordId, u16),
    /// The total of an amount over a system, or over the car for `None`: with counts and growth.
    Group(Option<RecordId>, u16),
    /// A name under `given` or `reads` of a record; of an event also its parts, like its score and its chance.
    Local(RecordId, Box<str>),
    /// What the measured value of a target with a `total` has more than its parts.
    NotInParts(RecordId),
}

/// A total that was measured: its value replaces the parts in every total above.
#[derive(Clone, Debug)]
pub(crate) struct MeasuredTotal {
    /// The node of the target with the result.
    pub(crate) target: NodeId,
    /// The node of its parts: the total of a group, or the amount of one piece of a part.
    pub(crate) parts: NodeId,
    /// The count and growth of a part; 1 for a group.
    pub(crate) factor: f64,
    /// The system or part; `None` for the car.
    pub(crate) subject: Option<RecordId>,
    /// The amount.
    pub(crate) amount: u16,
    /// The date of the result.
    pub(crate) date: Option<schema::Day>,
}

impl Key {
    /// The key for an amount of a record; `None` if records of its kind have no amounts.
    fn amount(loaded: &Loaded, record: RecordId, amount: u16) -> Option<Self> {
        match loaded.kind(record).roles().amounts {
            AmountsRule::Own => Some(Self::Part(record, amount)),
            AmountsRule::Total => Some(Self::Group(Some(record), amount)),
            AmountsRule::Never => None,
        }
    }

    /// The name of the node in messages about its own record: a local name without the id.
    pub(crate) fn short_name(&self, loaded: &Loaded, amounts: &[Box<str>]) -> String {
        match self {
            Self::Local(_, name) => name.to_string(),
            other => other.name(loaded, amounts),
        }
    }

    /// The name of the node, as used in formulas; a local name is after the id of its record.
    fn name(&self, loaded: &Loaded, amounts: &[Box<str>]) -> String {
        let id = |record: RecordId| loaded.record(record).id.as_str();
        let amount = |number: u16| &amounts[usize::from(number)];
        match self {
            Self::Record(record) => id(*record).to_owned(),
            Self::Part(record, number) | Self::Group(Some(record), number) => {
                format!("{}.{}", id(*record), amount(*number))
            }
            Self::Group(None, number) => format!("{}.{}", schema::words::CAR, amount(*number)),
            Self::Local(record, name) => format!("{} given {name}", id(*record)),
            Self::NotInParts(record) => format!("{} not in the parts", id(*record)),
        }
    }
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
    /// The total of an amount.
    Total,
    /// An estimate in the record, or the expected points of a judged event.
    Estimate,
    /// The score of the values that an event reads.
    Score,
    /// The sum of the events.
    Events,
    /// It has no value.
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

/// Which results are used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measured {
    /// All.
    All,
    /// Results of targets, but not of events.
    BeforeTheContest,
    /// No results, only estimates.
    Nothing,
}

/// All values of a project.
#[derive(Debug)]
pub struct Values {
    /// The records and links.
    pub graph: Arc<Graph>,
    /// Which results are used.
    pub measured: Measured,
    /// The value graph.
    pub network: Network,
    /// The values according to the records.
    pub state: State,
    /// What each node represents.
    pub keys: Vec<Key>,
    /// Problems of formulas, units and models.
    pub problems: Vec<ValueProblem>,
    /// The nodes of cycles, which have no rule.
    cyclic: Vec<NodeId>,
    past: needed::Past,
    amounts: Vec<Box<str>>,
    /// The number of each amount by its name.
    amount_numbers: HashMap<Box<str>, u16>,
    by_key: HashMap<Key, NodeId>,
    origins: HashMap<RecordId, Origin>,
    measured_totals: Vec<MeasuredTotal>,
    measured_by_parts: HashMap<NodeId, usize>,
    /// The position of each measured total by the node of its target.
    measured_by_target: OnceLock<HashMap<NodeId, usize>>,
    /// The call of the model of each analysis, and the values that are its outputs.
    outputs: OnceLock<HashMap<RecordId, (usize, Vec<NodeId>)>>,
    partials: OnceLock<Partials>,
    partials_without_constants: OnceLock<Partials>,
    gradients: OnceLock<Gradients>,
    bends: OnceLock<spread::Bends>,
    goals: OnceLock<Vec<GoalPoints>>,
    factors_in_car: OnceLock<HashMap<NodeId, f64>>,
    /// By the id of an analysis, the first one that supersedes it.
    superseded: OnceLock<HashMap<schema::Id, RecordId>>,
    /// By the decision, the keys under `sets` that cannot be set, each with its position among all of them.
    set_problems: OnceLock<HashMap<RecordId, Vec<(usize, SetProblem)>>>,
    /// The nodes of cycles.
    is_cyclic: OnceLock<HashSet<NodeId>>,
    /// The amounts of parts whose basis is not in the settings: the part, the name of the amount, the message and the help.
    unknown_bases: OnceLock<Vec<(RecordId, String, String, String)>>,
    /// For each node, the sum of half of the last digits of the amounts in it.
    half_digits: OnceLock<Vec<f64>>,
}

impl Values {
    /// Builds and evaluates the value graph.
    pub fn new(graph: &Arc<Graph>) -> Self {
        build::build(graph, Measured::All)
    }

    /// The value graph with some or all results ignored: what was expected.
    pub fn with_measured(graph: &Arc<Graph>, measured: Measured) -> Self {
        build::build(graph, measured)
    }

    /// The number of results with a value.
    pub fn results(&self) -> usize {
        self.graph.loaded.results().filter(|(.., result)| result.value.is_some()).count()
    }

    /// All nodes with what they represent.
    pub fn nodes(&self) -> impl Iterator<Item = (NodeId, &Key)> {
        self.keys.iter().enumerate().map(|(position, key)| (NodeId::new(position), key))
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
            return self.node(&Key::Group(None, amount)).map(|node| self.whole(node));
        }
        let index = self.graph.loaded.find(id)?;
        self.node(&Key::amount(&self.graph.loaded, index, amount)?).map(|node| self.whole(node))
    }

    /// The node that has the value of a total: the target that was measured in its place, otherwise the total itself,
    /// which adds up the parts. Any other node is its own.
    pub fn whole(&self, node: NodeId) -> NodeId {
        let is_total = matches!(self.keys[node], Key::Group(..));
        let measured = self.measured_by_parts.get(&node).filter(|_| is_total);
        measured.map_or(node, |at| self.measured_totals[*at].target)
    }

    /// What a measured total has more than its parts, with their counts and growth allowances, in SI; negative if it has
    /// less. The node is that of the target or of the total; `None` if it was not measured, or has no parts.
    pub fn not_in_parts(&self, node: NodeId) -> Option<f64> {
        let target = self.whole(node);
        let by_target = self.measured_by_target.get_or_init(|| {
            // Of equal ones the first.
            let all = self.measured_totals.iter().enumerate().rev();
            all.map(|(at, total)| (total.target, at)).collect()
        });
        let total = &self.measured_totals[*by_target.get(&target)?];
        let (value, parts) = (self.value(target)?, total.factor * self.value(total.parts)?);
        let is_rounding = schema::quantity::same_number(value, parts);
        Some(if is_rounding { 0.0 } else { value - parts })
    }

    /// The total that was measured in place of this amount of a part or system, or of the car for `None`.
    fn measured_total(&self, subject: Option<RecordId>, amount: u16) -> Option<&MeasuredTotal> {
        let part = subject.filter(|subject| self.graph.loaded.part(*subject).is_some());
        let key = part.map_or(Key::Group(subject, amount), |part| Key::Part(part, amount));
        self.measured_by_parts.get(&self.node(&key)?).map(|at| &self.measured_totals[*at])
    }

    /// The name of a node, as used in formulas; a local name comes after the id of its record.
    pub fn name(&self, node: NodeId) -> String {
        self.keys[node].name(&self.graph.loaded, &self.amounts)
    }

    /// The names of all amounts.
    pub fn amounts(&self) -> &[Box<str>] {
        &self.amounts
    }

    /// The number of an amount's name.
    pub fn amount(&self, name: &str) -> Option<u16> {
        self.amount_numbers.get(name).copied()
    }

    /// Where the value of a target, an event or a goal comes from.
    pub fn origin(&self, index: RecordId) -> Origin {
        self.origins.get(&index).copied().unwrap_or(Origin::None)
    }

    /// The derivatives of all values by their inputs. They are calculated once, because models are slow to differentiate.
    pub fn partials(&self) -> &Partials {
        self.partials.get_or_init(|| self.network.partials(&self.state))
    }

    /// The same without the derivatives of models by the constants of analyses, which no uncertainty and no check needs.
    pub(super) fn partials_without_constants(&self) -> &Partials {
        let own = || {
            let constants = self.constants();
            self.network.partials_by(&self.state, &|node| !constants[node])
        };
        self.partials.get().unwrap_or_else(|| self.partials_without_constants.get_or_init(own))
    }

    /// For every node, whether it is an exact number under `given` of an analysis, or a formula of such numbers alone.
    fn constants(&self) -> Vec<bool> {
        let mut constants = vec![false; self.keys.len()];
        for &node in &self.network.order {
            let value = &self.network.nodes[node];
            constants[node] = match (&value.rule, &self.keys[node]) {
                (Rule::Given(_), Key::Local(record, _)) => {
                    value.uncertainty == 0.0 && self.graph.loaded.analysis(*record).is_some()
                }
                (Rule::Formula(_), _) => value.inputs.iter().all(|input| constants[*input]),
                _ => false,
            };
        }
        constants
    }

    /// The derivatives of all values by the uncertain given values.
    pub fn gradients(&self) -> &Gradients {
        self.gradients.get_or_init(|| self.network.gradients(self.partials_without_constants()))
    }

    /// For every node, whether the points of an event depend on it.
    pub fn feeding(&self) -> Vec<bool> {
        let events = self.graph.loaded.events().filter_map(|(event, ..)| self.record_node(event));
        self.all_under(&events.collect::<Vec<_>>())
    }

    /// The value of a node in SI, if it has one.
    pub fn value(&self, node: NodeId) -> Option<f64> {
        Some(self.state.values[node]).filter(|value| !value.is_nan())
    }

    /// The unit to show a node in.
    pub fn unit(&self, node: NodeId) -> &Unit {
        &self.network.nodes[node].unit
    }

    /// A quantity in SI, and in the team's currency if the settings have a rate: dimension, value and expanded
    /// uncertainty.
    pub fn in_team(&self, quantity: &schema::Quantity) -> (Dimension, f64, f64) {
        let rates = &self.graph.loaded.settings().rates;
        let (unit, value, uncertainty) = currency::in_currency(rates, quantity);
        (unit.dimension(), value, uncertainty)
    }

    /// The dimension of a node.
    pub fn dimension(&self, node: NodeId) -> Dimension {
        self.network.nodes[node].dimension
    }
}

#[cfg(test)]
mod tests;
