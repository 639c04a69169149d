//! `expired-waiver`: a waiver whose day has passed.

use super::{Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "expired-waiver",
    group: Group::Waivers,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A waiver whose last day has passed.",
    why: "The finding was accepted until then and no longer; it counts again.",
    fix: "Mend the finding and remove the waiver, or agree on another day and write it down.",
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
            (Some(check), Some(on)) => format!("{check} on {on} was accepted until {until}"),
            _ => format!("it held until {until}"),
        };
        reporter.report(index, &["until"], message, "mend the finding and remove the waiver, or agree on another day");
    }
}
