//! How much all models of a command may calculate: a state has a limit of its own, and what is evaluated in addition to it, past
//! states and alternatives, shares one budget.
//!
//! A run is counted once, however many states have it, and whether a cache has it or not. So what is calculated does not
//! depend on caches and threads: the states are counted in the order in which a command asks for them.

use foldhash::HashSet;

use super::Values;
use super::network::{Network, State};
use super::runs::RunKey;

/// The largest sum of [`super::network::Call::work`] of a state.
pub(super) const MOST_OF_STATE: usize = 500_000;

/// The largest sum over the past states of a command: 120 states of a car with several models.
const MOST_OF_COMMAND: usize = 1_500_000;

/// The largest sum over the alternatives of a decision, which are evaluated for two states.
const MOST_OF_ALTERNATIVES: usize = MOST_OF_COMMAND / 2;

/// The runs of the models of a state: the key of each, and its work with its derivatives.
pub(crate) type Runs = Vec<(RunKey, u32)>;

/// What a command has counted so far.
#[derive(Debug)]
pub(crate) struct WorkBudget {
    counted: HashSet<RunKey>,
    left: usize,
    is_spent: bool,
}

impl Default for WorkBudget {
    fn default() -> Self {
        Self { counted: HashSet::default(), left: MOST_OF_COMMAND, is_spent: false }
    }
}

impl WorkBudget {
    /// For the alternatives of a decision, in a state with these runs.
    pub(super) fn of_alternatives(own: &Runs) -> Self {
        let counted = own.iter().map(|(key, _)| *key).collect();
        Self { counted, left: MOST_OF_ALTERNATIVES, is_spent: false }
    }

    /// Counts the runs that are new. Returns whether all of them are within the budget; after the first that are not, there is
    /// nothing more.
    pub(crate) fn take(&mut self, runs: &Runs) -> bool {
        for (key, work) in runs {
            if self.counted.insert(*key) {
                match self.left.checked_sub(*work as usize) {
                    Some(left) => self.left = left,
                    None => self.is_spent = true,
                }
            }
        }
        !self.is_spent
    }

    /// Whether something was over the budget.
    pub(crate) fn is_spent(&self) -> bool {
        self.is_spent
    }

    /// The message for what is not calculated.
    pub(crate) fn message(what: &str) -> String {
        format!("{what}: the models need too much work, see Limits in SECURITY.md")
    }
}

impl Network {
    /// The runs of the models of a state.
    pub(super) fn runs(&self, state: &State) -> Runs {
        let work = |work: usize| u32::try_from(work).unwrap_or(u32::MAX);
        let calls = self.calls.iter().zip(state.numbers_of_calls());
        let runs = calls.filter_map(|(call, numbers)| Some((call.run_key(numbers?), work(call.work()))));
        runs.collect()
    }
}

impl Values {
    /// The runs of the models of this state.
    pub(crate) fn model_runs(&self) -> Runs {
        self.network.runs(&self.state)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runs(names: &[&str], work: u32) -> Runs {
        names.iter().map(|name| (RunKey::of([name.as_bytes()]), work)).collect()
    }

    #[test]
    fn a_run_is_counted_once() {
        let mut budget = WorkBudget::default();
        for _ in 0..10 {
            assert!(budget.take(&runs(&["a", "b"], 700_000)));
        }
        assert!(!budget.take(&runs(&["c"], 700_000)));
        assert!(!budget.take(&runs(&["a"], 900_000)), "nothing follows what is over the budget");
    }

    #[test]
    fn the_order_of_runs_does_not_matter() {
        let one = [runs(&["a"], 1_000_000), runs(&["b"], 400_000), runs(&["c"], 200_000)].concat();
        let other: Runs = one.iter().rev().copied().collect();
        assert!(!WorkBudget::default().take(&one) && !WorkBudget::default().take(&other));
    }
}
