//! The new findings of a state, and the number of those that an earlier state has too.

use super::Delta;
use crate::finding::{LEVELS, Report};
use crate::study::Study;

/// The number of findings that an earlier state has too.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ExistingFindings {
    /// The numbers of errors, warnings and notes.
    pub counts: [usize; 3],
}

impl ExistingFindings {
    /// Splits the report of a state: the new findings, and the number of those that an earlier state has too.
    pub fn split(before: &Study, study: &Study) -> (Report, Self) {
        let all = study.report();
        let new = Report {
            findings: Delta::of_findings(before, study).new,
            waived: all.waived.clone(),
            off: all.off.clone(),
        };
        let counts = LEVELS.map(|level| all.count(level) - new.count(level));
        (new, Self { counts })
    }

    /// The number of all of them.
    pub fn sum(&self) -> usize {
        self.counts.iter().sum()
    }
}
