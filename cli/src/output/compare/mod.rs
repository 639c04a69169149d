//! The output of `compare`: the whole car with each alternative, side by side, now and when the choice was made.

mod json;
mod terminal;

use schema::Day;
use trace::history::Commit;
use trace::values::{Comparisons, GoalPoints, Key, Outcome, Values};
use trace::{NodeId, RecordId, Study};

pub(crate) use json::json;
pub(crate) use terminal::terminal;

use super::broken::Broken;

/// The alternatives of a decision in one state of the project.
pub(crate) struct View<'s> {
    /// The state.
    pub(crate) study: &'s Study,
    /// Its values without results.
    pub(crate) values: &'s Values,
    /// The decision.
    pub(crate) index: RecordId,
    /// The goal whose points are compared.
    pub(crate) goal: GoalPoints,
    /// Its alternatives.
    pub(crate) compared: Comparisons,
}

impl<'s> View<'s> {
    /// Evaluates the alternatives of a decision for a goal; `None` if the record is not a decision or there is no such goal.
    pub(crate) fn new(study: &'s Study, index: RecordId, goal: Option<&str>) -> Option<Self> {
        let values = study.values_on_paper();
        let id = |goal: &GoalPoints| study.loaded.record(goal.index).id.to_string();
        let goals = values.goals();
        let at = goals.iter().position(|own| goal.is_some_and(|goal| id(own) == goal)).unwrap_or(0);
        let goal = goals.get(at)?.clone();
        let compared = values.compare(index, goal.node)?;
        Some(Self { study, values, index, goal, compared })
    }

    /// What is broken under the comparison: under the points, the amounts of the car and the criteria, and in the decision.
    pub(crate) fn broken(&self) -> Broken<'s> {
        let decision = self.values.graph.loaded.decision(self.index);
        let criteria = decision.into_iter().flat_map(|decision| &decision.criteria);
        let criteria = criteria.filter_map(|id| self.values.named(id.as_str()));
        let asked: Vec<NodeId> = std::iter::once(self.goal.node).chain(amounts(self.values)).chain(criteria).collect();
        Broken::under(self.values, &asked, &[self.index])
    }

    /// Whether every alternative has points, and nothing is broken under them.
    pub(crate) fn has_answer(&self) -> bool {
        let has_points = |outcome: &Outcome| outcome.sets_nothing || outcome.points.is_some();
        self.goal.predicted.is_some() && self.compared.outcomes.iter().all(has_points) && !self.broken().has_errors()
    }
}

/// The choice of a decision, as the history has it.
pub(crate) struct ChosenAt<'h> {
    /// The commit that made it.
    pub(crate) commit: &'h Commit,
    /// The analyses that inform the decision and were added after it: the record, the day and the commit.
    pub(crate) later: Vec<(String, Day, &'h Commit)>,
}

/// What `compare` shows.
pub(crate) struct Comparison<'s> {
    /// The alternatives now.
    pub(crate) now: &'s View<'s>,
    /// Which states were asked for.
    pub(crate) when: When,
    /// When the choice was made, if that is known.
    pub(crate) chosen_at: Option<ChosenAt<'s>>,
    /// The alternatives at that commit, or why they are missing; `None` if they were not asked for or nothing is chosen.
    pub(crate) then: Option<Result<&'s View<'s>, String>>,
}

/// Which states of the project `compare` evaluates.
#[derive(Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum When {
    /// The state that is read
    Now,
    /// The commit in which `chosen` was written
    Chosen,
    /// Both
    Both,
}

impl When {
    /// The word in JSON.
    fn word(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Chosen => "chosen",
            Self::Both => "both",
        }
    }
}

/// The amounts of the whole car, as nodes.
fn amounts(values: &Values) -> Vec<NodeId> {
    (0..values.amounts().len()).filter_map(|amount| values.node(&Key::Group(None, amount as u16))).collect()
}
