//! Every planned verification, with its due date, and what its latest result says.

use schema::Day;
use schema::records::Method;

use crate::conclusion::Conclusion;
use crate::ids::RecordId;
use crate::study::Study;

/// A planned verification of a record by one method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlannedVerification {
    /// The record.
    pub index: RecordId,
    /// The method.
    pub method: Method,
    /// The due date.
    pub due: Option<Day>,
    /// The date of the latest result, if it can be read and has one.
    pub date: Option<Day>,
    /// What the latest result says: passed, failed or uncertain; `None` without one that can be read.
    pub conclusion: Option<Conclusion>,
}

impl PlannedVerification {
    /// Every planned verification, in the order of the records.
    pub fn all(study: &Study) -> Vec<Self> {
        let mut all = Vec::new();
        for index in study.loaded.record_ids() {
            let Some(verify) = study.loaded.verify(index) else { continue };
            for method in verify.value.methods() {
                let due = verify.value.0.iter().filter(|own| own.by == method).filter_map(|own| own.due).min();
                // A result of a group is that of the plan that its parts inherit.
                let subjects = [Some(index), verify.group].into_iter().flatten();
                let outcome = subjects.into_iter().find_map(|subject| {
                    let conclusion = study.conclusion(subject, Some(method)).filter(|own| own.is_outcome())?;
                    Some((conclusion, study.latest_date(subject, Some(method))))
                });
                let (conclusion, date) = outcome.unzip();
                all.push(Self { index, method, due, date: date.flatten(), conclusion });
            }
        }
        all
    }
}
