//! The targets: limits and their changes, estimates, results, and verdicts.

use schema::quantity::{Unit, same_number};
use schema::records::{Outcome, Verify};

use super::season::{PastLimit, Season};
use crate::conclusion::Conclusion;
use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Origin, Status, TargetStatus};

/// The outcome of a target.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// A result meets it.
    Met,
    /// A result meets it, but the limit is inside the uncertainty of the result.
    MetUncertain,
    /// A result meets it, but not the limit that it had when it was measured.
    MetAfterChange,
    /// A result does not meet it.
    Missed,
    /// A result does not meet it, but the limit is inside the uncertainty of the result.
    MissedUncertain,
    /// It has no result that decides, and one was due, or no due date is set.
    NeverVerified,
    /// It has no result that decides, and none is due yet.
    NotDue,
}

impl Verdict {
    /// All verdicts, the worst first.
    pub const ALL: [Self; 7] = [
        Self::Missed,
        Self::MissedUncertain,
        Self::NeverVerified,
        Self::NotDue,
        Self::MetAfterChange,
        Self::MetUncertain,
        Self::Met,
    ];

    /// The words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::MetUncertain => "uncertain, value meets the limit",
            Self::MetAfterChange => "met, limit changed after the result",
            Self::Missed => "missed",
            Self::MissedUncertain => "uncertain, value misses the limit",
            Self::NeverVerified => "never verified",
            Self::NotDue => "not due yet",
        }
    }

    /// Whether the measured value meets the limit, and what qualifies that.
    pub fn parts(self) -> (&'static str, Option<&'static str>) {
        const UNCERTAIN: Option<&str> = Some("limit inside the uncertainty");
        match self {
            Self::Met => ("met", None),
            Self::MetUncertain => ("met", UNCERTAIN),
            Self::MetAfterChange => ("met", Some("limit changed after the result")),
            Self::Missed => ("missed", None),
            Self::MissedUncertain => ("missed", UNCERTAIN),
            Self::NeverVerified | Self::NotDue => (self.words(), None),
        }
    }

    /// The outcome in one word: uncertain if the limit is inside the uncertainty of the result.
    pub fn outcome(self) -> &'static str {
        match self {
            Self::Met | Self::MetAfterChange => "met",
            Self::MetUncertain | Self::MissedUncertain => "uncertain",
            Self::Missed => "missed",
            Self::NeverVerified | Self::NotDue => self.words(),
        }
    }

    /// Whether a result meets the limit.
    pub fn is_met(self) -> bool {
        matches!(self, Self::Met | Self::MetUncertain | Self::MetAfterChange)
    }

    /// Whether a result does not meet the limit.
    pub fn is_missed(self) -> bool {
        matches!(self, Self::Missed | Self::MissedUncertain)
    }
}

/// A target and its outcome.
#[derive(Clone, Debug)]
pub struct TargetAudit {
    /// Its value, limit and status.
    pub status: TargetStatus,
    /// Its outcome.
    pub verdict: Verdict,
    /// The estimate without any result: value and expanded uncertainty in SI, and origin.
    pub estimate: Option<(f64, f64, Origin)>,
    /// The latest result, with or without a value.
    pub result: Option<RecordId>,
    /// Its revisions, by date.
    pub revisions: Vec<RecordId>,
    /// Its limits, from the first one on; empty without a history.
    pub limits: Vec<PastLimit>,
    /// Whether the measured value meets the first limit, too; `None` unless the limit was loosened since.
    pub first_limit_met: Option<bool>,
}

impl TargetAudit {
    /// The number of its limits that no revision records.
    pub fn unrecorded(&self) -> usize {
        self.limits.iter().filter(|limit| !limit.recorded).count()
    }

    /// Whether a limit was set or changed after a result.
    pub fn after_result(&self) -> bool {
        self.limits.iter().any(PastLimit::is_after_result)
    }
}

/// Whether a target is met by a limit that was set or changed after its result, and not by the limit before.
fn is_met_after_change(measured: f64, unit: &Unit, limits: &[PastLimit], result: &str) -> bool {
    let Some(at) = limits.iter().position(|limit| limit.results_before.iter().any(|id| **id == *result)) else {
        return false;
    };
    // A limit in another unit is about something else.
    let before = at.checked_sub(1).map(|at| &limits[at]);
    let before = before.filter(|before| before.unit().is_some_and(|own| own.dimension() == unit.dimension()));
    before.is_none_or(|before| !before.limit.holds(measured, 0.0))
}

/// Whether a measured value meets the first limit of a target that was loosened since.
fn first_limit_met(status: &TargetStatus, unit: &Unit, limits: &[PastLimit]) -> Option<bool> {
    let measured =
        status.value.filter(|_| matches!(status.status, Status::Met | Status::Missed | Status::Uncertain))?;
    // A limit in another unit is about something else.
    let first = limits.first().filter(|first| first.unit().is_some_and(|own| own.dimension() == unit.dimension()))?;
    let (first, now) = (&first.limit, &status.limit);
    let higher =
        first.at_most.is_some_and(|first| now.at_most.is_none_or(|now| now > first && !same_number(now, first)));
    let lower =
        first.at_least.is_some_and(|first| now.at_least.is_none_or(|now| now < first && !same_number(now, first)));
    (higher || lower).then(|| first.holds(measured, 0.0))
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
            let is_read = study.conclusion(index, None).is_none_or(Conclusion::is_outcome);
            let verdict = match (outcome.filter(|_| is_read), if is_read { status.status } else { Status::NoValue }) {
                // The latest result decides: if it failed, an older measured value is not used.
                (Some(Outcome::Fail), _) | (None, Status::Missed) => Verdict::Missed,
                (Some(Outcome::Pass), _) | (None, Status::Met) => Verdict::Met,
                (None, Status::Uncertain) if status.value.is_some_and(|value| status.limit.holds(value, 0.0)) => {
                    Verdict::MetUncertain
                }
                (None, Status::Uncertain) => Verdict::MissedUncertain,
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
            let measured = match study.values().origin(index) {
                Origin::Result(result) => status.value.zip(Some(loaded.record(result).id.as_str())),
                _ => None,
            };
            let is_after_change =
                |(value, result)| is_met_after_change(value, study.values().unit(status.node), &limits, result);
            let verdict = match verdict {
                met if met.is_met() && measured.is_some_and(is_after_change) => Verdict::MetAfterChange,
                other => other,
            };
            let revisions = study.graph.revisions(index).into_iter().map(|(id, _)| id).collect();
            let first_limit_met = first_limit_met(status, study.values().unit(status.node), &limits);
            TargetAudit { status: status.clone(), verdict, estimate, result, revisions, limits, first_limit_met }
        })
        .collect()
}
