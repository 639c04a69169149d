//! `requirements`: what must be so, told in a sentence.

use super::{ShapeProblem, Verify, record};
use crate::words::Id;

record! {
    /// Something that must be so, told in a sentence rather than a number.
    pub struct Requirement {
        /// `car`, a system or a part: the subject of the sentence.
        #[schemars(required)]
        pub of: Option<Id>,
        /// What the subject shall do or be, in one sentence without the subject.
        #[schemars(required)]
        pub shall: Option<String>,
        /// Where it comes from: a rule, a standard, a lesson of last season.
        pub source: Option<String>,
        /// Does people's safety depend on it?
        pub safety_critical: bool,
        /// How it will be verified.
        pub verify: Option<Verify>,
    }
}

impl Requirement {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.of.is_none() {
            problems.push(ShapeProblem::missing("of", "write `of: car`, or the system or part it is about"));
        }
        if self.shall.as_deref().is_none_or(|text| text.trim().is_empty()) {
            problems.push(ShapeProblem::missing("shall", "say in one sentence what it shall do or be"));
        }
    }
}
