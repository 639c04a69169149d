//! The points planned, predicted and scored.

use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Needed, Origin};

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
    /// The points scored, with the result that has them.
    pub scored: Option<(f64, RecordId)>,
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
    /// Its events, in the order of the records.
    pub events: Vec<EventScore>,
}

impl GoalScore {
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

    /// Whether the points needed for it were scored; `None` before the last event.
    pub fn reached(&self) -> Option<bool> {
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
            let events = goal.events.iter().zip(&before.events).map(|(event, before)| EventScore {
                index: event.index,
                plan: event.plan,
                predicted: before.predicted,
                uncertainty: before.uncertainty,
                scored: match values.origin(event.index) {
                    Origin::Result(result) => event.predicted.map(|points| (points, result)),
                    _ => None,
                },
            });
            GoalScore {
                index: goal.index,
                needed: goal.needed.clone(),
                plan: goal.plan,
                predicted: before.predicted,
                uncertainty: before.uncertainty,
                events: events.collect(),
            }
        })
        .collect()
}
