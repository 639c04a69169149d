//! The planned verifications of targets, requirements and parts, by method.

pub use schema::records::Method;

use crate::conclusion::Conclusion;
use crate::ids::RecordId;
use crate::study::Study;

/// The verifications of one method.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Verified {
    /// The method.
    pub method: Method,
    /// The number of records that are to be verified by it.
    pub planned: usize,
    /// The number of those whose latest result meets them, beyond its uncertainty.
    pub passed: usize,
    /// The number of those with the limit inside the uncertainty of the latest result.
    pub uncertain: usize,
    /// The number of those whose latest result does not meet them.
    pub failed: usize,
}

impl Verified {
    /// The number of those without a result.
    pub fn without_result(&self) -> usize {
        self.planned - self.passed - self.uncertain - self.failed
    }
}

/// What the latest result of one method says about a record; `None` without one that can be read.
pub(super) fn concluded(study: &Study, index: RecordId, group: Option<RecordId>, method: Method) -> Option<Conclusion> {
    // A result of a group is that of the plan that its parts inherit.
    let of_group = || study.conclusion(group?, Some(method));
    study.conclusion(index, Some(method)).or_else(of_group).filter(|own| own.is_outcome())
}

pub(super) fn all(study: &Study) -> Vec<Verified> {
    let mut all = [Method::Test, Method::Analysis, Method::Inspection, Method::Demonstration].map(|method| Verified {
        method,
        planned: 0,
        passed: 0,
        uncertain: 0,
        failed: 0,
    });
    for index in study.loaded.record_ids() {
        let Some(verify) = study.loaded.verify(index) else { continue };
        for line in &mut all {
            if verify.value.0.iter().any(|verification| verification.by == line.method) {
                line.planned += 1;
                match concluded(study, index, verify.group, line.method) {
                    Some(Conclusion::Passed) => line.passed += 1,
                    Some(Conclusion::Uncertain) => line.uncertain += 1,
                    Some(Conclusion::Failed) => line.failed += 1,
                    Some(Conclusion::Contradicted | Conclusion::Unread) | None => {}
                }
            }
        }
    }
    all.to_vec()
}
