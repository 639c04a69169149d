//! The points planned, predicted and scored.

use std::sync::Arc;

use foldhash::HashMap;
use schema::number;

use super::behind::{self, TargetEffect};
use super::split::{self, ScoreCause, Split};
use super::targets::TargetAudit;
use crate::graph::is_place_enough;
use crate::ids::RecordId;
use crate::study::Study;
use crate::values::passes::Passes;
use crate::values::{EventPoints, Needed, Origin, Spread};

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
    /// The targets behind the difference to the plan: of a short event those that miss their limits, otherwise those that are
    /// better than their limits.
    pub behind: Vec<TargetEffect>,
}

/// Why the points of an event differ from its plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanCause {
    /// The prediction before the contest was another one than the plan.
    Prediction,
    /// The score differs from the prediction.
    Score(ScoreCause),
}

impl PlanCause {
    /// The words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Self::Prediction => "prediction vs plan",
            Self::Score(cause) => cause.words(),
        }
    }
}

/// Points that are shown as zero are smaller than this.
pub const SHOWN_AS_ZERO: f64 = 0.05;

impl EventScore {
    /// The points scored, or the predicted ones before the contest.
    pub fn latest(&self) -> Option<f64> {
        self.scored.map(|(points, _)| points).or(self.predicted)
    }

    /// The latest points minus the plan; `None` without one of them.
    pub fn vs_plan(&self) -> Option<f64> {
        Some(self.latest()? - self.plan?)
    }

    /// The same as tables show it: the difference of both numbers with one decimal.
    pub fn shown_vs_plan(&self) -> Option<f64> {
        Some(number::shown_change(self.plan?, self.latest()?, 1))
    }

    /// Whether the latest points are short of the plan, by more than what is shown as zero.
    pub fn is_short(&self) -> bool {
        self.vs_plan().is_some_and(|points| points <= -SHOWN_AS_ZERO)
    }

    /// Why the latest points differ from the plan: the causes add up to [`Self::vs_plan`], in the order of the tables. Empty
    /// if the plan, the prediction or, after the contest, the split is missing.
    pub fn plan_causes(&self) -> Vec<(PlanCause, f64)> {
        let (Some(plan), Some(predicted)) = (self.plan, self.predicted) else { return Vec::new() };
        if self.scored.is_some() && self.split.is_none() {
            return Vec::new();
        }
        let of_score = self.split.iter().flat_map(Split::causes);
        let mut all = vec![(PlanCause::Prediction, predicted - plan)];
        all.extend(of_score.map(|(cause, points)| (PlanCause::Score(cause), points)));
        all
    }

    /// The causes as the tables show them with one decimal, so that a reader can add them up: the largest first, without
    /// those that are shown as zero.
    pub fn shown_causes(&self) -> Vec<(PlanCause, f64)> {
        let mut all = self.plan_causes();
        let (Some((_, prediction)), Some(plan), Some(predicted)) = (all.first_mut(), self.plan, self.predicted) else {
            return Vec::new();
        };
        *prediction = number::shown_change(plan, predicted, 1);
        if let Some(difference) = self.shown_difference() {
            let of_score: Vec<f64> = all[1..].iter().map(|(_, points)| *points).collect();
            let shown = number::adding_up(&of_score, difference, 1);
            all[1..].iter_mut().zip(shown).for_each(|((_, points), shown)| *points = shown);
        }
        all.retain(|(_, points)| points.abs() >= SHOWN_AS_ZERO);
        all.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        all
    }

    /// The points scored less those predicted, both as tables show them, with one decimal; `None` without one of them.
    pub fn shown_difference(&self) -> Option<f64> {
        Some(number::shown_change(self.predicted?, self.scored?.0, 1))
    }

    /// Why a prediction differs from its plan: the targets that the event reads, otherwise the one with the largest effect, each
    /// with its points as tables show them; and the rest, so that all add up to [`Self::shown_vs_plan`].
    pub fn shown_effects(&self) -> (Vec<(&TargetEffect, f64)>, f64) {
        // A target under one that is read has its effect through it: both would count the same points twice.
        let is_read = self.behind.iter().any(|own| own.is_read);
        let most = if is_read { self.behind.len() } else { 1 };
        let counted = self.behind.iter().filter(|own| own.is_read == is_read).take(most);
        let effects: Vec<_> = counted.map(|own| (own, number::shown_change(0.0, own.points, 1))).collect();
        let sum: f64 = effects.iter().map(|(_, points)| points).sum();
        let rest = self.shown_vs_plan().map_or(0.0, |all| number::shown_change(sum, all, 1));
        (effects, rest)
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
    /// The place that the predicted points were expected to take, by past contests.
    pub place_predicted: Option<u32>,
    /// The probability, before the contest, that the points are enough for the goal.
    pub chance: Option<f64>,
    /// Its events, in the order of the records. Goals share them.
    pub events: Vec<Arc<EventScore>>,
}

impl GoalScore {
    /// The points scored less those predicted; `None` before the last event.
    pub fn difference(&self) -> Option<f64> {
        Some(self.scored()? - self.predicted?)
    }

    /// The same of both numbers as tables show them, with one decimal.
    pub fn shown_difference(&self) -> Option<f64> {
        Some(number::shown_change(self.predicted?, self.scored()?, 1))
    }

    /// Why the points of all events differ from the prediction; `None` before the last event.
    pub fn split(&self) -> Option<Split> {
        let difference = self.difference()?;
        let all: Option<Vec<&Split>> = self.events.iter().map(|event| event.split.as_ref()).collect();
        Some(Split::sum(all?.into_iter(), difference))
    }

    /// The points scored; `None` before the last event, or without events.
    pub fn scored(&self) -> Option<f64> {
        if self.events.is_empty() {
            return None;
        }
        self.events.iter().map(|event| event.scored.map(|(points, _)| points)).sum()
    }

    /// The points scored so far, and the number of their events.
    pub fn so_far(&self) -> (f64, usize) {
        let scored = || self.events.iter().filter_map(|event| event.scored);
        // The sum of an empty list is a negative zero.
        (scored().map(|(points, _)| points).sum::<f64>() + 0.0, scored().count())
    }

    /// The events that are short of their plan, the shortest first.
    pub fn short_events(&self) -> Vec<&EventScore> {
        let mut all: Vec<&EventScore> =
            self.events.iter().map(|event| &**event).filter(|event| event.is_short()).collect();
        let by = |event: &EventScore| event.vs_plan().unwrap_or(0.0);
        all.sort_by(|a, b| by(a).total_cmp(&by(b)).then(a.index.cmp(&b.index)));
        all
    }

    /// Whether nothing of the contest is known yet: no score and no place.
    pub fn is_before_contest(&self) -> bool {
        self.so_far().1 == 0 && self.place_reached.is_none()
    }

    /// Whether the contest is over while the points that the goal needs are still a forecast from earlier contests.
    pub fn is_forecast_after_contest(&self) -> bool {
        let is_over = self.scored().is_some() || self.place_reached.is_some();
        is_over && self.needed.as_ref().is_ok_and(|needed| !needed.years.is_empty())
    }

    /// Whether the place was reached, if it is known; otherwise whether the points needed were scored; `None` before the
    /// last event.
    pub fn reached(&self) -> Option<bool> {
        let by_place = self.place_reached.and_then(|(place, _)| is_place_enough(place, self.place));
        if by_place.is_some() {
            return by_place;
        }
        Some(self.scored()? >= self.needed.as_ref().ok()?.points)
    }
}

pub(super) fn all(study: &Study, targets: &[TargetAudit]) -> Vec<GoalScore> {
    let expected = study.values_before_contest();
    // Goals can share events.
    let mut known: HashMap<RecordId, Arc<EventScore>> = HashMap::default();
    let mut passes = Passes::new(study.values());
    study
        .goals()
        .iter()
        .zip(expected.goals())
        .map(|(goal, before)| {
            let events = goal.events.iter().zip(&before.events).map(|(event, before)| {
                let new = || Arc::new(self::event(study, targets, event, before, &mut passes));
                Arc::clone(known.entry(event.index).or_insert_with(new))
            });
            GoalScore {
                index: goal.index,
                needed: goal.needed.clone(),
                plan: goal.plan,
                predicted: before.predicted,
                uncertainty: before.uncertainty,
                spread: before.spread.clone(),
                place: study.loaded.goal(goal.index).and_then(|goal| goal.place),
                place_reached: study.graph.place_reached(goal.index),
                place_predicted: before.predicted.and_then(|points| expected.place_for(goal.index, points)),
                chance: before.chance(),
                events: events.collect(),
            }
        })
        .collect()
}

/// An event now and as expected before the contest.
fn event(
    study: &Study,
    targets: &[TargetAudit],
    event: &EventPoints,
    before: &EventPoints,
    passes: &mut Passes,
) -> EventScore {
    let scored = match study.values().origin(event.index) {
        Origin::Result(result) => event.predicted.map(|points| (points, result)),
        _ => None,
    };
    let both = before.predicted.zip(scored);
    let mut score = EventScore {
        index: event.index,
        plan: event.plan,
        predicted: before.predicted,
        uncertainty: before.uncertainty,
        spread: before.spread.clone(),
        scored,
        split: both.map(|(predicted, scored)| split::of_event(study, event.index, predicted, scored)),
        behind: Vec::new(),
    };
    if score.vs_plan().is_some_and(|points| points.abs() >= SHOWN_AS_ZERO) {
        let result = scored.map(|(_, result)| result);
        score.behind = behind::of_event(study, targets, event.index, result, score.is_short(), passes);
    }
    score
}
