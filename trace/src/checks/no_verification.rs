//! `no-verification`: a record without a planned verification.

use foldhash::HashSet;

use super::{About, Check, Error, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-verification",
    group: Group::Verification,
    about: About::Records,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A target or requirement without `verify`; a part without `verify` that no target or requirement names \
              under `of`.",
    why: "A target without a planned verification may never be checked. The four methods are test, analysis, inspection and \
          demonstration (NASA Systems Engineering Handbook; ISO/IEC/IEEE 29148).",
    fix: "Add `verify: {by: test, with: the rig or instrument, due: the date}`.",
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
    let verifying = records.clone().filter(|(_, record)| record.kind().roles().verifies_subject);
    let subjects: HashSet<&str> = verifying.filter_map(|(_, record)| record.about().map(schema::Id::as_str)).collect();
    for (index, record) in records {
        let is_subject = subjects.contains(record.id.as_str());
        if record.kind().needs_verification(is_subject) && record.verify().is_none() {
            let message = format!("{} has no verification", record.name());
            reporter.report(index, &["verify"], message, "add `verify: {by: test, with: ..., due: ...}`");
        }
    }
}
