//! The periods in which targets were at risk, and how they ended.

use schema::Day;

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
    /// The day of the commit that ended it; `None` if it goes on.
    pub until: Option<Day>,
    /// Whether a change of the limit ended it, and not one of the value.
    pub revised: bool,
    /// Whether a result ended it.
    pub measured: bool,
    /// Whether the limit at its end is recorded in a revision.
    pub recorded: bool,
}

impl AtRiskPeriod {
    /// Whether it ended with a result, with a value within the limit, or with a new limit that a revision records.
    pub fn is_resolved(&self) -> bool {
        self.until.is_some() && (!self.revised || self.recorded)
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
                    let measured = matches!(target.status, Status::Met | Status::Missed);
                    let limit_changed = before.limits != target.limits;
                    all.push(AtRiskPeriod {
                        index: status.index,
                        since: day,
                        until: Some(point.day),
                        revised: limit_changed && !measured,
                        measured,
                        recorded: recorded(target),
                    });
                    since = None;
                }
                Some(_) => since = since.map(|(day, _)| (day, target)),
                None => {}
            }
        }
        if let Some((since, _)) = since {
            all.push(AtRiskPeriod {
                index: status.index,
                since,
                until: None,
                revised: false,
                measured: false,
                recorded: false,
            });
        }
    }
    all
}
