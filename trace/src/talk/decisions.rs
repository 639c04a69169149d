//! Which decisions are worth a slide: those whose choice changed the most points.

use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Comparisons, Outcome, Significance};

/// The largest number of decisions that are compared for a talk: each is the whole car with each alternative.
pub const MOST_COMPARED: usize = 40;

/// A decision with a choice, and what the choice moved.
pub struct Choice {
    /// The record of the decision.
    pub index: RecordId,
    /// Its alternatives, each in the whole car.
    pub compared: Comparisons,
    /// The position of the chosen alternative in [`Comparisons::outcomes`].
    pub chosen: usize,
    /// The position of the best other one, if both have points.
    pub other: Option<usize>,
    /// The points of the chosen alternative minus those of the best other one; `None` if one of them has no points.
    pub moved: Option<f64>,
    /// The expanded uncertainty (k = 2) of that difference, if it is known.
    pub uncertainty: Option<f64>,
}

impl Choice {
    /// The chosen alternative.
    pub fn chosen(&self) -> Option<&Outcome> {
        self.compared.outcomes.get(self.chosen)
    }

    /// The best other alternative.
    pub fn other(&self) -> Option<&Outcome> {
        self.compared.outcomes.get(self.other?)
    }

    /// Whether the difference is larger than its uncertainty.
    pub fn is_significant(&self) -> bool {
        self.moved.zip(self.uncertainty).is_some_and(|(moved, uncertainty)| moved.abs() > uncertainty)
    }

    fn new(study: &Study, index: RecordId) -> Option<Self> {
        study.loaded.decision(index)?.chosen.as_ref()?;
        let values = study.values_on_paper();
        let goal = study.goals().first()?;
        let compared = values.compare(index, goal.node)?;
        let Traded { chosen, other, moved, uncertainty } = Traded::of(&compared)?;
        Some(Self { index, compared, chosen, other, moved, uncertainty })
    }
}

/// What a choice traded, against the best other alternative.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Traded {
    /// The position of the chosen alternative in [`Comparisons::outcomes`].
    pub chosen: usize,
    /// The position of the best other one, if both have points.
    pub other: Option<usize>,
    /// The points of the chosen alternative minus those of the best other one; `None` if one of them has no points.
    pub moved: Option<f64>,
    /// The expanded uncertainty (k = 2) of that difference, if it is known.
    pub uncertainty: Option<f64>,
}

impl Traded {
    /// What the choice of a decision traded; `None` without one.
    pub fn of(compared: &Comparisons) -> Option<Self> {
        let chosen = compared.outcomes.iter().position(|outcome| outcome.chosen)?;
        let mean = |outcome: &Outcome| outcome.spread.as_ref().map(|spread| spread.mean);
        let others = compared.outcomes.iter().enumerate().filter(|(at, _)| *at != chosen);
        let best = others.filter_map(|(at, outcome)| Some((at, mean(outcome)?))).max_by(|a, b| {
            // Of equal ones the first.
            a.1.total_cmp(&b.1).then(b.0.cmp(&a.0))
        });
        let own = compared.outcomes.get(chosen).filter(|own| own.problems.is_empty());
        let moved = own.and_then(mean).zip(best).map(|(own, (_, other))| own - other);
        let other = best.map(|(at, _)| at).filter(|_| moved.is_some());
        let uncertainty = other.and_then(|other| uncertainty(compared, chosen, other));
        Some(Self { chosen, other, moved, uncertainty })
    }
}

/// The uncertainty of the difference of two alternatives, as far as a comparison has it: with the car as it is now, if one
/// of them is that, or of the two best.
fn uncertainty(compared: &Comparisons, chosen: usize, other: usize) -> Option<f64> {
    let known = |significance: Option<Significance>| significance.is_some_and(|own| own != Significance::Unknown);
    let is_now = |at: usize| compared.outcomes.get(at)?.difference.filter(|(by, _)| by.abs() < 1e-9);
    let against = |at: usize| {
        let own = compared.outcomes.get(at).filter(|own| known(own.significance))?;
        own.difference.map(|(_, within)| within)
    };
    if is_now(chosen).is_some() {
        return against(other);
    }
    if is_now(other).is_some() {
        return against(chosen);
    }
    let lead = compared.lead.as_ref().filter(|lead| known(Some(lead.significance)))?;
    let is_pair = [lead.best, lead.next] == [chosen, other] || [lead.best, lead.next] == [other, chosen];
    is_pair.then_some(lead.difference.1)
}

/// The decisions with a choice, those that changed the most points first; those without points last, in the order of the
/// records. At most [`MOST_COMPARED`] are compared.
pub fn by_points(study: &Study) -> Vec<Choice> {
    let chosen = study.loaded.decisions().filter(|(.., decision)| decision.chosen.is_some());
    let mut all: Vec<Choice> = chosen.take(MOST_COMPARED).filter_map(|(index, ..)| Choice::new(study, index)).collect();
    let size = |choice: &Choice| choice.moved.map_or(-1.0, f64::abs);
    all.sort_by(|a, b| size(b).total_cmp(&size(a)).then(a.index.cmp(&b.index)));
    all
}
