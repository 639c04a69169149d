//! `expired-waiver`: a waiver that has ended.

use super::{About, Check, Error, Group, Reporter, Study, Warning};
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "expired-waiver",
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
        let message = match (&waiver.check, &waiver.of) {
            (Some(check), Some(on)) => format!("the waiver for {check} on {on} ended on {until}"),
            _ => format!("the waiver ended on {until}"),
        };
        let help = "fix the finding and remove the waiver, or agree on a new end date";
        reporter.report(index, &["until"], message, help);
        reporter.measured(Measure::days(until.days_until(study.day)));
    }
}
