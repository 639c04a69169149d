//! `waivers`: findings that are accepted until an end date.

use super::{ShapeProblem, record};
use crate::words::{Day, Id};

record! {
    /// A finding that a role accepts until an end date, with the reason.
    pub struct Waiver {
        /// The check whose finding is accepted.
        #[schemars(required)]
        pub check: Option<Id>,
        /// The record that the finding is about; a system for the findings of this check on it and on all records in it.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The end date: the last day on which the waiver is valid.
        #[schemars(required)]
        pub until: Option<Day>,
        /// The role that accepted it.
        #[schemars(required)]
        pub agreed_by: Option<String>,
        /// Why the finding is acceptable until then.
        #[schemars(required)]
        pub reason: Option<String>,
    }
}

impl Waiver {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        for (key, absent, help) in [
            ("check", self.check.is_none(), "add `check: CHECK`, the check whose finding is accepted"),
            ("of", self.of.is_none(), "add `of: ID`, the record that the finding is about"),
            ("until", self.until.is_none(), "add `until: DATE`, the last day on which the waiver is valid"),
            ("agreed-by", self.agreed_by.is_none(), "add `agreed-by: ROLE`, the role that accepted it"),
        ] {
            if absent {
                problems.push(ShapeProblem::missing(key, help));
            }
        }
    }
}
