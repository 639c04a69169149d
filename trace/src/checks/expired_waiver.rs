//! `expired-waiver`: a waiver whose day has passed.

use super::{Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "expired-waiver",
    group: Group::Waivers,
    levels: [Warning, Warning, Warning, Error, Error],
    finds: "A waiver whose last day has passed.",
    why: "The finding was accepted until then and no longer; it counts again.",
    mend: "Mend the finding and remove the waiver, or agree on another day and write it down.",
    found: "\
waivers:
  spare-upright:
    {check: no-verification, on: hub, until: 2027-01-31, agreed-by: chief engineer, reason: The gauge is lent out.}",
    mended: "\
waivers:
  spare-upright:
    {check: verification-overdue, on: hub, until: 2027-04-30, agreed-by: chief engineer, reason: The gauge is lent out.}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, _, waiver) in study.loaded.waivers() {
        let Some(until) = waiver.until.filter(|until| *until < study.day) else { continue };
        let message = match (&waiver.check, &waiver.on) {
            (Some(check), Some(on)) => format!("{check} on {on} was accepted until {until}"),
            _ => format!("it held until {until}"),
        };
        reporter.report(index, &["until"], message, "mend the finding and remove the waiver, or agree on another day");
    }
}
