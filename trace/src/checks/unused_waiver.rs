//! `unused-waiver`: a waiver that accepts no finding.

use super::{About, Check, Draft, Group, Note, RecordId, Stage};
use crate::Loaded;

pub(super) static CHECK: Check = Check {
    name: "unused-waiver",
    group: Group::Waivers,
    about: About::Records,
    levels: [Note; 5],
    reports: "A valid waiver whose check has no finding for its record.",
    why: "It would hide the next finding of that check, which was not agreed on.",
    fix: "Remove it; its text stays in the git history.",
    bad_example: "\
waivers:
  late-scale:
    {check: verification-overdue, of: hub, until: 2027-04-01, agreed-by: chief engineer, reason: The scale is lent out.}",
    good_example: "\
# no waiver",
    // Known only after the waivers were applied: see `drafts`.
    run: |_, _| {},
};

/// Reports the waivers that accepted no finding.
pub(crate) fn drafts(loaded: &Loaded, stage: Stage, unused: &[RecordId]) -> Vec<Draft> {
    let mut reporter = super::Reporter { check: &CHECK, stage, drafts: Vec::new() };
    for &index in unused {
        if let Some((Some(check), Some(of))) = loaded.waiver(index).map(|waiver| (&waiver.check, &waiver.of)) {
            reporter.report(
                index,
                &[],
                format!("the waiver for {check} on {of} accepts no finding"),
                "remove the waiver",
            );
        }
    }
    reporter.finish()
}
