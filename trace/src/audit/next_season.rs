//! The lessons of the audit for the next season.

use schema::settings::Settings;

use super::predictions::is_inside;
use super::{AtRiskPeriod, Audit, Group, Pair, PeriodEnd, TargetAudit, Verdict, groups};
use crate::ids::RecordId;
use crate::values::Status;

/// A lesson for the next season.
#[derive(Clone, Debug, PartialEq)]
pub enum Lesson {
    /// The growth allowance was smaller than the one that covers nine of ten results.
    AllowMore {
        /// The estimates.
        group: Group,
        /// The allowance that covers nine of ten results.
        covering: f64,
        /// The allowance in the settings.
        used: f64,
    },
    /// A smaller growth allowance covers nine of ten results.
    AllowLess {
        /// The estimates.
        group: Group,
        /// The allowance that covers nine of ten results.
        covering: f64,
        /// The allowance in the settings.
        used: f64,
    },
    /// Results differ from the estimates of one method on average.
    Biased(Group),
    /// Targets that were missed.
    Missed(Vec<RecordId>),
    /// Targets whose limit is inside the uncertainty of the result.
    Uncertain(Vec<RecordId>),
    /// Targets that are met by a limit that changed after the result.
    MetAfterChange(Vec<RecordId>),
    /// Targets that were not verified.
    NotVerified(Vec<RecordId>),
    /// Targets that are at risk now.
    StillAtRisk(Vec<RecordId>),
    /// Targets whose limit was changed while they were at risk, without a revision.
    LimitChanged(Vec<RecordId>),
    /// Analyses that are not used.
    UnusedAnalyses(Vec<RecordId>),
}

/// An allowance that is too small by less than this is large enough.
const TOO_SMALL: f64 = 0.005;
/// An allowance that is larger than needed by less than this is not too large.
const TOO_LARGE: f64 = 0.02;
/// A mean error below this is no bias.
const LEAST_BIAS: f64 = 0.02;
/// The smallest number of estimates that can show a bias.
const FEWEST_ESTIMATES: usize = 3;

/// The smallest number of estimates that show the bias of a whole season, in front of strangers. A lesson asks the team to
/// check its method, for which a hint is enough; a statement about the season needs many estimates that were far off.
const MANY_ESTIMATES: usize = 10;
/// The smallest mean error of such a statement.
const LARGE_BIAS: f64 = 0.05;

/// The estimates of which there are many, and whose results were furthest from them on average; `None` if none was far.
pub fn most_biased(pairs: &[Pair]) -> Option<Group> {
    let is_far = |group: &Group| group.size >= MANY_ESTIMATES && group.bias.abs() >= LARGE_BIAS;
    groups(pairs).into_iter().filter(is_far).max_by(|a, b| a.bias.abs().total_cmp(&b.bias.abs()))
}

impl Group {
    /// The growth allowance in the settings for this basis.
    pub fn used(&self, settings: &Settings) -> Option<f64> {
        Some(settings.growth.get(self.quantity.as_str())?.get(self.basis.as_str())?.si())
    }
}

impl TargetAudit {
    /// The expanded uncertainty (k = 2) of the measured value in SI; zero if it has none.
    pub fn measured_uncertainty(&self) -> f64 {
        self.measured().map_or(0.0, |_| self.status.uncertainty)
    }

    /// Whether the measured value is inside the interval of the estimate; `None` if one of them is missing.
    pub fn is_inside_estimate(&self) -> Option<bool> {
        let (estimate, uncertainty, _) = self.estimate?;
        is_inside(self.measured()?, estimate, uncertainty)
    }

    /// The measured value in SI, if there is one.
    pub fn measured(&self) -> Option<f64> {
        self.status.value.filter(|_| matches!(self.status.status, Status::Met | Status::Missed | Status::Uncertain))
    }
}

impl Audit {
    /// The targets with a verdict.
    pub fn with_verdict(&self, verdict: Verdict) -> impl Iterator<Item = &TargetAudit> {
        self.targets.iter().filter(move |target| target.verdict == verdict)
    }

    /// The lessons for the next season, those of the estimates first. Empty lists are omitted.
    pub fn next_season(&self, settings: &Settings) -> Vec<Lesson> {
        let mut all = Vec::new();
        for group in groups(&self.pairs) {
            let used = group.used(settings);
            let biased = used.is_none() && group.size >= FEWEST_ESTIMATES && group.bias.abs() > LEAST_BIAS;
            match (group.allowance, used) {
                (Some(covering), Some(used)) if covering > used + TOO_SMALL => {
                    all.push(Lesson::AllowMore { group, covering, used });
                }
                (Some(covering), Some(used)) if covering + TOO_LARGE < used => {
                    all.push(Lesson::AllowLess { group, covering, used });
                }
                _ if biased => all.push(Lesson::Biased(group)),
                _ => {}
            }
        }
        let targets = |verdicts: &[Verdict]| {
            let with = self.targets.iter().filter(|target| verdicts.contains(&target.verdict));
            with.map(|target| target.status.index).collect()
        };
        let periods = |is_wanted: fn(&AtRiskPeriod) -> bool| {
            let mut ids: Vec<RecordId> =
                self.at_risk_periods.iter().filter(|period| is_wanted(period)).map(|period| period.index).collect();
            ids.dedup();
            ids
        };
        let mut list = |lesson: fn(Vec<RecordId>) -> Lesson, ids: Vec<RecordId>| {
            if !ids.is_empty() {
                all.push(lesson(ids));
            }
        };
        list(Lesson::Missed, targets(&[Verdict::Missed, Verdict::MissedUncertain]));
        list(Lesson::Uncertain, targets(&[Verdict::MissedUncertain, Verdict::MetUncertain]));
        list(Lesson::MetAfterChange, targets(&[Verdict::MetAfterChange]));
        list(Lesson::NotVerified, targets(&[Verdict::NeverVerified]));
        list(Lesson::StillAtRisk, periods(|period| period.end.is_none()));
        list(Lesson::LimitChanged, periods(|period| period.ended(PeriodEnd::LimitChanged)));
        list(Lesson::UnusedAnalyses, self.unused_analyses.clone());
        all
    }
}
