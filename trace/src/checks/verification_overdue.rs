//! `verification-overdue`: a verification that is due and has no result.

use std::collections::BTreeMap;

use schema::Day;
use schema::records::Verify;

use super::shared::{listed, parts_of, verified_subjects};
use super::{About, Check, Error, Group, RecordId, Reporter, Study, Warning};
use crate::Loaded;
use crate::measure::Measure;

pub(crate) const NAME: &str = "verification-overdue";

pub(super) static CHECK: Check = Check {
    name: NAME,
    group: Group::Verification,
    about: About::Car,
    levels: [Warning, Warning, Warning, Warning, Error],
    reports: "A verification whose due date has passed, of a record that has no result. If `verify` lists several \
              methods, each of them needs a result of its own: `by` of a result names its method, otherwise it is the \
              first one.",
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
    // Parts with an overdue plan that they inherit, by group: one finding for all of them.
    let mut groups: BTreeMap<RecordId, (Day, Vec<RecordId>)> = BTreeMap::new();
    for (index, record) in graph.loaded.records() {
        let Some(verify) = graph.loaded.verify(index) else { continue };
        if verify.value.due().is_none_or(|due| due >= study.day) {
            continue;
        }
        let open = graph.methods_without_result(index);
        let planned = verify.value.0.iter().filter(|planned| open.contains(&planned.by));
        let overdue = planned.filter_map(|planned| Some((planned.due.filter(|due| *due < study.day)?, planned.by)));
        let Some((due, method)) = overdue.min_by_key(|(due, _)| *due) else { continue };
        match verify.group {
            None => {
                let one_of_many = verify.value.methods().len() > 1;
                let by = if one_of_many { format!(" by {}", method.word()) } else { String::new() };
                let message = format!("verification of {}{by} {}", record.name(), was_due(due, study.day));
                let help = format!("add the result with `by: {}`, or agree on a new due date", method.word());
                reporter.report(index, &["verify", "due"], message, if one_of_many { &help } else { HELP });
                reporter.measured(Measure::days(due.days_until(study.day)));
            }
            Some(group) => {
                let entry = groups.entry(group).or_insert((due, Vec::new()));
                entry.0 = entry.0.min(due);
                entry.1.push(index);
            }
        }
    }
    if groups.is_empty() {
        return;
    }
    let subjects = verified_subjects(study);
    for (group, (due, mut parts)) in groups {
        // A part with a target or requirement of its own is verified by that.
        parts.retain(|part| !subjects.contains(graph.loaded.record(*part).id.as_str()));
        if !parts.is_empty() {
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
