//! What is due until a date: what is an error by then, and what has a date that is reached.

use schema::Day;
use schema::settings::Level;

use crate::Error;
use crate::checks::{expired_waiver, verification_overdue};
use crate::finding::{Finding, Report};
use crate::git::Project;
use crate::measure::Measure;
use crate::study::Study;

/// Checks that compare a date in a record with today.
const DATED: [&str; 2] = [verification_overdue::NAME, expired_waiver::NAME];

/// The findings of a study on a later date, and those of them that are due until then.
#[derive(Debug)]
pub struct Due {
    /// What is due: errors in the stage of that date, and verifications and waivers whose date is reached.
    pub report: Report,
    /// The number of all findings on that date.
    pub all: usize,
}

impl Due {
    /// What is due until the end of a date, if the records stay as they are.
    ///
    /// # Errors
    /// A date before that of the study.
    pub fn until(project: &Project, now: &Study, date: Day) -> Result<Self, Error> {
        if date < now.day {
            let error = Error::new(format!("{date} is before {}, the date that is used as today", now.day));
            return Err(error.help("give a later date for `--due`; `--on` sets the date to use as today"));
        }
        // A date has ended on the next day, but the stage is still that of the date.
        let next = date.date().tomorrow().map_or(date, Day::from);
        let mut then = project.study_on(now, next);
        then.stage = now.settings().stages.stage_on(date);
        let is_due = |finding: &&Finding| finding.level == Level::Error || DATED.contains(&finding.check.name);
        let all = then.report();
        let mut findings: Vec<Finding> = all.findings.iter().filter(is_due).cloned().collect();
        findings.iter_mut().for_each(|finding| date_from(now, next, finding));
        let report = Report { findings, waived: all.waived.clone(), held_back: all.held_back.clone() };
        Ok(Self { report, all: all.findings.len() })
    }
}

/// Words the message of a check that compares dates for the date of the study, not for the later one.
fn date_from(now: &Study, then: Day, finding: &mut Finding) {
    let Some(index) = finding.record.as_deref().and_then(|id| now.loaded.find(id)) else { return };
    if finding.check.name == verification_overdue::NAME
        && let Some(due) = verification_overdue::due_date(&now.loaded, index)
    {
        let [later, today] = [then, now.day].map(|day| verification_overdue::was_due(due, day));
        finding.message = finding.message.replacen(&later, &today, 1);
        finding.measure = days_late(due, now.day);
    } else if finding.check.name == expired_waiver::NAME
        && let Some((waiver, until)) = now.loaded.waiver(index).and_then(|waiver| Some((waiver, waiver.until?)))
    {
        finding.message = expired_waiver::message(waiver, until, now.day);
        finding.measure = days_late(until, now.day);
    }
}

/// How late something is; `None` if it is not late yet.
fn days_late(date: Day, today: Day) -> Option<Measure> {
    Some(date.days_until(today)).filter(|late| *late > 0).map(Measure::days)
}
