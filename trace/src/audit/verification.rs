//! What was to be verified, by method: targets, requirements and parts that say how.

pub use schema::records::Method;
use schema::records::Outcome;

use super::targets::{TargetAudit, Verdict};
use crate::ids::RecordId;
use crate::study::Study;

/// One method, and how far it came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Verified {
    /// The method.
    pub method: Method,
    /// So many were to be verified by it.
    pub planned: usize,
    /// So many are, and met.
    pub passed: usize,
    /// So many were tried and failed.
    pub failed: usize,
}

impl Verified {
    /// So many have no result.
    pub fn without_result(&self) -> usize {
        self.planned - self.passed - self.failed
    }
}

/// Did the latest result close it? None without a result.
pub(super) fn has_passed(study: &Study, targets: &[TargetAudit], index: RecordId) -> Option<bool> {
    if let Ok(at) = targets.binary_search_by_key(&index, |target| target.status.index) {
        return match targets[at].verdict {
            Verdict::Met => Some(true),
            Verdict::Missed => Some(false),
            Verdict::NeverVerified | Verdict::NotDue => None,
        };
    }
    study.latest_result(index).map(|(_, result)| result.outcome != Some(Outcome::Fail))
}

pub(super) fn all(study: &Study, targets: &[TargetAudit]) -> Vec<Verified> {
    let mut all = [Method::Test, Method::Analysis, Method::Inspection, Method::Demonstration].map(|method| Verified {
        method,
        planned: 0,
        passed: 0,
        failed: 0,
    });
    for (index, record) in study.loaded.records() {
        let Some(verify) = record.verify() else { continue };
        let passed = has_passed(study, targets, index);
        for line in &mut all {
            if verify.0.iter().any(|one| one.by == line.method) {
                line.planned += 1;
                line.passed += usize::from(passed == Some(true));
                line.failed += usize::from(passed == Some(false));
            }
        }
    }
    all.to_vec()
}
