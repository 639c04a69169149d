//! `results`: what was measured, tested or scored.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{ShapeProblem, record};
use crate::quantity::Quantity;
use crate::words::{Day, Id};

record! {
    /// What was measured, tested or scored, with the files that show it.
    pub struct TestResult {
        /// The target, requirement, part or event that it is about.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The value measured or scored, with its uncertainty.
        pub value: Option<Quantity>,
        /// Pass or fail, where there is no number.
        pub outcome: Option<Outcome>,
        /// The day of it.
        #[schemars(required)]
        pub date: Option<Day>,
        /// Files that show it, relative to the data root.
        pub evidence: Vec<String>,
    }
}

/// The outcome of a verification without a number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Outcome {
    /// It is as it shall be.
    Pass,
    /// It is not.
    Fail,
}

impl TestResult {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.of.is_none() {
            problems.push(ShapeProblem::missing("of", "name the target, requirement, part or event it is about"));
        }
        if self.date.is_none() {
            problems.push(ShapeProblem::missing("date", "write the day, as in 2027-05-21"));
        }
        match (&self.value, self.outcome) {
            (None, None) => {
                problems.push(ShapeProblem::missing("value", "write `value: 4.31 s`, or `outcome: pass` or `fail`"));
            }
            (Some(_), Some(_)) => {
                let help = "keep `value` where there is a number, else `outcome`";
                problems.push(ShapeProblem::wrong("outcome", "both `value` and `outcome` are given", help));
            }
            _ => {}
        }
    }
}
