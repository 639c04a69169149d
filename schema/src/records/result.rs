//! `results`: what was measured, tested or scored.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Best, Figure, Method, ShapeProblem, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::{Day, Id};

record! {
    /// What was measured, tested or scored, with its evidence files.
    pub struct TestResult {
        /// The event, target, requirement or part that was verified; a system, for the plan that its parts inherit; a goal, for
        /// the place reached.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The value measured or scored, with its uncertainty; only for an event or a target. Or where it is read: `{from:
        /// test/runs.csv, column: time, unit: s, take: lowest}`.
        pub value: Option<Figure>,
        /// `pass` or `fail`, if there is no number; required for a requirement, a part or a system, which have no limit.
        pub outcome: Option<Outcome>,
        /// What was driven, only for an event: the values that it reads, by their names, for example `{time: 4.31 s}`. They are
        /// results of the targets that the event reads, too.
        pub reads: Entries<Id, Quantity>,
        /// The best of the others in the event: the value of `best` in its score, for example `3.90 s`; or a map, if the score
        /// has several such names.
        pub best: Option<Best>,
        /// The place reached, only for a goal; the first place is 1.
        pub place: Option<u32>,
        /// The date of the measurement, test or event.
        #[schemars(required)]
        pub date: Option<Day>,
        /// The method that was used, if `verify` lists several: each is closed by a result of its own. Without this key a
        /// result is of the first one.
        pub by: Option<Method>,
        /// Results of the same record that this one replaces: they are not used any more.
        pub supersedes: Vec<Id>,
        /// The evidence files, relative to the project root.
        pub evidence: Vec<String>,
    }
}

/// The outcome of a verification without a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Outcome {
    /// It meets the target or requirement.
    Pass,
    /// It does not.
    Fail,
}

impl TestResult {
    /// The number, typed or read; `None` if there is none, or if it could not be read.
    pub fn quantity(&self) -> Option<&Quantity> {
        self.value.as_ref()?.quantity()
    }

    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.of.is_none() {
            problems.push(ShapeProblem::missing(
                "of",
                "add `of: ID`, the event, target, requirement, part or system that was verified",
            ));
        }
        if self.date.is_none() {
            problems.push(ShapeProblem::missing("date", "add `date: 2027-05-21`, the date of the result"));
        }
        if self.place == Some(0) {
            problems.push(ShapeProblem::wrong("place", "`place` is 0", "the first place is 1"));
        }
        match (&self.value, self.outcome) {
            (None, None) if self.place.is_some() || !self.reads.is_empty() => {}
            (None, None) => {
                problems.push(ShapeProblem::missing(
                    "value",
                    "add `outcome: pass` or `fail`, or for an event or a target the number: `value: 4.31 s`",
                ));
            }
            (Some(_), Some(_)) => {
                let help = "keep `value` for a number of an event or a target, otherwise `outcome`";
                problems.push(ShapeProblem::wrong("outcome", "both `value` and `outcome` are set", help));
            }
            _ => {}
        }
    }
}
