//! Points: planned, predicted, and needed for the goal; the value that scores exactly the plan.

use std::sync::Arc;

use foldhash::HashMap;
use schema::quantity::Dimension;
use schema::records::Goal;

use super::needed::Needed;
use super::network::{Network, State};
use super::status::Limit;
use super::{CHANCE, Key, Origin, Spread, Values};
use crate::ids::{NodeId, RecordId};

/// The points of an event.
#[derive(Clone, Debug)]
pub struct EventPoints {
    /// The event's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// The planned points.
    pub plan: Option<f64>,
    /// The predicted points: the mean of what it may score.
    pub predicted: Option<f64>,
    /// The expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// The mean and the interval of the predicted points.
    pub spread: Option<Spread>,
    /// The chance that it scores; `None` if it always does.
    pub chance: Option<Chance>,
    /// The input that is scored: the first name under `reads`, and its node.
    pub reads: Option<(String, NodeId)>,
    /// The value of the input that would score exactly the plan, in SI.
    pub needed_value: Option<f64>,
    /// The points if every target that the event reads is exactly at its limit.
    pub at_limits: Option<f64>,
}

/// The chance of an event.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Chance {
    /// The value that it is: events with the same one are scored or not together.
    pub node: NodeId,
    /// The chance.
    pub chance: f64,
}

/// A goal and its events.
#[derive(Clone, Debug)]
pub struct GoalPoints {
    /// The goal's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// The sum of the plans.
    pub plan: f64,
    /// The sum of the predictions; `None` unless every event has a value.
    pub predicted: Option<f64>,
    /// The sum over the events that have a value, if others have none.
    pub at_least: Option<f64>,
    /// The events without a value.
    pub without_value: Vec<RecordId>,
    /// Its expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// The mean and the interval of the sum: inputs and chances that events share count once.
    pub spread: Option<Spread>,
    /// The points that it needs, or why they cannot be calculated.
    pub needed: Result<Needed, String>,
    /// Its events, in the order of the records; goals share them.
    pub events: Vec<Arc<EventPoints>>,
}

impl EventPoints {
    /// The interval that contains 95 % of what it may score.
    pub fn interval(&self) -> Option<(f64, f64)> {
        self.spread.as_ref().map(|spread| (spread.low, spread.high))
    }
}

impl GoalPoints {
    /// The probability that the predicted points are enough for the goal; `None` if one of both is not known.
    pub fn chance(&self) -> Option<f64> {
        self.predicted?;
        Some(self.needed.as_ref().ok()?.chance_of(self.spread.as_ref()?))
    }

    /// The interval that contains 95 % of the totals.
    pub fn interval(&self) -> Option<(f64, f64)> {
        self.spread.as_ref().map(|spread| (spread.low, spread.high))
    }

    /// The probability that the total is at least this number, which has an uncertainty of its own (standard deviation).
    pub fn chance_of(&self, points: f64, standard_deviation: f64) -> Option<f64> {
        self.spread.as_ref().map(|spread| spread.chance_of(points, standard_deviation))
    }
}

impl Values {
    /// Every goal with its events. What goals share is calculated once.
    pub fn goals(&self) -> &[GoalPoints] {
        self.goals.get_or_init(|| {
            let mut events = HashMap::default();
            self.graph.loaded.goals().filter_map(|(index, _, goal)| self.goal(index, goal, &mut events)).collect()
        })
    }

    /// A goal; `known` has the events that were asked for.
    fn goal(
        &self,
        index: RecordId,
        goal: &Goal,
        known: &mut HashMap<RecordId, Option<Arc<EventPoints>>>,
    ) -> Option<GoalPoints> {
        let node = self.record_node(index)?;
        let events: Vec<Arc<EventPoints>> = self.network.nodes[node]
            .inputs
            .iter()
            .filter_map(|event| match self.keys[*event] {
                Key::Record(event) => known.entry(event).or_insert_with(|| self.event(event).map(Arc::new)).clone(),
                _ => None,
            })
            .collect();
        // The sum of an empty list is a negative zero.
        let plan = events.iter().filter_map(|event| event.plan).sum::<f64>() + 0.0;
        let without_value = self.events_without_value(&self.state, node);
        let spread = self.spread(node);
        let sum = spread.as_ref().map(|spread| spread.mean);
        let (predicted, at_least) = if without_value.is_empty() { (sum, None) } else { (None, sum) };
        let uncertainty = spread.as_ref().map_or(0.0, |spread| spread.uncertainty);
        let needed = self.needed(index, node, goal);
        Some(GoalPoints { index, node, plan, predicted, at_least, without_value, uncertainty, spread, needed, events })
    }

    /// The events of a goal that have no value in a state: a sum without them is not the points of the goal.
    pub fn events_without_value(&self, state: &State, goal: NodeId) -> Vec<RecordId> {
        let missing = self.network.nodes[goal].inputs.iter().filter(|event| state.values[**event].is_nan());
        missing
            .filter_map(|event| match self.keys[*event] {
                Key::Record(event) => Some(event),
                Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
            })
            .collect()
    }

    /// The value of a node in SI; `None` also for a goal of which an event has no value.
    pub fn whole_value(&self, node: NodeId) -> Option<f64> {
        let is_goal = match self.keys[node] {
            Key::Record(record) => self.graph.loaded.goal(record).is_some(),
            Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => false,
        };
        self.value(node).filter(|_| !is_goal || self.events_without_value(&self.state, node).is_empty())
    }

    /// An event with its plan, its prediction, and the value that would score the plan.
    pub fn event(&self, index: RecordId) -> Option<EventPoints> {
        let event = self.graph.loaded.event(index)?;
        let node = self.record_node(index)?;
        let is_points = |plan: &&schema::Quantity| plan.unit().dimension() == Dimension::points();
        let plan = event.plan.as_ref().filter(is_points).map(schema::Quantity::si);
        let local = |name: &str| self.node(&Key::Local(index, name.into()));
        // A run that does not count has no value to show.
        let first = event.reads.keys().next().filter(|name| !event.reads_none(name.as_str()));
        let reads = first.and_then(|name| Some((name.to_string(), local(name.as_str())?)));
        let needed_value =
            plan.zip(reads.as_ref()).and_then(|(plan, (_, read))| self.network.invert(&self.state, *read, node, plan));
        let at_limit: Vec<(NodeId, f64)> = event
            .reads
            .keys()
            .map(schema::Id::as_str)
            .chain([CHANCE])
            .filter_map(|name| Some((local(name)?, self.limit_read(local(name)?)?)))
            .collect();
        let scored = !at_limit.is_empty() && !self.network.nodes[node].inputs.is_empty();
        let at_limits =
            scored.then(|| self.network.value_if(&self.state, &at_limit, node)).filter(|points| !points.is_nan());
        let chance = local(CHANCE).filter(|_| !matches!(self.origin(index), Origin::Result(_)));
        let chance = chance.and_then(|chance| {
            Some(Chance { node: self.network.named_by(chance), chance: self.value(chance)?.clamp(0.0, 1.0) })
        });
        let spread = self.spread(node);
        Some(EventPoints {
            index,
            node,
            plan,
            predicted: spread.as_ref().map(|spread| spread.mean),
            uncertainty: spread.as_ref().map_or(0.0, |spread| spread.uncertainty),
            spread,
            chance,
            reads,
            needed_value,
            at_limits,
        })
    }

    /// The limit of the target that a local name refers to.
    fn limit_read(&self, local: NodeId) -> Option<f64> {
        let [read] = self.network.nodes[local].inputs[..] else { return None };
        let Key::Record(index) = self.keys[read] else { return None };
        match self.limit(self.graph.loaded.target(index)?) {
            Limit { at_most: Some(most), at_least: None } => Some(most),
            Limit { at_least: Some(least), at_most: None } => Some(least),
            _ => None,
        }
    }
}

impl Network {
    /// The value of `input` for which `result` has the value `required`, as close to the current value as possible; found by
    /// bisection.
    ///
    /// `None` if the result does not depend on the input, or never has that value between a fifth of the current value and
    /// five times it.
    pub fn invert(&self, state: &State, input: NodeId, result: NodeId, required: f64) -> Option<f64> {
        let now = state.values[input];
        if now.is_nan() || now == 0.0 {
            return None;
        }
        let mut response = self.response(state, input, result)?;
        // The most points are reached to within rounding.
        let mut difference = |value: f64| {
            let difference = response.result_for(value) - required;
            if difference.abs() <= 1e-9 * required.abs() { 0.0 } else { difference }
        };
        // Steps of 2 % away from the current value, so that the nearest crossing is found first.
        let mut ends = [(now, difference(now)); 2];
        if ends[0].1 == 0.0 {
            return Some(now);
        }
        for _ in 0..82 {
            for (end, factor) in ends.iter_mut().zip([1.0 / 1.02, 1.02]) {
                let (from, before) = *end;
                let next = from * factor;
                let after = difference(next);
                *end = (next, after);
                if before.is_nan() || after.is_nan() || before.signum() == after.signum() {
                    continue;
                }
                let (mut a, mut b) = (from, next);
                for _ in 0..80 {
                    let middle = 0.5 * (a + b);
                    if difference(middle).signum() == before.signum() { a = middle } else { b = middle }
                }
                return Some(0.5 * (a + b));
            }
        }
        None
    }
}
