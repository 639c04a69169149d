//! `no-estimate`: nothing says what a value is.

use schema::settings::Stage;

use super::{Check, Error, Group, Note, Reporter, Study, Warning};
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "no-estimate",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "From the design stage on, a target without any value; a part that lacks an amount which a budget adds up.",
    why: "A target without a value cannot be seen to slip, and a part that weighs nothing makes a sum that is wrong.",
    fix: "Write an `estimate`, however rough, with its uncertainty, or a formula or an analysis; give the part the \
           amount with its basis, so that growth is added.",
    bad_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m}",
    good_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m, estimate: 30 m ± 2 m}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let loaded = &study.loaded;
    let passed = |index| study.graph.results(index).iter().any(|(_, result)| result.outcome.is_some());
    for standing in study.target_statuses().iter().filter(|_| study.stage >= Stage::Design) {
        // Where a formula or a model has no answer, what it lacks is told.
        let given = standing.value.is_some() || study.values().origin(standing.index) != Origin::None;
        if !given && !passed(standing.index) {
            let message = format!("nothing says what {} will be", loaded.record(standing.index).name());
            reporter.report(
                standing.index,
                &["estimate"],
                message,
                "write an `estimate: VALUE ± UNCERTAINTY`, however rough",
            );
        }
    }
    for (part, amount, budget) in study.values().without_amount(study.budgets()) {
        let whole = &loaded.record(budget).id;
        let message = format!("{} has no {amount}, which {whole} adds up", loaded.record(part).name());
        reporter.report(
            part,
            &["amounts", amount],
            message,
            format!("add `{amount}` to its `amounts`, with its basis"),
        );
    }
}
