//! `targets`: values that the car, a system or a part must reach.

use super::{Expression, ShapeProblem, Verify, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::Id;

record! {
    /// A value that the car, a system or a part must reach. Its value is the first of these that exists:
    /// the latest valid result, the value from an analysis, `formula`, `total`, `estimate`.
    pub struct Target {
        /// `car`, or the system or part that must reach it.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The largest value that meets the target.
        pub at_most: Option<Quantity>,
        /// The smallest value that meets the target.
        pub at_least: Option<Quantity>,
        /// The smallest and the largest value that meet the target.
        #[schemars(with = "Option<[Quantity; 2]>")]
        pub between: Option<Vec<Quantity>>,
        /// The amount whose total is the value, for example `mass`: the sum over the parts, with growth allowance.
        pub total: Option<Id>,
        /// The part of the limit that is not allocated to any share, in the unit of the limit.
        pub reserve: Option<Quantity>,
        /// The target whose budget this one is a share of.
        pub share_of: Option<Id>,
        /// A value estimated by hand.
        pub estimate: Option<Quantity>,
        /// A formula over other values.
        pub formula: Option<Expression>,
        /// Local names of the formula: each is a quantity, the name of a value, or a formula.
        pub given: Entries<Id, Expression>,
        /// Whether people's safety depends on it.
        pub safety_critical: bool,
        /// How it will be verified.
        pub verify: Option<Verify>,
    }
}

/// How a limit is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitStyle {
    /// `at most 4.27 s`.
    Words,
    /// `≤ 4.27 s`.
    Signs,
}

/// A limit as text, from its key and the texts of its quantities; empty if they do not belong together.
pub fn limit_text(key: &str, quantities: &[&str], style: LimitStyle) -> String {
    let (least, most) = match style {
        LimitStyle::Words => ("at least", "at most"),
        LimitStyle::Signs => ("≥", "≤"),
    };
    match (key, quantities) {
        ("between", [low, high]) => format!("{low} to {high}"),
        ("at-most", [quantity]) => format!("{most} {quantity}"),
        ("at-least", [quantity]) => format!("{least} {quantity}"),
        _ => String::new(),
    }
}

impl Target {
    /// The quantities of the limit, each with its key.
    pub fn limit(&self) -> impl Iterator<Item = (&'static str, &Quantity)> {
        let between = self.between.iter().flatten().map(|q| ("between", q));
        let most = self.at_most.iter().map(|q| ("at-most", q));
        self.at_least.iter().map(|q| ("at-least", q)).chain(most).chain(between)
    }

    /// The limit as text: `at most 4.27 s` or `≤ 4.27 s`.
    pub fn limit_text(&self, style: LimitStyle) -> String {
        match (self.between.as_deref(), &self.at_most, &self.at_least) {
            (Some([low, high]), ..) => limit_text("between", &[low.text(), high.text()], style),
            (_, Some(most), _) => limit_text("at-most", &[most.text()], style),
            (_, _, Some(least)) => limit_text("at-least", &[least.text()], style),
            _ => String::new(),
        }
    }

    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.of.is_none() {
            problems.push(ShapeProblem::missing("of", "add `of: car`, or `of: ID` of a system or part"));
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
                let help = "add `at-most`, `at-least` or `between: [a, b]`";
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
                    "the units of the two limits do not match"
                }
                [low, high] if low.si() >= high.si() => "the first limit is not smaller than the second",
                [_, _] => "",
                _ => "`between` is not a list of two quantities",
            };
            if !wrong.is_empty() {
                problems.push(ShapeProblem::wrong("between", wrong, "use `between: [smallest, largest]`"));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_as_text() {
        let quantity = |text: &str| Quantity::parse(text).unwrap();
        let most = Target { at_most: Some(quantity("4.27 s")), ..Target::default() };
        let least = Target { at_least: Some(quantity("33 kW")), ..Target::default() };
        let both = Target { between: Some(vec![quantity("45 %"), quantity("50 %")]), ..Target::default() };
        let texts = |target: &Target| [LimitStyle::Words, LimitStyle::Signs].map(|style| target.limit_text(style));
        assert_eq!(texts(&most), ["at most 4.27 s", "≤ 4.27 s"]);
        assert_eq!(texts(&least), ["at least 33 kW", "≥ 33 kW"]);
        assert_eq!(texts(&both), ["45 % to 50 %", "45 % to 50 %"]);
        assert_eq!(texts(&Target::default()), ["", ""]);
    }
}
