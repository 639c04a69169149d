//! `requirements`: what the car, a system or a part must do or be, as a sentence.

use super::{ShapeProblem, Verify, record};
use crate::words::Id;

record! {
    /// What the car, a system or a part must do or be, as a sentence instead of a number.
    pub struct Requirement {
        /// `car`, a system or a part: the subject of the sentence.
        #[schemars(required)]
        pub of: Option<Id>,
        /// What the subject shall do or be, in one sentence without the subject.
        #[schemars(required)]
        pub shall: Option<String>,
        /// The source: a rule, a standard, or experience from last season.
        pub source: Option<String>,
        /// Whether people's safety depends on it.
        pub safety_critical: bool,
        /// How it will be verified.
        pub verify: Option<Verify>,
    }
}

impl Requirement {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.of.is_none() {
            problems.push(ShapeProblem::missing("of", "add `of: car`, or `of: ID` of a system or part"));
        }
        if self.shall.as_deref().is_none_or(|text| text.trim().is_empty()) {
            problems.push(ShapeProblem::missing(
                "shall",
                "add `shall: TEXT`, what the subject shall do or be, in one sentence",
            ));
        }
    }
}
