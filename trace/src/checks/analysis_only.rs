//! `analysis-only`: a safety-critical record is verified by calculation only.

use std::collections::BTreeMap;

use super::shared::{listed, parts_of};
use super::{About, Check, Error, Group, RecordId, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "analysis-only",
    group: Group::Verification,
    about: About::Records,
    levels: [Warning, Warning, Error, Error, Error],
    reports: "A safety-critical target, requirement or part that is verified by analysis alone.",
    why: "A calculation is only as good as its load cases and assumptions. What people's safety depends on must also \
          be tested, demonstrated or inspected. Check load cases and calculation methods first; contest rules and \
          local regulations take precedence; a qualified person decides.",
    fix: "Add a second verification by test, demonstration or inspection.",
    bad_example: "\
targets:
  upright-safety:
    of: hub
    at-least: 2.0
    safety-critical: true
    verify: {by: analysis, with: finite elements}",
    good_example: "\
targets:
  upright-safety:
    of: hub
    at-least: 2.0
    safety-critical: true
    verify: [{by: analysis, with: finite elements}, {by: test, with: proof load}]",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let help = "add a test, demonstration or inspection; check load cases and calculation methods first; a qualified \
                person decides";
    let mut groups: BTreeMap<RecordId, Vec<RecordId>> = BTreeMap::new();
    for (index, record) in study.loaded.records().filter(|(_, record)| record.safety_critical()) {
        let Some(verify) = study.loaded.verify(index).filter(|verify| verify.value.only_analysis()) else { continue };
        match verify.group {
            Some(group) => groups.entry(group).or_default().push(index),
            None => {
                let message = format!("{} is safety-critical and verified by analysis alone", record.name());
                reporter.report(index, &["verify"], message, help);
            }
        }
    }
    for (group, parts) in groups {
        let (all, list) = (parts_of(study, group, &parts), listed(study, &parts));
        let verb = if parts.len() == 1 { "is" } else { "are" };
        let message = format!("{all} {verb} safety-critical and verified by analysis alone: {list}");
        reporter.report(group, &["for-parts", "verify"], message, help);
    }
}
