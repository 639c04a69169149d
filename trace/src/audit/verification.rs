//! The planned verifications of targets, requirements and parts, by method.

pub use schema::records::Method;

use super::targets::TargetAudit;
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
    /// The number of those whose latest result meets them.
    pub passed: usize,
    /// The number of those whose latest result does not meet them.
    pub failed: usize,
}

impl Verified {
    /// The number of those without a result.
    pub fn without_result(&self) -> usize {
        self.planned - self.passed - self.failed
    }
}

/// Whether the latest result of one method meets a record; `None` without a result that closes it.
fn has_passed(
    study: &Study,
    targets: &[TargetAudit],
    index: RecordId,
    group: Option<RecordId>,
    method: Method,
) -> Option<bool> {
    // A result of a group is that of the plan that its parts inherit.
    let of_group = || study.conclusion(group?, Some(method));
    let conclusion = study.conclusion(index, Some(method)).or_else(of_group).filter(|own| own.closes())?;
    if conclusion == Conclusion::Uncertain {
        let at = targets.binary_search_by_key(&index, |target| target.status.index).ok()?;
        return Some(targets[at].verdict.is_met());
    }
    Some(conclusion == Conclusion::Passed)
}

pub(super) fn all(study: &Study, targets: &[TargetAudit]) -> Vec<Verified> {
    let mut all = [Method::Test, Method::Analysis, Method::Inspection, Method::Demonstration].map(|method| Verified {
        method,
        planned: 0,
        passed: 0,
        failed: 0,
    });
    for index in study.loaded.record_ids() {
        let Some(verify) = study.loaded.verify(index) else { continue };
        for line in &mut all {
            if verify.value.0.iter().any(|verification| verification.by == line.method) {
                let passed = has_passed(study, targets, index, verify.group, line.method);
                line.planned += 1;
                line.passed += usize::from(passed == Some(true));
                line.failed += usize::from(passed == Some(false));
            }
        }
    }
    all.to_vec()
}
