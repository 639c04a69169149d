//! `revisions`: agreed changes of limits.

use super::{ShapeProblem, record};
use crate::quantity::Quantity;
use crate::words::{Day, Id};

record! {
    /// An agreed change of a target's limit, added when the limit is changed.
    pub struct Revision {
        /// The target whose limit changed.
        #[schemars(required)]
        pub of: Option<Id>,
        /// The old limit.
        pub from: Option<Quantity>,
        /// The new limit.
        #[schemars(required)]
        pub to: Option<Quantity>,
        /// The date of the agreement.
        #[schemars(required)]
        pub date: Option<Day>,
        /// The role that agreed to the change.
        #[schemars(required)]
        pub agreed_by: Option<String>,
        /// Why the limit was changed.
        #[schemars(required)]
        pub reason: Option<String>,
    }
}

impl Revision {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        for (key, absent, help) in [
            ("of", self.of.is_none(), "add `of: TARGET`, the target whose limit changed"),
            ("to", self.to.is_none(), "add `to: QUANTITY`, the new limit"),
            ("date", self.date.is_none(), "add `date: 2027-02-11`, the date of the agreement"),
            ("agreed-by", self.agreed_by.is_none(), "add `agreed-by: ROLE`, the role that agreed to the change"),
        ] {
            if absent {
                problems.push(ShapeProblem::missing(key, help));
            }
        }
    }
}
