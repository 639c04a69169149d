//! Why the score of an event differs from its prediction: our own values, the best of the others, whether the car finished,
//! penalties.
//!
//! The prediction is changed to the score step by step, with what the result has of the contest: each group of inputs is
//! switched from its expected to its actual value, in two opposite orders, and the mean of both is its effect. What is left
//! between the points of the formula and the score is not explained by the records. The causes add up to the difference.

use schema::Id;
use schema::quantity::Dimension;
use schema::records::{Event, TestResult};

use crate::graph::target_read;
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::{CHANCE, Key, Values};

/// A cause of the difference between score and prediction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ScoreCause {
    /// The values of our car that the event reads, as driven.
    OwnValues,
    /// The best of the others.
    OthersBest,
    /// Whether the car finished: what was a chance came out.
    Finish,
    /// Other inputs of the score that the result has, such as cones.
    Penalties,
    /// The points of judges.
    Judges,
    /// The prediction is the mean over its uncertainty, not the score of the expected values.
    Mean,
    /// What the formula gives for the actual values, and the score does not have, or the reverse: penalties that the result
    /// does not have, or values that it does not have.
    Unexplained,
}

impl ScoreCause {
    /// All causes, in the order of the tables.
    pub const ALL: [Self; 7] =
        [Self::OwnValues, Self::OthersBest, Self::Finish, Self::Penalties, Self::Judges, Self::Mean, Self::Unexplained];

    /// The words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Self::OwnValues => "own values",
            Self::OthersBest => "others' best",
            Self::Finish => "finish",
            Self::Penalties => "penalties",
            Self::Judges => "judges",
            Self::Mean => "mean",
            Self::Unexplained => "not explained",
        }
    }
}

/// The difference between score and prediction, by cause.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Split([f64; ScoreCause::ALL.len()]);

impl Split {
    /// The points of a cause; above zero if it added points.
    pub fn points(&self, cause: ScoreCause) -> f64 {
        self.0[cause as usize]
    }

    /// Each cause with its points.
    pub fn causes(&self) -> impl Iterator<Item = (ScoreCause, f64)> + '_ {
        ScoreCause::ALL.into_iter().map(|cause| (cause, self.points(cause)))
    }

    fn add(&mut self, cause: ScoreCause, points: f64) {
        self.0[cause as usize] += points;
    }

    /// The causes of several events, whose rest is what is left of the whole difference.
    pub(super) fn sum<'s>(all: impl Iterator<Item = &'s Self>, difference: f64) -> Self {
        let mut sum = Self::default();
        all.flat_map(Self::causes).for_each(|(cause, points)| sum.add(cause, points));
        let without_rest: f64 = sum.0[..ScoreCause::Unexplained as usize].iter().sum();
        sum.0[ScoreCause::Unexplained as usize] = difference - without_rest;
        sum
    }
}

/// The inputs of one cause that are switched: each node with its actual value.
type Switches = (ScoreCause, Vec<(NodeId, f64)>);

/// The split of an event that was predicted and scored.
pub(super) fn of_event(study: &Study, index: RecordId, predicted: f64, (scored, result): (f64, RecordId)) -> Split {
    let mut split = Split::default();
    let difference = scored - predicted;
    let (Some(event), Some(result)) = (study.loaded.event(index), study.loaded.result(result)) else { return split };
    if event.score.is_none() {
        let cause = if event.expect.is_some() { ScoreCause::Judges } else { ScoreCause::Unexplained };
        split.add(cause, difference);
        return split;
    }
    let values = study.values_before_contest();
    let expected = values.record_node(index).and_then(|node| values.value(node));
    if let Some(expected) = expected {
        split.add(ScoreCause::Mean, expected - predicted);
        let actual = in_two_orders(&Score { study, values, index, event, scored }, result, expected, &mut split);
        if scored == 0.0 && actual > 0.0 {
            split.add(ScoreCause::Finish, -actual);
        }
    }
    let explained: f64 = split.0.iter().sum();
    split.add(ScoreCause::Unexplained, difference - explained);
    split
}

/// An event with its values before the contest.
struct Score<'s> {
    study: &'s Study,
    values: &'s Values,
    index: RecordId,
    event: &'s Event,
    scored: f64,
}

/// Adds the effect of each group of inputs, and returns the points that the formula gives for the actual values.
fn in_two_orders(score: &Score<'_>, result: &TestResult, expected: f64, split: &mut Split) -> f64 {
    let switches = score.switches(result);
    let mut actual = expected;
    for backward in [false, true] {
        let mut order: Vec<&Switches> = switches.iter().collect();
        if backward {
            order.reverse();
        }
        let (mut set, mut before): (Vec<(NodeId, f64)>, f64) = (Vec::new(), expected);
        for (cause, inputs) in order {
            set.extend(inputs);
            // Without points for these values, the cause has no effect that is known.
            let Some(after) = score.points(&set) else { continue };
            split.add(*cause, 0.5 * (after - before));
            before = after;
        }
        actual = before;
    }
    actual
}

impl Score<'_> {
    /// The points with some inputs set.
    fn points(&self, set: &[(NodeId, f64)]) -> Option<f64> {
        let own = self.values.record_node(self.index)?;
        let points = self.values.network.value_if(&self.values.state, set, own);
        Some(points).filter(|points| !points.is_nan())
    }

    fn local(&self, name: &str) -> Option<NodeId> {
        self.values.node(&Key::Local(self.index, name.into()))
    }

    /// The groups of inputs with their actual values.
    fn switches(&self, result: &TestResult) -> Vec<Switches> {
        let [mut own, mut finish, mut judges, mut penalties] = [const { Vec::new() }; 4];
        for name in self.event.reads.keys().map(Id::as_str).chain([CHANCE]) {
            let Some(node) = self.local(name) else { continue };
            let given = result.reads.get(name).map(|value| self.values.in_team(value).1);
            match (given.or_else(|| driven_elsewhere(self.study, self.event, name, result)), self.is_chance(node)) {
                (Some(value), true) if value == 0.0 || value == 1.0 => finish.push((node, value)),
                (Some(value), _) => own.push((node, value)),
                (None, true) => finish.push((node, if self.scored > 0.0 { 1.0 } else { 0.0 })),
                (None, false) => {}
            }
        }
        for (name, value) in result.reads.iter().filter(|(name, _)| self.event.reads.get(name.as_str()).is_none()) {
            let Some(node) = self.local(name.as_str()) else { continue };
            // Points that were expected from judges; a penalty is not expected.
            let is_judged = self.values.dimension(node) == Dimension::points()
                && self.values.value(node).is_some_and(|points| points > 0.0);
            let list = if is_judged { &mut judges } else { &mut penalties };
            list.push((node, self.values.in_team(value).1));
        }
        let best = result.best.iter().flat_map(|best| best.0.iter());
        let best = best.filter_map(|(name, value)| Some((self.local(name.as_str())?, self.values.in_team(value).1)));
        let all = [
            (ScoreCause::OwnValues, own),
            (ScoreCause::OthersBest, best.collect()),
            (ScoreCause::Judges, judges),
            (ScoreCause::Penalties, penalties),
            (ScoreCause::Finish, finish),
        ];
        all.into_iter().filter(|(_, inputs)| !inputs.is_empty()).collect()
    }

    /// Whether an input is the chance of the event, or a share between 0 and 1 that multiplies its points.
    fn is_chance(&self, node: NodeId) -> bool {
        if self.local(CHANCE) == Some(node) {
            return true;
        }
        let Some(chance) = self.values.value(node) else { return false };
        if !self.values.dimension(node).is_one() || chance <= 0.0 || chance >= 1.0 {
            return false;
        }
        let [Some(never), Some(now), Some(always)] = [0.0, chance, 1.0].map(|value| self.points(&[(node, value)]))
        else {
            return false;
        };
        never == 0.0 && now > 0.0 && schema::quantity::same_number(now, chance * always)
    }
}

/// The value of a target that an event reads, as driven in another event of the contest, in SI.
pub(super) fn driven_elsewhere(study: &Study, event: &Event, name: &str, result: &TestResult) -> Option<f64> {
    let target = target_read(&study.loaded, event, name)?;
    let driven = study.graph.latest_driven(target)?;
    // Days of one contest; a reading of an earlier contest is not of this one.
    let is_near = result.date?.days_until(driven.date?).abs() <= DAYS_OF_A_CONTEST;
    is_near.then(|| study.values().in_team(driven.value).1)
}

/// The longest time between two events of one contest, in days.
const DAYS_OF_A_CONTEST: i32 = 14;
