//! `unit-mismatch`: numbers that cannot be added, compared or used because their units do not match.

use super::{ALWAYS_ERROR, Check, Group, RecordId, Reporter, Study};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "unit-mismatch",
    group: Group::Values,
    levels: ALWAYS_ERROR,
    reports: "A formula, a value or a model input whose dimensions do not match.",
    why: "A sum of metres and seconds has no meaning, and everything calculated from it would be wrong without \
            notice.",
    fix: "The position shown is the character where the dimensions differ. Add the correct unit, or convert the \
            number. Money in another currency needs a rate under `rates` in the settings.",
    bad_example: "\
targets:
  lap-length:
    of: car
    at-most: 900 m
    formula: 12 m/s * 60 s + 5 s",
    good_example: "\
targets:
  lap-length:
    of: car
    at-most: 900 m
    formula: 12 m/s * 60 s + 5 m",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    reporter.report_value_problems(ValueProblemKind::Unit, study);
    let id = |index: RecordId| study.loaded.record(index).id.as_str();
    for budget in study.budgets() {
        if !budget.reserve_fits {
            let message = "the reserve has another dimension than the limit, and is not counted";
            reporter.report(budget.index, &["reserve"], message, "write it in the limit's unit");
        }
        for &share in &budget.misfits {
            let message = format!(
                "it takes no share of {}: its limit has another dimension, or is no upper one",
                id(budget.index)
            );
            reporter.report(
                share,
                &["share-of"],
                message,
                "write `at-most` in the unit of that limit, or remove `share-of`",
            );
        }
    }
    judged_in_another_unit(study, reporter);
}

/// Values that alternatives set, in another dimension than what they replace.
fn judged_in_another_unit(study: &Study, reporter: &mut Reporter) {
    for (index, _, decision) in study.loaded.decisions() {
        for (name, alternative) in decision.alternatives.iter() {
            for (to, quantity) in alternative.sets.iter() {
                let wanted = study.values().named(to.as_str()).map(|node| study.values().dimension(node));
                if wanted.is_some_and(|wanted| wanted != study.values().in_team(quantity).0) {
                    let message = format!("{to} is set to {quantity}, which has another dimension than its value");
                    let route = ["alternatives", name.as_str(), "sets", to.as_str()];
                    reporter.report(index, &route, message, "mend the unit: the alternative weighs nothing until then");
                }
            }
        }
    }
}
