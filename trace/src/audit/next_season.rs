//! What the audit of one season means for the next.

use schema::settings::Settings;

use super::{Audit, Group, TargetAudit, Verdict, groups};
use crate::ids::RecordId;
use crate::values::Status;

/// A lesson for the next season.
#[derive(Clone, Debug, PartialEq)]
pub enum Lesson {
    /// The growth allowance was smaller than what would have covered nine of ten estimates.
    AllowMore {
        /// The estimates.
        group: Group,
        /// The allowance that would have covered nine of ten.
        covering: f64,
        /// The allowance that the settings add.
        used: f64,
    },
    /// A smaller growth allowance would have covered nine of ten estimates.
    AllowLess {
        /// The estimates.
        group: Group,
        /// The allowance that would have covered nine of ten.
        covering: f64,
        /// The allowance that the settings add.
        used: f64,
    },
    /// Values found by one method came out too high, or too low, on average.
    Biased(Group),
    /// Targets that were missed.
    Missed(Vec<RecordId>),
    /// Targets that were not verified.
    NotVerified(Vec<RecordId>),
    /// Targets that stayed at risk, with no revision on record.
    StillAtRisk(Vec<RecordId>),
    /// Analyses that informed nothing.
    UnusedAnalyses(Vec<RecordId>),
}

/// An allowance that is short by less than this is large enough.
const SHORT: f64 = 0.005;
/// An allowance that is larger than needed by less than this is not too large.
const SPARE: f64 = 0.02;
/// A mean error of less than this says nothing.
const BIAS: f64 = 0.02;
/// So many estimates at least tell of a bias.
const FEWEST: usize = 3;

impl Group {
    /// The growth allowance that the settings add on this basis.
    pub fn used(&self, settings: &Settings) -> Option<f64> {
        Some(settings.growth.get(self.quantity.as_str())?.get(self.basis.as_str())?.si())
    }
}

impl TargetAudit {
    /// The measured value in SI, where there is one.
    pub fn measured(&self) -> Option<f64> {
        self.status.value.filter(|_| matches!(self.status.status, Status::Met | Status::Missed))
    }
}

impl Audit {
    /// The targets with a verdict.
    pub fn with_verdict(&self, verdict: Verdict) -> impl Iterator<Item = &TargetAudit> {
        self.targets.iter().filter(move |target| target.verdict == verdict)
    }

    /// The lessons for the next season, those of the estimates first. Lists that are empty are left out.
    pub fn next_season(&self, settings: &Settings) -> Vec<Lesson> {
        let mut all = Vec::new();
        for group in groups(&self.pairs) {
            let used = group.used(settings);
            let biased = used.is_none() && group.size >= FEWEST && group.bias.abs() > BIAS;
            match (group.allowance, used) {
                (Some(covering), Some(used)) if covering > used + SHORT => {
                    all.push(Lesson::AllowMore { group, covering, used });
                }
                (Some(covering), Some(used)) if covering + SPARE < used => {
                    all.push(Lesson::AllowLess { group, covering, used });
                }
                _ if biased => all.push(Lesson::Biased(group)),
                _ => {}
            }
        }
        let targets = |verdict| self.with_verdict(verdict).map(|target| target.status.index).collect();
        let at_risk = self.at_risk_periods.iter().filter(|period| !period.is_resolved());
        let mut list = |lesson: fn(Vec<RecordId>) -> Lesson, ids: Vec<RecordId>| {
            if !ids.is_empty() {
                all.push(lesson(ids));
            }
        };
        list(Lesson::Missed, targets(Verdict::Missed));
        list(Lesson::NotVerified, targets(Verdict::NeverVerified));
        list(Lesson::StillAtRisk, at_risk.map(|period| period.index).collect());
        list(Lesson::UnusedAnalyses, self.unused_analyses.clone());
        all
    }
}
