//! `systems`: groups of parts.

use super::{ShapeProblem, record};
use crate::words::Id;

record! {
    /// A group of parts with one lead.
    pub struct System {
        /// `car`, or the system that it is part of.
        #[schemars(required)]
        pub r#in: Option<Id>,
    }
}

impl System {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.r#in.is_none() {
            problems.push(ShapeProblem::missing("in", "add `in: car`, or `in: ID` of the system that it is part of"));
        }
    }
}
