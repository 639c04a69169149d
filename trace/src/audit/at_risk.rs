//! Loops: a target that was at risk, and what came of it.

use schema::Day;

use super::season::{PastTarget, Season};
use super::targets::TargetAudit;
use crate::Loaded;
use crate::history::same_limit;
use crate::ids::RecordId;
use crate::values::{Limit, Status};

/// A time during which a target was at risk.
#[derive(Clone, Debug, PartialEq)]
pub struct AtRiskPeriod {
    /// The target's record.
    pub index: RecordId,
    /// The day of the first commit at which it was at risk.
    pub since: Day,
    /// The day of the commit that ended it; none while it is open.
    pub until: Option<Day>,
    /// Did the limit move at its end, rather than the value?
    pub revised: bool,
    /// Did a result end it?
    pub measured: bool,
    /// Where the limit moved: is it on record where it went?
    pub recorded: bool,
}

impl AtRiskPeriod {
    /// A loop is closed by a result, by bringing the value back, or by a revision on record.
    pub fn is_resolved(&self) -> bool {
        self.until.is_some() && (!self.revised || self.recorded)
    }
}

/// The times at risk of every target, by target and time.
pub(super) fn all(loaded: &Loaded, targets: &[TargetAudit], season: &Season) -> Vec<AtRiskPeriod> {
    let mut all = Vec::new();
    for target in targets {
        let status = &target.status;
        let id = loaded.record(status.index).id.as_str();
        let recorded = |course: &PastTarget| {
            let limit = Limit { at_least: course.limits.0, at_most: course.limits.1 };
            target.limits.iter().rfind(|step| same_limit(&step.limit, &limit)).is_some_and(|step| step.recorded)
        };
        let mut since: Option<(Day, &PastTarget)> = None;
        for (moment, course) in season.target_over_time(id) {
            let off = course.status == Status::AtRisk;
            match since {
                None if off => since = Some((moment.day, course)),
                Some((day, before)) if !off => {
                    let measured = matches!(course.status, Status::Met | Status::Missed);
                    let moved = before.limits != course.limits;
                    all.push(AtRiskPeriod {
                        index: status.index,
                        since: day,
                        until: Some(moment.day),
                        revised: moved && !measured,
                        measured,
                        recorded: recorded(course),
                    });
                    since = None;
                }
                Some(_) => since = since.map(|(day, _)| (day, course)),
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
