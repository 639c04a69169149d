//! `no-evidence`: a result that nothing shows.

use schema::Kind;
use schema::words::shorten;

use super::{Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-evidence",
    group: Group::Verification,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A result without evidence; a result or an analysis whose evidence file is absent or empty.",
    why: "Without the runs, the sheet or the photograph nobody can tell later what was measured.",
    fix: "Put the file into the data root and its path, relative to it, under `evidence`. With --staged the file must \
           be staged too; an empty file and a path out of the data root do not count.",
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
        if record.kind() == Kind::Result && evidence.is_empty() {
            let help = "list the files that show it under `evidence`";
            reporter.report(index, &["evidence"], format!("no file shows {}", record.name()), help);
        }
        for path in evidence.iter().filter(|path| !loaded.present.contains(*path)) {
            let help = "add the file, or mend its path, which is relative to the data root";
            reporter.report(index, &["evidence", path], format!("the evidence `{}` is not there", shorten(path)), help);
        }
    }
}
