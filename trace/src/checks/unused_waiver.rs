//! `unused-waiver`: a waiver that accepts nothing.

use super::{Check, Draft, Group, Note};
use crate::graph::Graph;

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
pub(crate) fn drafts(graph: &Graph<'_>, unused: &[usize]) -> Vec<Draft> {
    let mut told = super::Told { check: &CHECK, drafts: Vec::new() };
    for &index in unused {
        let record = graph.loaded.record(index);
        if let schema::Body::Waiver(waiver) = &record.body
            && let (Some(check), Some(on)) = (&waiver.check, &waiver.of)
        {
            told.tell(index, &[], format!("there is no finding of {check} on {on} to accept"), "remove the waiver");
        }
    }
    told.drafts
}
