//! What a state is compared with.

use crate::study::Study;

/// The states that a change starts from: of a commit its parents, of a request its base.
pub struct Parents {
    /// The first one. Its levels apply to the comparison.
    pub first: Parent,
    /// The others, if the change is a merge.
    pub others: Vec<Parent>,
}

/// A state that a change starts from.
pub struct Parent {
    /// The state as it is.
    pub seen: Study,
    /// If a part of it could not be read: the state with this part as it is in the changed state
    /// ([`crate::Loaded::repaired_by`]).
    pub repaired: Option<Study>,
}

impl Parents {
    /// A single base.
    pub fn of_base(base: Parent) -> Self {
        Self { first: base, others: Vec::new() }
    }

    /// Evaluates the findings of all of them.
    pub fn evaluate_reports(&self) {
        for parent in self.all() {
            parent.report();
        }
    }

    /// Those as they are, then those that are repaired.
    pub(super) fn all(&self) -> impl Iterator<Item = &Study> {
        self.seen().chain(self.repaired())
    }

    /// Those as they are.
    pub(super) fn seen(&self) -> impl Iterator<Item = &Study> {
        self.each().map(|parent| &parent.seen)
    }

    /// Those that are repaired.
    pub(super) fn repaired(&self) -> impl Iterator<Item = &Study> {
        self.each().filter_map(|parent| parent.repaired.as_ref())
    }

    fn each(&self) -> impl Iterator<Item = &Parent> {
        std::iter::once(&self.first).chain(&self.others)
    }
}

impl Parent {
    /// The records of the state, as far as they can be known.
    pub(super) fn known(&self) -> &Study {
        self.repaired.as_ref().unwrap_or(&self.seen)
    }
}
