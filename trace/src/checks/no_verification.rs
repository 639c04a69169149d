//! `no-verification`: nothing says how it will be shown.

use foldhash::HashSet;
use schema::Kind;

use super::{Check, Error, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-verification",
    group: Group::Verification,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A target or requirement without `verify`; a part without it that no target or requirement is about.",
    why: "A target that nobody plans to measure is a wish. The four methods are test, analysis, inspection and \
          demonstration (NASA Systems Engineering Handbook; ISO/IEC/IEEE 29148).",
    fix: "Add `verify: {by: test, with: the rig or instrument, due: the day}`.",
    bad_example: "\
targets:
  wheel-stiffness:
    of: suspension
    at-least: 2.4 kN*m/deg
    serves: {circle-time: Camber stays within 0.3 deg.}",
    good_example: "\
targets:
  wheel-stiffness:
    of: suspension
    at-least: 2.4 kN*m/deg
    serves: {circle-time: Camber stays within 0.3 deg.}
    verify: {by: test, with: compliance rig, due: 2027-05-01}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let records = study.loaded.records();
    let asked = records.clone().filter(|(_, record)| matches!(record.kind(), Kind::Target | Kind::Requirement));
    let asked_of: HashSet<&str> = asked.filter_map(|(_, record)| record.about().map(schema::Id::as_str)).collect();
    for (index, record) in records {
        let wanted = match record.kind() {
            Kind::Target | Kind::Requirement => true,
            Kind::Part => !asked_of.contains(record.id.as_str()),
            _ => false,
        };
        if wanted && record.verify().is_none() {
            let message = format!("nothing says how {} is verified", record.name());
            reporter.report(index, &["verify"], message, "add `verify: {by: test, with: ..., due: ...}`");
        }
    }
}
