//! `unused-waiver`: a waiver that accepts nothing.

use super::{Check, Draft, Group, Note, RecordId};
use crate::Loaded;

pub(super) static CHECK: Check = Check {
    name: "unused-waiver",
    group: Group::Waivers,
    levels: [Note; 5],
    reports: "A waiver in force whose check finds nothing on its record.",
    why: "It would hide the next finding of that kind, which nobody has accepted.",
    fix: "Remove it: git keeps what it said.",
    bad_example: "\
waivers:
  late-scale:
    {check: verification-overdue, of: hub, until: 2027-04-01, agreed-by: chief engineer, reason: The scale is lent out.}",
    good_example: "\
# no waiver",
    // Only known once the waivers were applied.
    run: |_, _| {},
};

/// Tells the waivers that accepted nothing.
pub(crate) fn drafts(loaded: &Loaded, unused: &[RecordId]) -> Vec<Draft> {
    let mut reporter = super::Reporter { check: &CHECK, drafts: Vec::new() };
    for &index in unused {
        if let Some((Some(check), Some(on))) = loaded.waiver(index).map(|waiver| (&waiver.check, &waiver.of)) {
            reporter.report(
                index,
                &[],
                format!("there is no finding of {check} on {on} to accept"),
                "remove the waiver",
            );
        }
    }
    reporter.drafts
}
