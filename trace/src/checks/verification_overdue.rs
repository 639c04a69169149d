//! `verification-overdue`: a verification that is due and has no result.

use std::collections::BTreeMap;

use petgraph::Direction;
use schema::Day;
use schema::records::Verify;

use super::shared::{listed, parts_of, verified_subjects};
use super::{About, Check, Error, Group, RecordId, Reporter, Study, Warning};
use crate::Loaded;
use crate::graph::Link;
use crate::measure::Measure;

pub(crate) const NAME: &str = "verification-overdue";

pub(super) static CHECK: Check = Check {
    name: NAME,
    group: Group::Verification,
    about: About::Car,
    levels: [Warning, Warning, Warning, Warning, Error],
    reports: "A verification whose due date has passed, of a record that has no result.",
    why: "A late result comes too late to change the car.",
    fix: "Verify it and add the result, or agree on a new due date and change `due` under `verify`.",
    bad_example: "\
targets:
  suspension-mass:
    of: suspension
    at-most: 37 kg
    verify: {by: test, with: bench scale, due: 2026-04-20}",
    good_example: "\
targets:
  suspension-mass:
    of: suspension
    at-most: 37 kg
    verify: {by: test, with: bench scale, due: 2026-04-20}
results:
  weighing: {of: suspension-mass, value: 36.4 kg, date: 2026-04-19, evidence: [chain.yaml]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    let has_result = |index| {
        graph.linked(index, Link::Verifies, Direction::Incoming).any(|result| !graph.lacks_outcome(index, result))
            || graph.is_driven(index)
    };
    // Parts with an overdue plan that they inherit, by group: one finding for all of them.
    let mut groups: BTreeMap<RecordId, Vec<RecordId>> = BTreeMap::new();
    for (index, record) in graph.loaded.records() {
        let Some(verify) = graph.loaded.verify(index) else { continue };
        let Some(due) = verify.value.due().filter(|due| *due < study.day) else { continue };
        match verify.group {
            _ if has_result(index) => {}
            None => {
                let message = format!("verification of {} {}", record.name(), was_due(due, study.day));
                reporter.report(index, &["verify", "due"], message, HELP);
                reporter.measured(Measure::days(due.days_until(study.day)));
            }
            Some(group) if has_result(group) => {}
            Some(group) => groups.entry(group).or_default().push(index),
        }
    }
    if groups.is_empty() {
        return;
    }
    let subjects = verified_subjects(study);
    for (group, mut parts) in groups {
        // A part with a target or requirement of its own is verified by that.
        parts.retain(|part| !subjects.contains(graph.loaded.record(*part).id.as_str()));
        let due = graph.loaded.system(group).and_then(|system| system.for_parts.as_ref()?.verify.as_ref()?.due());
        if let (Some(due), false) = (due, parts.is_empty()) {
            let (all, list) = (parts_of(study, group, &parts), listed(study, &parts));
            let message = format!("verification of {all} {}: {list}", was_due(due, study.day));
            let help = "add a result `of` the system or of each part, or agree on a new due date";
            reporter.report(group, &["for-parts", "verify", "due"], message, help);
            reporter.measured(Measure::days(due.days_until(study.day)));
        }
    }
}

const HELP: &str = "add the result, or agree on a new due date";

/// When a verification is due, seen from a day, which can be before the due date.
pub(crate) fn was_due(due: Day, day: Day) -> String {
    let late = due.days_until(day);
    let days = if late.abs() == 1 { "1 day".to_owned() } else { format!("{} days", late.abs()) };
    match late {
        1.. => format!("was due on {due}, {days} ago"),
        0 => format!("is due on {due}, today"),
        _ => format!("is due on {due}, in {days}"),
    }
}

/// The due date in a record: of its verification, or of the one that its parts inherit.
pub(crate) fn due_date(loaded: &Loaded, record: RecordId) -> Option<Day> {
    let of_parts = || loaded.system(record)?.for_parts.as_ref()?.verify.as_ref()?.due();
    loaded.record(record).verify().and_then(Verify::due).or_else(of_parts)
}
