//! Points: planned, predicted, and needed for the goal; the value that scores exactly the plan.

use models::standings::{PastContest, points_for_place};
use schema::records::Goal;

use super::network::{Network, Rule, State};
use super::status::Limit;
use super::{CHANCE, Key, Spread, Values, tables};
use crate::ids::{NodeId, RecordId};

/// The probability of the interval of the points that a place needs.
pub const LEVEL: f64 = 0.9;

/// The points that the goal needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Needed {
    /// The points to plan for.
    pub points: f64,
    /// The lower end of the interval that contains the next year with probability [`LEVEL`]; the points for a goal in points.
    pub low: f64,
    /// The upper end of the interval.
    pub high: f64,
    /// The years of the past standings.
    pub years: Vec<i32>,
}

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
    /// The sum of the predictions.
    pub predicted: Option<f64>,
    /// Its expanded uncertainty (k = 2).
    pub uncertainty: f64,
    /// The mean and the interval of the sum: inputs and chances that events share count once.
    pub spread: Option<Spread>,
    /// The points that it needs, or why they cannot be calculated.
    pub needed: Result<Needed, String>,
    /// Its events, in the order of the records.
    pub events: Vec<EventPoints>,
}

impl EventPoints {
    /// The interval that contains 95 % of what it may score.
    pub fn interval(&self) -> Option<(f64, f64)> {
        self.spread.as_ref().map(|spread| (spread.low, spread.high))
    }
}

impl GoalPoints {
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
    /// Every goal with its events.
    pub fn goals(&self) -> Vec<GoalPoints> {
        self.graph.loaded.goals().filter_map(|(index, _, goal)| self.goal(index, goal)).collect()
    }

    fn goal(&self, index: RecordId, goal: &Goal) -> Option<GoalPoints> {
        let node = self.record_node(index)?;
        let events: Vec<EventPoints> = self.network.nodes[node]
            .inputs
            .iter()
            .filter_map(|event| match self.keys[*event] {
                Key::Record(event) => self.event(event),
                _ => None,
            })
            .collect();
        // The sum of an empty list is a negative zero.
        let plan = events.iter().filter_map(|event| event.plan).sum::<f64>() + 0.0;
        let spread = self.spread(node);
        let predicted = spread.as_ref().map(|spread| spread.mean);
        let uncertainty = spread.as_ref().map_or(0.0, |spread| spread.uncertainty);
        Some(GoalPoints { index, node, plan, predicted, uncertainty, spread, needed: self.needed(goal), events })
    }

    fn needed(&self, goal: &Goal) -> Result<Needed, String> {
        if let Some(points) = &goal.points {
            let points = points.si();
            return Ok(Needed { points, low: points, high: points, years: Vec::new() });
        }
        let place = goal.place.ok_or("the goal has neither a place nor points")?;
        let table = goal.past_standings.as_ref().ok_or("the goal has no table under `past-standings`")?;
        let file = table.file.as_deref().ok_or("`past-standings` has no `file`")?;
        let bytes =
            self.graph.loaded.tables.get(file).ok_or_else(|| format!("cannot read the past standings in {file}"))?;
        let column = |name: &Option<String>, default: &str| name.clone().unwrap_or_else(|| default.to_owned());
        let (year, place_column, total) =
            (column(&table.year, "year"), column(&table.place, "place"), column(&table.total, "total"));
        let rows =
            tables::columns(bytes, [&year, &place_column, &total]).map_err(|error| format!("{file}: {error}"))?;
        let mut contests: Vec<PastContest> = Vec::new();
        for [year, place, total] in rows {
            let (year, place) = (year as i32, place as u32);
            match contests.iter_mut().find(|contest| contest.year == year) {
                Some(contest) => contest.totals.push((place, total)),
                None => contests.push(PastContest { year, totals: vec![(place, total)] }),
            }
        }
        let forecast = points_for_place(&contests, place, LEVEL).map_err(|error| error.to_string())?;
        let years = forecast.years.iter().map(|(year, _)| *year).collect();
        Ok(Needed { points: forecast.points, low: forecast.low, high: forecast.high, years })
    }

    /// An event with its plan, its prediction, and the value that would score the plan.
    pub fn event(&self, index: RecordId) -> Option<EventPoints> {
        let event = self.graph.loaded.event(index)?;
        let node = self.record_node(index)?;
        let plan = event.plan.as_ref().map(schema::Quantity::si);
        let local = |name: &str| self.node(&Key::Local(index, name.into()));
        let reads = event.reads.keys().next().and_then(|name| Some((name.to_string(), local(name.as_str())?)));
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
            scored.then(|| self.network.what_if(&self.state, &at_limit).values[node]).filter(|points| !points.is_nan());
        let chance = local(CHANCE).filter(|_| matches!(self.network.nodes[node].rule, Rule::Chance));
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
        let mut difference = |value: f64| response.result_for(value) - required;
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
