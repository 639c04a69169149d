//! The planned verifications of targets, requirements and parts, by method.

pub use schema::records::Method;
use schema::records::Outcome;

use super::targets::{TargetAudit, Verdict};
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

/// Whether the latest result of a record meets it; `None` without a result.
fn has_passed(study: &Study, targets: &[TargetAudit], index: RecordId, group: Option<RecordId>) -> Option<bool> {
    if let Ok(at) = targets.binary_search_by_key(&index, |target| target.status.index) {
        return match targets[at].verdict {
            Verdict::Met | Verdict::MetUncertain | Verdict::MetAfterChange => Some(true),
            Verdict::Missed | Verdict::MissedUncertain => Some(false),
            Verdict::NeverVerified | Verdict::NotDue => None,
        };
    }
    // A result of a group is that of the plan that its parts inherit.
    let latest = study.latest_result(index).or_else(|| study.latest_result(group?));
    latest.map(|(_, result)| result.outcome != Some(Outcome::Fail))
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
        let passed = has_passed(study, targets, index, verify.group);
        for line in &mut all {
            if verify.value.0.iter().any(|verification| verification.by == line.method) {
                line.planned += 1;
                line.passed += usize::from(passed == Some(true));
                line.failed += usize::from(passed == Some(false));
            }
        }
    }
    all.to_vec()
}
