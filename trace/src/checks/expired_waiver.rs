//! `expired-waiver`: a waiver that has ended.

use schema::Day;
use schema::records::Waiver;

use super::{About, Check, Error, Group, Reporter, Study, Warning};
use crate::measure::Measure;

pub(crate) const NAME: &str = "expired-waiver";

pub(super) static CHECK: Check = Check {
    name: NAME,
    group: Group::Waivers,
    about: About::Car,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A waiver whose end date has passed.",
    why: "The finding was accepted only until that date; now it counts again.",
    fix: "Fix the finding and remove the waiver, or agree on a new end date and change `until`.",
    bad_example: "\
waivers:
  spare-upright:
    {check: no-verification, of: hub, until: 2027-01-31, agreed-by: chief engineer, reason: The gauge is lent out.}",
    good_example: "\
waivers:
  spare-upright:
    {check: verification-overdue, of: hub, until: 2027-04-30, agreed-by: chief engineer, reason: The gauge is lent out.}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, _, waiver) in study.loaded.waivers() {
        let Some(until) = waiver.until.filter(|until| *until < study.day) else { continue };
        let help = "fix the finding and remove the waiver, or agree on a new end date";
        reporter.report(index, &["until"], message(waiver, until, study.day), help);
        reporter.measured(Measure::days(until.days_until(study.day)));
    }
}

/// The message on a day, which can be before the waiver has ended.
pub(crate) fn message(waiver: &Waiver, until: Day, today: Day) -> String {
    let ended = if until < today { "ended" } else { "ends" };
    match (&waiver.check, &waiver.of) {
        (Some(check), Some(on)) => format!("the waiver for {check} on {on} {ended} on {until}"),
        _ => format!("the waiver {ended} on {until}"),
    }
}
