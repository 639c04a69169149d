//! The points planned, predicted and scored.

use super::split::{self, Split};
use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Needed, Origin, Spread};

/// The points of an event.
#[derive(Clone, Debug)]
pub struct EventScore {
    /// The event's record.
    pub index: RecordId,
    /// The points planned.
    pub plan: Option<f64>,
    /// The points predicted before the contest, with the results of tests.
    pub predicted: Option<f64>,
    /// The expanded uncertainty (k = 2) of the prediction.
    pub uncertainty: f64,
    /// The mean and the interval of the prediction.
    pub spread: Option<Spread>,
    /// The points scored, with the result that has them.
    pub scored: Option<(f64, RecordId)>,
    /// Why the score differs from the prediction; `None` without one of them.
    pub split: Option<Split>,
}

impl EventScore {
    /// The points scored less those predicted; `None` without one of them.
    pub fn difference(&self) -> Option<f64> {
        Some(self.scored?.0 - self.predicted?)
    }
}

/// The points of a goal.
#[derive(Clone, Debug)]
pub struct GoalScore {
    /// The goal's record.
    pub index: RecordId,
    /// The points needed for it.
    pub needed: Result<Needed, String>,
    /// The total of the plans.
    pub plan: f64,
    /// The points predicted before the contest.
    pub predicted: Option<f64>,
    /// The expanded uncertainty (k = 2) of the prediction.
    pub uncertainty: f64,
    /// The mean and the interval of the prediction.
    pub spread: Option<Spread>,
    /// The place to reach, if the goal is one.
    pub place: Option<u32>,
    /// The place reached, with the result that has it.
    pub place_reached: Option<(u32, RecordId)>,
    /// Its events, in the order of the records.
    pub events: Vec<EventScore>,
}

impl GoalScore {
    /// The points scored less those predicted; `None` before the last event.
    pub fn difference(&self) -> Option<f64> {
        Some(self.scored()? - self.predicted?)
    }

    /// Why the points of all events differ from the prediction; `None` before the last event.
    pub fn split(&self) -> Option<Split> {
        let difference = self.difference()?;
        let all: Option<Vec<&Split>> = self.events.iter().map(|event| event.split.as_ref()).collect();
        Some(Split::sum(all?.into_iter(), difference))
    }

    /// The points scored; `None` before the last event.
    pub fn scored(&self) -> Option<f64> {
        self.events.iter().map(|event| event.scored.map(|(points, _)| points)).sum()
    }

    /// The points scored so far, and the number of their events.
    pub fn so_far(&self) -> (f64, usize) {
        let scored = || self.events.iter().filter_map(|event| event.scored);
        // The sum of an empty list is a negative zero.
        (scored().map(|(points, _)| points).sum::<f64>() + 0.0, scored().count())
    }

    /// Whether the place was reached, if it is known; otherwise whether the points needed were scored; `None` before the
    /// last event.
    pub fn reached(&self) -> Option<bool> {
        if let (Some(place), Some((reached, _))) = (self.place, self.place_reached) {
            return Some(reached <= place);
        }
        if self.events.is_empty() {
            return None;
        }
        Some(self.scored()? >= self.needed.as_ref().ok()?.points)
    }
}

pub(super) fn all(study: &Study) -> Vec<GoalScore> {
    let (values, expected) = (study.values(), study.values_before_contest());
    let before = expected.goals();
    study
        .goals()
        .iter()
        .zip(before)
        .map(|(goal, before)| {
            let events = goal.events.iter().zip(&before.events).map(|(event, before)| {
                let scored = match values.origin(event.index) {
                    Origin::Result(result) => event.predicted.map(|points| (points, result)),
                    _ => None,
                };
                let both = before.predicted.zip(scored);
                EventScore {
                    index: event.index,
                    plan: event.plan,
                    predicted: before.predicted,
                    uncertainty: before.uncertainty,
                    spread: before.spread.clone(),
                    scored,
                    split: both.map(|(predicted, scored)| split::of_event(study, event.index, predicted, scored)),
                }
            });
            GoalScore {
                index: goal.index,
                needed: goal.needed.clone(),
                plan: goal.plan,
                predicted: before.predicted,
                uncertainty: before.uncertainty,
                spread: before.spread.clone(),
                place: study.loaded.goal(goal.index).and_then(|goal| goal.place),
                place_reached: place_reached(study, goal.index),
                events: events.collect(),
            }
        })
        .collect()
}

/// The place in the latest result of a goal that has one.
fn place_reached(study: &Study, goal: RecordId) -> Option<(u32, RecordId)> {
    study
        .graph
        .results(goal)
        .into_iter()
        .rev()
        .find_map(|(id, result)| Some((result.place.filter(|place| *place > 0)?, id)))
}
