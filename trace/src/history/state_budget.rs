//! How much of past states a command evaluates, whether they are in a cache or not.

use crate::values::work::{Runs, WorkBudget};

/// The largest number of records of all states.
const MOST_RECORDS: usize = 500_000;

/// What may still be evaluated.
#[derive(Debug)]
pub(crate) struct StateBudget {
    models: WorkBudget,
    /// The number of records; `None` after a state that had more.
    records: Option<usize>,
}

impl Default for StateBudget {
    fn default() -> Self {
        Self { models: WorkBudget::default(), records: Some(MOST_RECORDS) }
    }
}

impl StateBudget {
    /// Takes the records of a state; `false` if there are too many, for this one and all further ones.
    pub(crate) fn take_records(&mut self, records: usize) -> bool {
        self.records = self.records.and_then(|left| left.checked_sub(records));
        self.records.is_some()
    }

    /// Takes the models of a state; `false` if they need too much work.
    pub(crate) fn take_models(&mut self, runs: &Runs) -> bool {
        self.models.take(runs)
    }

    /// Whether something is over it, so that nothing more needs to be read.
    pub(crate) fn is_spent(&self) -> bool {
        self.records.is_none() || self.models.is_spent()
    }

    /// The message for what is not evaluated.
    pub(crate) fn message(&self, what: &str) -> String {
        match self.records {
            None => format!("{what}: too many records for so many commits, see Limits in SECURITY.md"),
            Some(_) => WorkBudget::message(what),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_follows_a_state_that_is_too_large() {
        let mut budget = StateBudget::default();
        assert!(budget.take_records(MOST_RECORDS - 1) && budget.take_records(1) && !budget.is_spent());
        assert!(budget.take_records(0) && !budget.take_records(1) && !budget.take_records(0));
        assert!(budget.is_spent() && budget.message("x").starts_with("x: too many records"));
    }
}
