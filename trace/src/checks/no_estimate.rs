//! `no-estimate`: a target without a value, or a part without an amount.

use schema::settings::Stage;

use super::{About, Check, Error, Group, Note, Reporter, Study, Warning};
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "no-estimate",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "From the design stage on, a target without any value; a part without an amount that a budget totals.",
    why: "A target without a value can be missed unnoticed, and a part without a mass makes the total too low.",
    fix: "Add an `estimate` with its uncertainty (a rough one is enough), a formula or an analysis. Give the part the \
          amount with its basis, so that the growth allowance is included.",
    bad_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m}",
    good_example: "\
targets:
  brake-distance: {of: car, at-most: 31 m, estimate: 30 m ± 2 m}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let (loaded, stage) = (&study.loaded, reporter.stage);
    let passed = |index| study.graph.results(index).iter().any(|(_, result)| result.outcome.is_some());
    for target in study.target_statuses().iter().filter(|_| stage >= Stage::Design) {
        // If a formula or model gives no value, another check reports why.
        let has_source = target.value.is_some() || study.values().origin(target.index) != Origin::None;
        if !has_source && !passed(target.index) {
            let message = format!("{} has no value", loaded.record(target.index).name());
            let help = "add `estimate: VALUE ± UNCERTAINTY`; a rough one is enough";
            reporter.report(target.index, &["estimate"], message, help);
        }
    }
    let missing = study.values().without_amount(study.budgets());
    for (part, amount, budget) in missing.listed {
        let (part_name, budget_id) = (loaded.record(part).name(), &loaded.record(budget).id);
        let message = format!("{part_name} has no {amount}, so the total of {budget_id} is incomplete");
        let help = format!("add `{amount}` to its `amounts`, with its basis");
        reporter.report(part, &["amounts", amount], message, help);
    }
    if let Some((part, amount, _)) = missing.next {
        let message = format!("{} more amounts of parts are missing, so totals are incomplete", missing.more);
        reporter.report(part, &["amounts", amount], message, "add the amounts that are listed first");
    }
}
