//! The season looked back on: was the goal reached, which targets were met and by what evidence, how good were the
//! predictions, which loops closed.
//!
//! [`Audit`] is made of the records as they are; what git alone knows (when a limit moved, what a part weighed on paper,
//! the car's mass week by week) comes in as a [`Season`], and is left out where there is none.

mod at_risk;
mod from_history;
mod next_season;
mod points;
mod predictions;
mod season;
mod targets;
mod verification;

#[cfg(test)]
mod tests;

pub use at_risk::AtRiskPeriod;
pub use next_season::Lesson;
pub use points::{EventScore, GoalScore};
pub use predictions::{EstimateOf, Group, Pair, allowance, groups};
pub use season::{PastAmount, PastLimit, PastTarget, Season, TimelinePoint};
pub use targets::{TargetAudit, Verdict};
pub use verification::{Method, Verified};

use schema::Day;
use schema::records::Waiver;

use crate::checks::future_result::lies_ahead;
use crate::ids::RecordId;
use crate::study::Study;

/// The season looked back on.
#[derive(Debug)]
pub struct Audit {
    /// The day it reckons with.
    pub day: Day,
    /// How many results are dated after it, and count all the same.
    pub future_results: usize,
    /// The goals: points planned, predicted and scored.
    pub goals: Vec<GoalScore>,
    /// Every target, in the order of the records.
    pub targets: Vec<TargetAudit>,
    /// What was to be verified, by method.
    pub verified: Vec<Verified>,
    /// Estimates beside what came of them.
    pub pairs: Vec<Pair>,
    /// The targets that were at risk at some time.
    pub at_risk_periods: Vec<AtRiskPeriod>,
    /// The analyses that informed nothing.
    pub unused_analyses: Vec<RecordId>,
    /// The waivers, and whether each was in force on the day.
    pub waivers: Vec<(RecordId, bool)>,
}

impl Audit {
    /// Looks back.
    pub fn new(study: &Study, season: Option<&Season>) -> Self {
        let targets = targets::all(study, season);
        Self {
            day: study.day,
            future_results: future_results(study),
            goals: points::all(study),
            verified: verification::all(study, &targets),
            pairs: predictions::pairs(study.values(), &targets, season),
            at_risk_periods: season.map(|season| at_risk::all(&study.loaded, &targets, season)).unwrap_or_default(),
            unused_analyses: unused_analyses(study),
            waivers: waivers(study),
            targets,
        }
    }
}

/// What the check of this name told, whether it is waived or not.
fn unused_analyses(study: &Study) -> Vec<RecordId> {
    let report = study.report();
    let all = report.findings.iter().chain(&report.waived);
    let told = all.filter(|finding| finding.check.name == "unused-analysis");
    let mut unused: Vec<RecordId> = told.filter_map(|finding| study.loaded.find(finding.record.as_deref()?)).collect();
    unused.sort_unstable();
    unused
}

fn future_results(study: &Study) -> usize {
    let dates = study.loaded.results().filter_map(|(.., result)| result.date);
    dates.filter(|date| lies_ahead(study.day, *date)).count()
}

fn waivers(study: &Study) -> Vec<(RecordId, bool)> {
    let in_force = |waiver: &Waiver| waiver.until.is_some_and(|until| until >= study.day);
    study.loaded.waivers().map(|(id, _, waiver)| (id, in_force(waiver))).collect()
}
