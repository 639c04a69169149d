//! `no-verification`: a record without a planned verification.

use schema::Kind;

use super::shared::verified_subjects;
use super::{About, Check, Error, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-verification",
    group: Group::Verification,
    about: About::Records,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A target or requirement without `verify`; a part without `verify`, its own or under `for-parts` of its \
              system, that no target or requirement names under `of`.",
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
    let subjects = verified_subjects(study);
    for (index, record) in study.loaded.records() {
        let is_subject = subjects.contains(record.id.as_str());
        // A system that is not known may have a plan for its parts.
        let is_known = || record.kind() != Kind::Part || study.loaded.knows_enclosing(index, &["for-parts"]);
        if record.kind().needs_verification(is_subject) && study.loaded.verify(index).is_none() && is_known() {
            let message = format!("{} has no verification", record.name());
            reporter.report(index, &["verify"], message, "add `verify: {by: test, with: ..., due: ...}`");
        }
    }
}
