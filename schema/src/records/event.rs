//! `events`: the scored parts of the contest.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Expression, ShapeProblem, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::Id;

record! {
    /// A scored part of the contest: what is planned from it, what it reads from the car, how it scores.
    pub struct Event {
        /// The points planned from this event, in `pts`.
        pub plan: Option<Quantity>,
        /// What is scored, by the name that the formula gives it; the first one is inverted.
        pub reads: Entries<Id, Expression>,
        /// The rule book's formula as data, or a score sheet that ships with the tool.
        pub score: Option<Score>,
        /// For judged events: the points expected, in `pts`, with their uncertainty.
        pub expect: Option<Quantity>,
    }
}

/// How an event turns what it reads into points.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Score {
    /// The formula, in points.
    pub formula: Option<Expression>,
    /// A score sheet and its event, as in `sae-2024.acceleration`, in place of a formula.
    pub r#use: Option<String>,
    /// Local names of the formula or inputs of the sheet: a quantity, a name or a formula each.
    pub given: Entries<Id, Expression>,
}

impl Event {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if let Some(score) = &self.score {
            if self.expect.is_some() {
                let help = "scored events have `score`, judged ones `expect`: keep one";
                problems.push(ShapeProblem::wrong("expect", "both `score` and `expect` are given", help));
            }
            if score.formula.is_some() == score.r#use.is_some() {
                let (message, help) = match score.formula {
                    Some(_) => ("both `formula` and `use` are given", "keep one of them"),
                    None => {
                        ("`score` has neither `formula` nor `use`", "write the rule book's formula, or name a sheet")
                    }
                };
                problems.push(ShapeProblem::wrong("score", message, help));
            }
        }
    }
}
