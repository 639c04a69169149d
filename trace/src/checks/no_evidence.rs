//! `no-evidence`: a result without evidence, or an evidence file that is missing.

use schema::words::shorten;

use super::{About, Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-evidence",
    group: Group::Verification,
    about: About::Records,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A result without evidence; a result or an analysis whose evidence file is missing or empty.",
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
        if record.kind().roles().needs_evidence && evidence.is_empty() {
            let help = "list its evidence files under `evidence`";
            reporter.report(index, &["evidence"], format!("{} has no evidence", record.name()), help);
        }
        for path in evidence.iter().filter(|path| !loaded.present.contains(*path)) {
            let message = format!("evidence file missing or empty: `{}`", shorten(path));
            let help = "add the file, or correct its path (relative to the project root)";
            reporter.report(index, &["evidence", path], message, help);
        }
    }
}
