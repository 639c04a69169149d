//! A review of the season: whether the goal was reached, which targets were met and with what evidence, how good the
//! predictions were, and which periods at risk were resolved.
//!
//! An [`Audit`] is calculated from the current records. What only git has (when a limit changed, earlier estimates of a
//! part, the mass of the car over time) is passed in as a [`Season`], and is omitted without one.

mod at_risk;
mod behind;
mod complete;
mod decisions;
mod from_history;
mod limit_moves;
mod next_season;
mod planned;
mod points;
mod predictions;
mod provenance;
mod season;
mod split;
mod targets;
mod unproven;
mod verification;

#[cfg(test)]
mod tests;

pub use at_risk::{AtRiskPeriod, PeriodEnd};
pub use behind::TargetEffect;
pub use complete::COMPLETE;
pub use decisions::{DecisionReview, DecisionValue, Informing, Ranked, Ranking};
pub use limit_moves::{LimitMove, LimitRecord};
pub use next_season::{Lesson, most_biased};
pub use planned::PlannedVerification;
pub use points::{EventScore, GoalScore, PlanCause, SHOWN_AS_ZERO};
pub use predictions::{EstimateOf, Group, Pair, allowance, groups};
pub use provenance::Provenance;
pub use season::{PastAmount, PastLimit, PastTarget, Season, TimelinePoint};
pub use split::{ScoreCause, Split};
pub use targets::{TargetAudit, Verdict};
pub use unproven::{Unproven, WhyUnproven, older_than_a_change, outdated};
pub use verification::{Method, Verified};

use schema::Day;
use schema::records::Waiver;

pub use crate::checks::decision_drift::{Drift, drift};
pub use crate::checks::stale::LaterChange;
pub use crate::checks::stale_result::ChangesAfterResults;

use crate::checks::future_result::is_in_future;
use crate::ids::RecordId;
use crate::study::Study;

/// A review of the season.
#[derive(Debug)]
pub struct Audit {
    /// The day that counts as today.
    pub day: Day,
    /// The number of results with a later date, which are used all the same.
    pub future_results: usize,
    /// The goals: points planned, predicted and scored.
    pub goals: Vec<GoalScore>,
    /// Every target, in the order of the records.
    pub targets: Vec<TargetAudit>,
    /// The planned verifications, by method.
    pub verified: Vec<Verified>,
    /// Estimates with their results.
    pub pairs: Vec<Pair>,
    /// How many results are inside the interval of their estimate, and how many estimates have both.
    pub inside: (usize, usize),
    /// The periods in which targets were at risk.
    pub at_risk_periods: Vec<AtRiskPeriod>,
    /// The limits that changed, by day.
    pub limit_moves: Vec<LimitMove>,
    /// The number of safety-critical parts, requirements and targets.
    pub safety_critical: usize,
    /// Those of them without a passed test, demonstration or inspection, the worst first.
    pub unproven: Vec<Unproven>,
    /// The analyses that are not used.
    pub unused_analyses: Vec<RecordId>,
    /// The waivers, each with whether it is valid on the day.
    pub waivers: Vec<(RecordId, bool)>,
}

impl Audit {
    /// The review of a study, with what git has of the season.
    pub fn new(study: &Study, season: Option<&Season>) -> Self {
        let targets = targets::all(study, season);
        let pairs = predictions::pairs(study.values(), &targets, season);
        let (safety_critical, unproven) = unproven::all(study);
        Self {
            day: study.day,
            future_results: future_results(study),
            goals: points::all(study, &targets),
            verified: verification::all(study),
            inside: predictions::inside(&targets, &pairs),
            pairs,
            at_risk_periods: season.map(|season| at_risk::all(&study.loaded, &targets, season)).unwrap_or_default(),
            limit_moves: limit_moves::all(study, &targets),
            safety_critical,
            unproven,
            unused_analyses: unused_analyses(study),
            waivers: waivers(study),
            targets,
        }
    }
}

/// The analyses that the check `unused-analysis` reports, with or without a waiver.
fn unused_analyses(study: &Study) -> Vec<RecordId> {
    let report = study.report();
    let all = report.findings.iter().chain(&report.waived);
    let reported = all.filter(|finding| finding.check.name == "unused-analysis");
    let mut unused: Vec<RecordId> =
        reported.filter_map(|finding| study.loaded.find(finding.record.as_deref()?)).collect();
    unused.sort_unstable();
    unused
}

fn future_results(study: &Study) -> usize {
    let dates = study.loaded.results().filter_map(|(.., result)| result.date);
    dates.filter(|date| is_in_future(study.day, *date)).count()
}

fn waivers(study: &Study) -> Vec<(RecordId, bool)> {
    let is_valid = |waiver: &Waiver| waiver.until.is_some_and(|until| until >= study.day);
    study.loaded.waivers().map(|(id, _, waiver)| (id, is_valid(waiver))).collect()
}
