//! `systems`: groups of parts.

use super::{ShapeProblem, record};
use crate::words::Id;

record! {
    /// A group of parts that one lead answers for.
    pub struct System {
        /// `car`, or the system it is part of.
        #[schemars(required)]
        pub r#in: Option<Id>,
    }
}

impl System {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.r#in.is_none() {
            problems.push(ShapeProblem::missing("in", "write `in: car`, or the system it is part of"));
        }
    }
}
