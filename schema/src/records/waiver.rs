//! `waivers`: findings that are accepted until a day.

use super::{ShapeProblem, record};
use crate::words::{Day, Id};

record! {
    /// A finding that is accepted until a day, by a role, for a reason.
    pub struct Waiver {
        /// The check whose finding is accepted.
        #[schemars(required)]
        pub check: Option<Id>,
        /// The record that the finding is about.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The last day on which it is accepted.
        #[schemars(required)]
        pub until: Option<Day>,
        /// The role that accepted it.
        #[schemars(required)]
        pub agreed_by: Option<String>,
        /// Why it can be lived with until then.
        #[schemars(required)]
        pub reason: Option<String>,
    }
}

impl Waiver {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        for (key, absent, help) in [
            ("check", self.check.is_none(), "name the check whose finding is accepted"),
            ("of", self.of.is_none(), "name the record that the finding is about"),
            ("until", self.until.is_none(), "write the last day on which it is accepted"),
            ("agreed-by", self.agreed_by.is_none(), "name the role that accepted it"),
        ] {
            if absent {
                problems.push(ShapeProblem::missing(key, help));
            }
        }
    }
}
