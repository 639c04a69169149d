//! What a comparison of the alternatives of a decision says.

use std::sync::Arc;

use foldhash::HashMap;

use super::Spread;
use super::network::State;
use super::status::Status;
use crate::ids::{NodeId, RecordId};

/// A target with an alternative.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// The target's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// Its value, in SI.
    pub value: Option<f64>,
    /// Its expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// Whether it meets the limit, including its uncertainty.
    pub status: Status,
}

/// Whether a difference in points is larger than its uncertainty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Significance {
    /// It is larger, even if every value without an uncertainty is wrong by its whole change.
    Larger,
    /// It is not larger.
    Within,
    /// It is not known, because values that change it have no uncertainty.
    Unknown,
}

/// A reason why an alternative cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlternativeProblem {
    /// The keys below the record of the decision.
    pub route: Vec<String>,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// The whole car with one alternative.
pub struct Outcome {
    /// The name of the alternative.
    pub name: String,
    /// Its title.
    pub title: Option<String>,
    /// Whether it was chosen.
    pub chosen: bool,
    /// Whether it sets no value, so that it cannot be compared.
    pub sets_nothing: bool,
    /// Why it has no points: what it sets cannot be read or set (then it has no values), or an event cannot be calculated.
    pub problems: Vec<AlternativeProblem>,
    /// All values with it.
    pub state: Arc<State>,
    /// The points of the goal, with the expanded uncertainty (k = 2).
    pub points: Option<(f64, f64)>,
    /// The points with their interval.
    pub spread: Option<Spread>,
    /// The mean of what each event of the goal scores; they add up to the points.
    pub means: HashMap<NodeId, f64>,
    /// The difference to the points now, with its own uncertainty: common uncertainties cancel.
    pub difference: Option<(f64, f64)>,
    /// Whether the difference is larger than its uncertainty; `None` without a difference.
    pub significance: Option<Significance>,
    /// The values under the points that it sets or removes and that have no uncertainty of their own.
    pub without_uncertainty: Vec<String>,
    /// The targets that are criteria of the decision.
    pub criteria: Vec<Comparison>,
    /// Targets that are on target now, and would be at risk.
    pub newly_at_risk: Vec<RecordId>,
    /// Targets that are at risk now, and would be on target.
    pub newly_on_target: Vec<RecordId>,
}

impl Outcome {
    /// The mean of what an event scores; NaN without points.
    pub fn points_of_event(&self, event: NodeId) -> f64 {
        self.means.get(&event).copied().unwrap_or(f64::NAN)
    }
}

/// A criterion of a decision.
#[derive(Clone, Debug)]
pub struct Criterion {
    /// The target's record.
    pub index: RecordId,
    /// Whether a formula, a model or a total connects it with the points: what the alternatives change in it changes points.
    pub moves_points: bool,
    /// Whether its value differs between the alternatives, or from now.
    pub is_changed: bool,
}

/// The alternative with the most points, compared with the next one.
#[derive(Clone, Debug)]
pub struct Lead {
    /// The position of the alternative in [`Comparisons::outcomes`].
    pub best: usize,
    /// The position of the next one.
    pub next: usize,
    /// The difference in points, with its own uncertainty.
    pub difference: (f64, f64),
    /// Whether it is larger than its uncertainty.
    pub significance: Significance,
}

/// The alternatives of a decision, each in the whole car.
pub struct Comparisons {
    /// The alternatives, in the order of the record.
    pub outcomes: Vec<Outcome>,
    /// The criteria, in the order of the record.
    pub criteria: Vec<Criterion>,
    /// The alternative with the most points; `None` with fewer than two that have points.
    pub lead: Option<Lead>,
}
