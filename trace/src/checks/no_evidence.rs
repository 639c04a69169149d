//! `no-evidence`: a result without evidence, or an evidence file that is missing.

use schema::words::shorten;

use super::{About, Check, Error, Group, RecordId, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-evidence",
    group: Group::Verification,
    about: About::Records,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A result without evidence, if its value is not read from a file either; a result, an analysis or an alternative whose evidence file is missing \
              or empty.",
    why: "Without the runs, the sheet or the photograph, the result cannot be checked later.",
    fix: "Put the file into the project root, and list its path (relative to the project root) under `evidence`. With \
          `--staged` the file must be staged too. An empty file, or a path outside the project root, does not count.",
    bad_example: "\
results:
  weighing-march: {of: circle-time, value: 5.1 s, date: 2027-03-02}",
    good_example: "\
results:
  weighing-march: {of: circle-time, value: 5.1 s, date: 2027-03-02, evidence: [chain.yaml]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let loaded = &study.loaded;
    for (index, record) in loaded.records() {
        let evidence = record.evidence();
        if record.kind().roles().needs_evidence && evidence.is_empty() && record.body.readings().is_empty() {
            let help = "list its evidence files under `evidence`";
            reporter.report(index, &["evidence"], format!("{} has no evidence", record.name()), help);
        }
        report_missing(study, index, &["evidence"], evidence, reporter);
    }
    for (index, _, decision) in loaded.decisions() {
        for (name, alternative) in decision.alternatives.iter() {
            let route = ["alternatives", name.as_str()];
            report_missing(study, index, &[&route[..], &["evidence"]].concat(), &alternative.evidence, reporter);
            for (to, setting) in alternative.sets.iter() {
                let route = [&route[..], &["sets", to.as_str(), "evidence"]].concat();
                report_missing(study, index, &route, &setting.evidence, reporter);
            }
        }
    }
}

/// Reports the evidence files of a key that are missing or empty.
fn report_missing(study: &Study, index: RecordId, route: &[&str], evidence: &[String], reporter: &mut Reporter) {
    for path in evidence.iter().filter(|path| !study.loaded.present.contains(*path)) {
        let message = format!("evidence file missing or empty: `{}`", shorten(path));
        let help = "add the file, or correct its path (relative to the project root)";
        reporter.report(index, &[route, &[path]].concat(), message, help);
    }
}
