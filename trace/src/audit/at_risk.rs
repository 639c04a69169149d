//! The periods in which targets were at risk, and how they ended.

use schema::Day;

use super::Audit;
use super::season::{PastTarget, Season};
use super::targets::TargetAudit;
use crate::Loaded;
use crate::history::same_limit;
use crate::ids::RecordId;
use crate::values::{Limit, Status};

/// A period in which a target was at risk.
#[derive(Clone, Debug, PartialEq)]
pub struct AtRiskPeriod {
    /// The target's record.
    pub index: RecordId,
    /// The day of the first commit at which it was at risk.
    pub since: Day,
    /// The day of the commit that ended it, and how; `None` if it goes on.
    pub end: Option<(Day, PeriodEnd)>,
}

/// How a period at risk ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PeriodEnd {
    /// With a result that meets the limit.
    Met,
    /// With a result that does not meet the limit.
    Missed,
    /// With a result whose uncertainty contains the limit.
    Uncertain,
    /// With a value that meets the limit, which did not change.
    WithinLimit,
    /// With another limit that a revision records.
    Revised,
    /// With another limit that no revision records.
    LimitChanged,
    /// With the removal of the value.
    NoValue,
}

impl PeriodEnd {
    /// The words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::Missed => "missed",
            Self::Uncertain => "uncertain",
            Self::WithinLimit => "back within the limit",
            Self::Revised => "revised",
            Self::LimitChanged => "limit changed without a revision",
            Self::NoValue => "value removed",
        }
    }

    /// Whether the risk was dealt with: the target was met, is within its limit again, or has a limit that was agreed on.
    pub fn is_resolved(self) -> bool {
        match self {
            Self::Met | Self::WithinLimit | Self::Revised => true,
            Self::Missed | Self::Uncertain | Self::LimitChanged | Self::NoValue => false,
        }
    }
}

impl AtRiskPeriod {
    /// How long it lasted in days; one that goes on is counted up to `today`.
    pub fn days(&self, today: Day) -> i32 {
        let end = self.end.map_or(today.max(self.since), |(day, _)| day);
        self.since.days_until(end)
    }

    /// Whether it ended in this way.
    pub fn ended(&self, end: PeriodEnd) -> bool {
        self.end.is_some_and(|(_, own)| own == end)
    }

    /// Whether it ended, and the risk was dealt with.
    pub fn is_resolved(&self) -> bool {
        self.end.is_some_and(|(_, end)| end.is_resolved())
    }
}

impl Audit {
    /// The longest periods at risk, at most this many: the longest first, then the earliest.
    pub fn longest_at_risk(&self, most: usize) -> Vec<&AtRiskPeriod> {
        let mut all: Vec<&AtRiskPeriod> = self.at_risk_periods.iter().collect();
        all.sort_by(|a, b| {
            b.days(self.day).cmp(&a.days(self.day)).then(a.since.cmp(&b.since)).then(a.index.cmp(&b.index))
        });
        all.truncate(most);
        all
    }
}

/// The periods at risk of all targets, by target and time.
pub(super) fn all(loaded: &Loaded, targets: &[TargetAudit], season: &Season) -> Vec<AtRiskPeriod> {
    let mut all = Vec::new();
    for audit in targets {
        let status = &audit.status;
        let id = loaded.record(status.index).id.as_str();
        let recorded = |target: &PastTarget| {
            let limit = Limit { at_least: target.limits.0, at_most: target.limits.1 };
            audit.limits.iter().rfind(|past| same_limit(&past.limit, &limit)).is_some_and(|past| past.recorded)
        };
        let mut since: Option<(Day, &PastTarget)> = None;
        for (point, target) in season.target_over_time(id) {
            let at_risk = target.status == Status::AtRisk;
            match since {
                None if at_risk => since = Some((point.day, target)),
                Some((day, before)) if !at_risk => {
                    let end = match target.status {
                        Status::Met => PeriodEnd::Met,
                        Status::Missed => PeriodEnd::Missed,
                        Status::Uncertain => PeriodEnd::Uncertain,
                        Status::NoValue => PeriodEnd::NoValue,
                        Status::OnTarget | Status::AtRisk if before.limits == target.limits => PeriodEnd::WithinLimit,
                        Status::OnTarget | Status::AtRisk if recorded(target) => PeriodEnd::Revised,
                        Status::OnTarget | Status::AtRisk => PeriodEnd::LimitChanged,
                    };
                    all.push(AtRiskPeriod { index: status.index, since: day, end: Some((point.day, end)) });
                    since = None;
                }
                Some(_) => since = since.map(|(day, _)| (day, target)),
                None => {}
            }
        }
        if let Some((since, _)) = since {
            all.push(AtRiskPeriod { index: status.index, since, end: None });
        }
    }
    all
}
