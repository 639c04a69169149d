//! Every target: its limit and how it moved, what was expected, what came, by which method and evidence.

use schema::records::{Outcome, Verify};

use super::season::{PastLimit, Season};
use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Origin, Status, TargetStatus};

/// What became of a target.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// A result meets it.
    Met,
    /// A result does not.
    Missed,
    /// No result says either, and the day by which one was due has passed, or none was named.
    NeverVerified,
    /// No result says either, and none is due yet.
    NotDue,
}

impl Verdict {
    /// All of them, what was not reached first.
    pub const ALL: [Self; 4] = [Self::Missed, Self::NeverVerified, Self::NotDue, Self::Met];

    /// The words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::Missed => "missed",
            Self::NeverVerified => "never verified",
            Self::NotDue => "not due yet",
        }
    }
}

/// A target looked back on.
#[derive(Clone, Debug)]
pub struct TargetAudit {
    /// Where it stands now.
    pub status: TargetStatus,
    /// What became of it.
    pub verdict: Verdict,
    /// What was expected without any result: value and expanded uncertainty in SI, and where it comes from.
    pub estimate: Option<(f64, f64, Origin)>,
    /// The latest result, with a value or without.
    pub result: Option<RecordId>,
    /// Its revisions, by date.
    pub revisions: Vec<RecordId>,
    /// The limits it had, from the first on; empty where git does not tell.
    pub limits: Vec<PastLimit>,
}

impl TargetAudit {
    /// How many of its limits are not on record.
    pub fn unrecorded(&self) -> usize {
        self.limits.iter().filter(|step| !step.recorded).count()
    }

    /// Was a limit set or moved once there was a result?
    pub fn after_result(&self) -> bool {
        self.limits.iter().any(|step| step.after_result)
    }
}

pub(super) fn all(study: &Study, season: Option<&Season>) -> Vec<TargetAudit> {
    let (loaded, on_paper) = (&study.loaded, study.values_on_paper());
    let gradients = on_paper.gradients();
    study
        .target_statuses()
        .iter()
        .map(|status| {
            let index = status.index;
            let (result, outcome) = study.latest_result(index).map(|(id, result)| (id, result.outcome)).unzip();
            let outcome = outcome.flatten();
            let verdict = match (outcome, status.status) {
                // The latest result has the word, and a failed trial stands above an older number.
                (Some(Outcome::Fail), _) | (None, Status::Missed) => Verdict::Missed,
                (Some(Outcome::Pass), _) | (None, Status::Met) => Verdict::Met,
                _ if loaded.record(index).verify().and_then(Verify::due).is_some_and(|due| due >= study.day) => {
                    Verdict::NotDue
                }
                _ => Verdict::NeverVerified,
            };
            let estimate = on_paper.record_node(index).and_then(|node| {
                let uncertainty = gradients.uncertainty(&on_paper.network, node);
                Some((on_paper.value(node)?, uncertainty, on_paper.origin(index)))
            });
            let limits = season.and_then(|season| season.limits.get(loaded.record(index).id.as_str()));
            let limits = limits.cloned().unwrap_or_default();
            let revisions = study.graph.revisions(index).into_iter().map(|(id, _)| id).collect();
            TargetAudit { status: status.clone(), verdict, estimate, result, revisions, limits }
        })
        .collect()
}
