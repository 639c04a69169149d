//! The new findings of a state, and the number of those that an earlier state has too.

use super::Delta;
use crate::finding::{LEVELS, Report};

/// The number of findings that an earlier state has too.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ExistingFindings {
    /// The numbers of errors, warnings and notes.
    pub counts: [usize; 3],
    /// The number of new errors that stop the commit.
    pub stopping: usize,
}

impl ExistingFindings {
    /// Splits the report of a state: the new findings, and the number of those that an earlier state has too.
    pub fn split(delta: &Delta) -> (Report, Self) {
        let new = Report { findings: delta.new.clone(), waived: delta.waived.clone() };
        let number = |level| delta.unchanged.iter().filter(|finding| finding.level == level).count();
        let stopping = delta.stopping(delta.stops.commit).count();
        (new, Self { counts: LEVELS.map(number), stopping })
    }

    /// The number of all of them.
    pub fn sum(&self) -> usize {
        self.counts.iter().sum()
    }
}
