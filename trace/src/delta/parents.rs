//! What a state is compared with.

use crate::study::Study;

/// The states that a change starts from: of a commit its parents, of a request its base.
pub struct Parents {
    /// The first one. Its levels apply to the comparison.
    pub first: Study,
    /// The others, if the change is a merge.
    pub others: Vec<Study>,
    /// Those of which a part could not be read, with this part as it is in the changed state
    /// ([`crate::Loaded::repaired_by`]).
    pub repaired: Vec<Study>,
}

impl Parents {
    /// All of them.
    pub fn all(&self) -> impl Iterator<Item = &Study> {
        self.seen().chain(&self.repaired)
    }

    /// Evaluates the findings of all of them.
    pub fn evaluate_reports(&self) {
        for parent in self.all() {
            parent.report();
        }
    }

    /// Those that exist.
    pub(super) fn seen(&self) -> impl Iterator<Item = &Study> {
        std::iter::once(&self.first).chain(&self.others)
    }
}
