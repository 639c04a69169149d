//! `analysis-only`: a safety-critical record is verified by calculation only.

use super::{About, Check, Error, Group, Reporter, Study, Warning};

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
    for (index, record) in study.loaded.records() {
        if record.safety_critical() && record.verify().is_some_and(schema::records::Verify::only_analysis) {
            let message = format!("{} is safety-critical and verified by analysis alone", record.name());
            let help = "add a test, demonstration or inspection; check load cases and calculation methods first; \
                        a qualified person decides";
            reporter.report(index, &["verify"], message, help);
        }
    }
}
