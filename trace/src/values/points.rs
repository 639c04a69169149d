//! Points: planned, predicted, and needed for the goal; the value that earns a plan.

use models::fields::{Field, points_for_place};
use schema::records::Goal;

use super::network::{Network, State};
use super::status::Limit;
use super::{Gradients, Key, Values, tables};
use crate::ids::{NodeId, RecordId};

/// The level of the interval for the points that a place takes.
pub const LEVEL: f64 = 0.9;

/// The points that the goal needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Needed {
    /// The points to plan for.
    pub points: f64,
    /// The interval in which the next year lies with the probability [`LEVEL`]; the points themselves for a goal in points.
    pub low: f64,
    /// Its other end.
    pub high: f64,
    /// The years it rests on.
    pub years: Vec<i32>,
}

/// An event's points.
#[derive(Clone, Debug)]
pub struct EventPoints {
    /// The event's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// The points planned.
    pub plan: Option<f64>,
    /// The points predicted, with their expanded uncertainty (k = 2).
    pub predicted: Option<f64>,
    /// The expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// What is scored: the name that the event reads first, and its node.
    pub reads: Option<(String, NodeId)>,
    /// The value of that which would earn the plan, in SI.
    pub needed_value: Option<f64>,
    /// The points when every target that the event reads is just met.
    pub at_limits: Option<f64>,
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
    /// The sum of the predictions.
    pub predicted: Option<f64>,
    /// Its expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// The points it needs, or why they cannot be told.
    pub needed: Result<Needed, String>,
    /// Its events, in the order of the records.
    pub events: Vec<EventPoints>,
}

impl Values {
    /// Every goal with its events.
    pub fn goals(&self, gradients: &Gradients) -> Vec<GoalPoints> {
        self.graph.loaded.goals().filter_map(|(index, _, goal)| self.goal(index, goal, gradients)).collect()
    }

    fn goal(&self, index: RecordId, goal: &Goal, gradients: &Gradients) -> Option<GoalPoints> {
        let node = self.record_node(index)?;
        let events: Vec<EventPoints> = self.network.nodes[node]
            .inputs
            .iter()
            .filter_map(|event| match self.keys[*event] {
                Key::Record(event) => self.event(event, gradients),
                _ => None,
            })
            .collect();
        // The sum of nothing is a negative zero.
        let plan = events.iter().filter_map(|event| event.plan).sum::<f64>() + 0.0;
        let predicted = self.value(node);
        let uncertainty = gradients.uncertainty(&self.network, node);
        Some(GoalPoints { index, node, plan, predicted, uncertainty, needed: self.needed(goal), events })
    }

    fn needed(&self, goal: &Goal) -> Result<Needed, String> {
        if let Some(points) = &goal.points {
            let points = points.si();
            return Ok(Needed { points, low: points, high: points, years: Vec::new() });
        }
        let place = goal.place.ok_or("the goal has neither a place nor points")?;
        let table = goal.past_standings.as_ref().ok_or("the goal names no table under `past-standings`")?;
        let file = table.file.as_deref().ok_or("`past-standings` names no file")?;
        let bytes =
            self.graph.loaded.tables.get(file).ok_or_else(|| format!("the past standings in {file} cannot be read"))?;
        let column = |name: &Option<String>, usual: &'static str| name.clone().unwrap_or_else(|| usual.to_owned());
        let (year, rank, total) =
            (column(&table.year, "year"), column(&table.place, "place"), column(&table.total, "total"));
        let rows = tables::columns(bytes, [&year, &rank, &total]).map_err(|error| format!("{file}: {error}"))?;
        let mut fields: Vec<Field> = Vec::new();
        for [year, rank, total] in rows {
            let (year, rank) = (year as i32, rank as u32);
            match fields.iter_mut().find(|field| field.year == year) {
                Some(field) => field.totals.push((rank, total)),
                None => fields.push(Field { year, totals: vec![(rank, total)] }),
            }
        }
        let forecast = points_for_place(&fields, place, LEVEL).map_err(|error| error.to_string())?;
        let years = forecast.years.iter().map(|(year, _)| *year).collect();
        Ok(Needed { points: forecast.points, low: forecast.low, high: forecast.high, years })
    }

    /// An event with its plan, its prediction, and the value that earns the plan.
    pub fn event(&self, index: RecordId, gradients: &Gradients) -> Option<EventPoints> {
        let event = self.graph.loaded.event(index)?;
        let node = self.record_node(index)?;
        let plan = event.plan.as_ref().map(schema::Quantity::si);
        let local = |name: &str| self.node(&Key::Local(index, name.into()));
        let reads = event.reads.keys().next().and_then(|name| Some((name.to_string(), local(name.as_str())?)));
        let needed_value =
            plan.zip(reads.as_ref()).and_then(|(plan, (_, read))| self.network.invert(&self.state, *read, node, plan));
        let met: Vec<(NodeId, f64)> = event
            .reads
            .keys()
            .filter_map(|name| Some((local(name.as_str())?, self.limit_read(local(name.as_str())?)?)))
            .collect();
        let scored = !met.is_empty() && !self.network.nodes[node].inputs.is_empty();
        let at_limits =
            scored.then(|| self.network.what_if(&self.state, &met).values[node]).filter(|points| !points.is_nan());
        let uncertainty = gradients.uncertainty(&self.network, node);
        Some(EventPoints {
            index,
            node,
            plan,
            predicted: self.value(node),
            uncertainty,
            reads,
            needed_value,
            at_limits,
        })
    }

    /// The limit of the target that a local name is another name of.
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
    /// The value of one node that makes another one `wanted`, nearest to what it is now; found by halving.
    ///
    /// None where the second does not depend on the first, or cannot be made so between a fifth and five
    /// times the value.
    pub fn invert(&self, state: &State, of: NodeId, result: NodeId, wanted: f64) -> Option<f64> {
        let now = state.values[of];
        if now.is_nan() || now == 0.0 {
            return None;
        }
        let mut response = self.response(state, of, result)?;
        let mut off = |value: f64| response.at(value) - wanted;
        // Steps of 2 % outward from what it is now, so that the nearest crossing is found first.
        let mut ends = [(now, off(now)); 2];
        if ends[0].1 == 0.0 {
            return Some(now);
        }
        for _ in 0..82 {
            for (end, factor) in ends.iter_mut().zip([1.0 / 1.02, 1.02]) {
                let (from, before) = *end;
                let next = from * factor;
                let there = off(next);
                *end = (next, there);
                if before.is_nan() || there.is_nan() || before.signum() == there.signum() {
                    continue;
                }
                let (mut a, mut b) = (from, next);
                for _ in 0..80 {
                    let middle = 0.5 * (a + b);
                    if off(middle).signum() == before.signum() { a = middle } else { b = middle }
                }
                return Some(0.5 * (a + b));
            }
        }
        None
    }
}
