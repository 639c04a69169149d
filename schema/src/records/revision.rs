//! `revisions`: agreed changes of targets.

use super::{ShapeProblem, record};
use crate::quantity::Quantity;
use crate::words::{Day, Id};

record! {
    /// An agreed change of a target, written when it is made.
    pub struct Revision {
        /// The target that is changed.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The limit before.
        pub from: Option<Quantity>,
        /// The limit after.
        #[schemars(required)]
        pub to: Option<Quantity>,
        /// The day it was agreed.
        #[schemars(required)]
        pub date: Option<Day>,
        /// The role that agreed.
        #[schemars(required)]
        pub agreed_by: Option<String>,
        /// Why.
        #[schemars(required)]
        pub reason: Option<String>,
    }
}

impl Revision {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        for (key, absent, help) in [
            ("of", self.of.is_none(), "name the target that is changed"),
            ("to", self.to.is_none(), "write the limit after the change"),
            ("date", self.date.is_none(), "write the day it was agreed, as in 2027-02-11"),
            ("agreed-by", self.agreed_by.is_none(), "name the role that agreed"),
        ] {
            if absent {
                problems.push(ShapeProblem::missing(key, help));
            }
        }
    }
}
