//! `missing-key`: a record without a key that its kind requires.

use petgraph::Direction;
use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group, Reporter, Study};
use crate::graph::Link;

pub(super) static CHECK: Check = Check {
    name: "missing-key",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A record without a key that its kind requires; a result without `outcome` that is `of` a requirement, a part or \
              a system: it is not counted.",
    why: "A target without a limit, or a result without a date, cannot be checked. A requirement, a part or a system has no \
          limit, so a number alone is neither a pass nor a fail.",
    fix: "Add the key that the finding names.",
    bad_example: "\
targets:
  car-mass: {of: car}",
    good_example: "\
targets:
  car-mass: {of: car, at-most: 205 kg}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    reporter.report_read_problems(ProblemKind::MissingKey, study);
    let graph = &study.graph;
    for (id, ..) in study.loaded.results() {
        let of = graph.linked(id, Link::Verifies, Direction::Outgoing).next();
        if let Some(of) = of.filter(|of| graph.lacks_outcome(*of, id)) {
            let of = &study.loaded.record(of).id;
            let message = format!("`outcome` is missing: {of} has no limit, so a number is neither a pass nor a fail");
            let help = "replace `value` by `outcome: pass` or `outcome: fail`, and write the number in `notes`";
            reporter.report(id, &["value"], message, help);
        }
    }
}
