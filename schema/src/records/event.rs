//! `events`: the scored parts of the contest.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Expression, ShapeProblem, record};
use crate::entries::Entries;
use crate::quantity::Dimension;
use crate::quantity::Quantity;
use crate::words::Id;

record! {
    /// A scored part of the contest: the planned points, the values of the car that are scored, and the score formula.
    pub struct Event {
        /// The planned points, in `pts`.
        pub plan: Option<Quantity>,
        /// The most points that the rule book gives, in `pts`; a score sheet has its own.
        pub most: Option<Quantity>,
        /// The values that are scored, by the names in the formula. For the first one the tool calculates the value needed for the plan.
        /// `none` is a run that does not count: no start, no finish, disqualified.
        pub reads: Entries<Id, Expression>,
        /// The formula of the rule book, or a score sheet that is included in the tool.
        pub score: Option<Score>,
        /// The chance that the event scores: a share such as `90 %`, or the name of a value. Otherwise it scores nothing.
        /// Events whose chances name the same value are scored or not together.
        pub chance: Option<Expression>,
        /// For events scored by judges: the expected points, in `pts`, with their uncertainty.
        pub expect: Option<Quantity>,
    }
}

/// How points are calculated from the values that an event reads.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Score {
    /// The formula, in points.
    pub formula: Option<Expression>,
    /// A score sheet and its event, for example `sae-2024.acceleration`, instead of a formula.
    pub r#use: Option<String>,
    /// Local names of the formula or inputs of the sheet: each is a quantity, the name of a value, or a formula. A name of
    /// another event is written as `endurance.best`. A table of the sheet is a list: `lap-points: "2, 4, 6"`.
    pub given: Entries<Id, Expression>,
    /// The points without a valid run or a finish, in `pts`: a quantity or a formula. Otherwise those of the sheet, or 0.
    pub no_finish: Option<Expression>,
}

/// The word under `reads` for a run that does not count.
pub const NONE: &str = "none";

impl Event {
    /// Whether an input is written as [`NONE`].
    pub fn reads_none(&self, name: &str) -> bool {
        self.reads.get(name).is_some_and(|text| text.text() == NONE)
    }

    /// Whether `most` limits expected points that have an uncertainty: the limit can be inside of it.
    pub fn is_limited_expectation(&self) -> bool {
        let in_points = |points: &Quantity| points.unit().dimension() == Dimension::points();
        self.most.as_ref().is_some_and(in_points)
            && self.expect.as_ref().is_some_and(|expect| in_points(expect) && expect.uncertainty().is_some())
    }

    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if let Some(chance) = self.chance.as_ref().and_then(|chance| Quantity::parse(chance.text()).ok())
            && chance.unit().dimension().is_one()
            && !(0.0..=1.0).contains(&chance.si())
        {
            let help = "use a share from 0 to 100 %, such as `90 %`";
            problems.push(ShapeProblem::wrong("chance", format!("`{}` is not a chance", chance.text()), help));
        }
        if let Some(score) = &self.score {
            if self.expect.is_some() {
                let help = "keep `score` if a formula gives the points, or `expect` if judges do";
                problems.push(ShapeProblem::wrong("expect", "both `score` and `expect` are set", help));
            }
            if score.formula.is_some() == score.r#use.is_some() {
                let (message, help) = match score.formula {
                    Some(_) => ("both `formula` and `use` are set", "keep one of them"),
                    None => ("`score` has neither `formula` nor `use`", "add `formula`, or `use: SHEET.EVENT`"),
                };
                problems.push(ShapeProblem::wrong("score", message, help));
            }
        }
    }
}
