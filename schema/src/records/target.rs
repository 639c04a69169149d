//! `targets`: values that the car, a system or a part must reach.

use super::{Expression, ShapeProblem, Verify, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::Id;

record! {
    /// A value that the car, a system or a part must reach. Its value is the first of these that exists:
    /// the latest valid result, what an analysis finds, `formula`, `total`, `estimate`.
    pub struct Target {
        /// `car`, a system or a part.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The largest value that meets the target.
        pub at_most: Option<Quantity>,
        /// The smallest value that meets the target.
        pub at_least: Option<Quantity>,
        /// The smallest and the largest value that meet the target.
        #[schemars(with = "Option<[Quantity; 2]>")]
        pub between: Option<Vec<Quantity>>,
        /// The amount that adds up to the value, as in `mass`: the roll-up of the parts, with growth.
        pub total: Option<Id>,
        /// What is held back from the limit and not given to any share, in the limit's unit.
        pub reserve: Option<Quantity>,
        /// The target whose budget this one takes a share of.
        pub share_of: Option<Id>,
        /// A value estimated by hand.
        pub estimate: Option<Quantity>,
        /// A formula over other values.
        pub formula: Option<Expression>,
        /// Local names of the formula: a quantity, a name or a formula each.
        pub given: Entries<Id, Expression>,
        /// Does people's safety depend on it?
        pub safety_critical: bool,
        /// How it will be verified.
        pub verify: Option<Verify>,
    }
}

impl Target {
    /// The quantities of the limit, each with its key.
    pub fn limit(&self) -> impl Iterator<Item = (&'static str, &Quantity)> {
        let between = self.between.iter().flatten().map(|q| ("between", q));
        let most = self.at_most.iter().map(|q| ("at-most", q));
        self.at_least.iter().map(|q| ("at-least", q)).chain(most).chain(between)
    }

    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.of.is_none() {
            problems.push(ShapeProblem::missing("of", "write `of: car`, or the system or part it is about"));
        }
        let given: Vec<&'static str> = [
            ("at-least", self.at_least.is_some()),
            ("at-most", self.at_most.is_some()),
            ("between", self.between.is_some()),
        ]
        .into_iter()
        .filter_map(|(key, present)| present.then_some(key))
        .collect();
        match given[..] {
            [] => {
                let help = "write `at-most`, `at-least` or `between: [a, b]`";
                let mut problem = ShapeProblem::missing("at-most", help);
                problem.message = "the target has no limit".to_owned();
                problems.push(problem);
            }
            [_] => {}
            [_, second, ..] => {
                let help = "keep one of `at-most`, `at-least` and `between: [a, b]`";
                problems.push(ShapeProblem::wrong(second, "the target has more than one limit", help));
            }
        }
        if let Some(both) = &self.between {
            let wrong = match &both[..] {
                [low, high] if low.unit().dimension() != high.unit().dimension() => {
                    "the two limits differ in dimension"
                }
                [low, high] if low.si() >= high.si() => "the first limit is not below the second",
                [_, _] => "",
                _ => "`between` does not hold two quantities",
            };
            if !wrong.is_empty() {
                problems.push(ShapeProblem::wrong("between", wrong, "write `between: [smallest, largest]`"));
            }
        }
    }
}
