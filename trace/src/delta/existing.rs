//! What is new in a state, and how much of what it has an earlier one has too.

use super::Delta;
use crate::finding::{LEVELS, Report};
use crate::study::Study;

/// How many findings an earlier state has too.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ExistingFindings {
    /// Errors, warnings and notes.
    pub counts: [usize; 3],
}

impl ExistingFindings {
    /// Splits the report of a state: what an earlier one has too is counted, and what is left is new.
    pub fn split(before: &Study, study: &Study) -> (Report, Self) {
        let all = study.report();
        let new = Report { findings: Delta::findings(before, study).new, waived: all.waived.clone() };
        let counts = LEVELS.map(|level| all.count(level) - new.count(level));
        (new, Self { counts })
    }

    /// All of them.
    pub fn sum(&self) -> usize {
        self.counts.iter().sum()
    }
}
