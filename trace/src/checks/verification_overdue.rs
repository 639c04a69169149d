//! `verification-overdue`: a verification that is due and has no result.

use petgraph::Direction;
use schema::Day;

use super::{About, Check, Error, Group, Reporter, Study, Warning};
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
    for (index, record) in graph.loaded.records() {
        let Some(due) = record.verify().and_then(schema::records::Verify::due) else { continue };
        if due >= study.day || graph.linked(index, Link::Verifies, Direction::Incoming).next().is_some() {
            continue;
        }
        let message = message(record.name(), due, study.day);
        reporter.report(index, &["verify", "due"], message, "add the result, or agree on a new due date");
        reporter.measured(Measure::days(due.days_until(study.day)));
    }
}

/// The message on a day, which can be before the due date.
pub(crate) fn message(name: &str, due: Day, today: Day) -> String {
    let late = due.days_until(today);
    let days = if late.abs() == 1 { "1 day".to_owned() } else { format!("{} days", late.abs()) };
    match late {
        1.. => format!("verification of {name} was due on {due}, {days} ago"),
        0 => format!("verification of {name} is due on {due}, today"),
        _ => format!("verification of {name} is due on {due}, in {days}"),
    }
}
