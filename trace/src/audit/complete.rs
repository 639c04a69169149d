//! The day from which on the car was complete on paper: before it, a total of the car is the total of a part of the car.

use std::sync::{Arc, OnceLock};

use foldhash::{HashMap, HashSet};
use schema::Day;

use super::season::{Season, TimelinePoint};
use crate::Loaded;
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::{Key, Values};

/// The share of an amount of today's car that parts must have recorded so that its total describes a car.
pub const COMPLETE: f64 = 0.95;

/// Since when each amount, and what the points of each goal depend on, are complete.
#[derive(Debug)]
pub(super) struct Complete {
    /// The records that it is calculated for.
    loaded: Arc<Loaded>,
    amounts: HashMap<String, Option<Day>>,
    goals: HashMap<RecordId, Option<Day>>,
}

/// What was calculated for the first study that was asked for.
#[derive(Debug, Default)]
pub(super) struct KnownComplete(OnceLock<Complete>);

impl Complete {
    fn of(season: &Season, study: &Study) -> Self {
        let values = study.values_on_paper();
        let amounts = values.amounts().iter().map(|name| (name.to_string(), season.amount_since(study, values, name)));
        let amounts: HashMap<String, Option<Day>> = amounts.collect();
        // The points of goals with the same events depend on the same amounts.
        let mut by_events: HashMap<&[NodeId], Option<Day>> = HashMap::default();
        let mut goals = HashMap::default();
        for (goal, ..) in study.loaded.goals() {
            let Some(node) = values.record_node(goal) else { continue };
            let events = &values.network.nodes[node].inputs[..];
            goals.insert(goal, *by_events.entry(events).or_insert_with(|| since(values, node, &amounts)));
        }
        Self { loaded: Arc::clone(&study.loaded), amounts, goals }
    }
}

/// The first day on which every amount that a value depends on was complete.
fn since(values: &Values, value: NodeId, amounts: &HashMap<String, Option<Day>>) -> Option<Day> {
    let worth = values.worth_of_car(&values.worth_of_all(value));
    let counting: HashSet<NodeId> = worth.iter().filter(|own| own.per_si != 0.0).map(|own| own.node).collect();
    let names = values.amounts().iter().filter(|name| {
        let node = values.named(&format!("{}.{name}", schema::words::CAR));
        node.is_some_and(|node| counting.contains(&node))
    });
    names.filter_map(|name| *amounts.get(&**name)?).max()
}

impl Season {
    /// Calls a function with what is complete, which is calculated once for a study.
    fn with_complete<T>(&self, study: &Study, ask: impl FnOnce(&Complete) -> T) -> T {
        let known = self.complete.0.get_or_init(|| Complete::of(self, study));
        if Arc::ptr_eq(&known.loaded, &study.loaded) { ask(known) } else { ask(&Complete::of(self, study)) }
    }

    /// The first day on which the recorded parts have [`COMPLETE`] of today's total of an amount, each part with its
    /// value today; `None` without a history or without the amount.
    pub fn amount_complete_since(&self, study: &Study, name: &str) -> Option<Day> {
        self.with_complete(study, |known| *known.amounts.get(name)?)
    }

    fn amount_since(&self, study: &Study, values: &Values, name: &str) -> Option<Day> {
        let amount = values.amount(name)?;
        let mut parts: Vec<(Day, f64)> = Vec::new();
        for (index, record, part) in study.loaded.parts() {
            let Some(value) = values.node(&Key::Part(index, amount)).and_then(|node| values.value(node)) else {
                continue;
            };
            let first = self.amounts.get(&format!("{}.{name}", record.id)).and_then(|past| past.first());
            // A part without a history was there from the beginning.
            let day = first.map(|past| past.day).or_else(|| self.timeline.first().map(|point| point.day))?;
            parts.push((day, value.abs() * f64::from(part.count.unwrap_or(1))));
        }
        parts.sort_by_key(|(day, _)| *day);
        let total: f64 = parts.iter().map(|(_, value)| value).sum();
        let mut sum = 0.0;
        parts.into_iter().find_map(|(day, value)| {
            sum += value;
            (sum >= COMPLETE * total).then_some(day)
        })
    }

    /// The first day on which every amount that the points of a goal depend on was complete; `None` without a history or
    /// if the points depend on none.
    pub fn complete_since(&self, study: &Study, goal: &str) -> Option<Day> {
        let goal = study.loaded.find(goal)?;
        self.with_complete(study, |known| *known.goals.get(&goal)?)
    }

    /// The day of the first evaluated commit at which the car was complete on paper for every goal; `None` if that is not
    /// reached yet, or not known: an event has no value, or the points depend on no amount of the car.
    pub fn complete_from(&self, study: &Study) -> Option<Day> {
        let mut since: Option<Day> = None;
        for goal in study.goals() {
            goal.predicted?;
            since = since.max(Some(self.complete_since(study, study.loaded.record(goal.index).id.as_str())?));
        }
        let since = since?;
        self.timeline.iter().map(|point| point.day).find(|day| *day >= since)
    }

    /// The points of the timeline from the day on at which the car was complete on paper for every goal; all of them if the
    /// points depend on no amount of the car.
    pub fn complete(&self, study: &Study) -> &[TimelinePoint] {
        let since = study.loaded.goals().filter_map(|(_, goal, _)| self.complete_since(study, goal.id.as_str())).max();
        let is_complete = |point: &TimelinePoint| since.is_none_or(|since| point.day >= since);
        let from = self.timeline.iter().position(is_complete);
        from.and_then(|from| self.timeline.get(from..)).unwrap_or_default()
    }
}
