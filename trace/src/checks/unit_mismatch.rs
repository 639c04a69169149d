//! `unit-mismatch`: numbers that cannot be added, compared or used because their units do not match.

use schema::number;
use schema::quantity::{Dimension, Unit};

use super::{ALWAYS_ERROR, About, Check, Group, Reporter, Study, numbers, shared};
use crate::values::{SetProblemKind, ValueProblemKind};

pub(super) static CHECK: Check = Check {
    name: "unit-mismatch",
    group: Group::Values,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A formula, a value or a model input whose dimensions do not match; a difference of temperatures with a limit \
              in °C; a shaft speed in Hz or 1/min; a unit that is also a name in the record.",
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
    report_points(study, reporter);
    report_budgets(study, reporter);
    report_alternatives(study, reporter);
}

/// Reports plans of events and goals that are not in points. They are not counted.
fn report_points(study: &Study, reporter: &mut Reporter) {
    let plans = study.loaded.events().map(|(id, _, event)| (id, "plan", event.plan.as_ref()));
    let goals = study.loaded.goals().map(|(id, _, goal)| (id, "points", goal.points.as_ref()));
    for (id, key, quantity) in plans.chain(goals) {
        let Some(quantity) = quantity.filter(|quantity| quantity.unit().dimension() != Dimension::points()) else {
            continue;
        };
        let message = format!("`{quantity}` is not a number of points");
        let help = format!("use `{} pts`", number::precise(quantity.value()));
        reporter.report(id, &[key], message, help);
    }
}

/// Reports reserves and shares that are not counted because their unit does not match the budget.
fn report_budgets(study: &Study, reporter: &mut Reporter) {
    for budget in study.budgets() {
        let whole = study.loaded.record(budget.index);
        let reserve = study.loaded.target(budget.index).and_then(|target| target.reserve.as_ref());
        if let Some(reserve) = reserve.filter(|_| !budget.reserve_fits) {
            let limit = numbers::limit_text(whole);
            let message = format!("reserve {reserve} is ignored: its unit does not match the limit {limit}");
            reporter.report(budget.index, &["reserve"], message, "give the reserve in the unit of the limit");
        }
        for &share in &budget.misfits {
            let limit = numbers::limit_text(study.loaded.record(share));
            let unit = unit_text(study.values().unit(budget.node));
            let mut message =
                format!("it is not counted as a share of {}: it needs an upper limit in {unit}", whole.id);
            if !limit.is_empty() {
                message.push_str(&format!(", but its limit is {limit}"));
            }
            let help = "use `at-most` with a unit that matches, or remove `share-of`";
            reporter.report(share, &["share-of"], message, help);
        }
    }
}

/// Reports values set by alternatives whose unit does not match the value that they replace.
fn report_alternatives(study: &Study, reporter: &mut Reporter) {
    for (index, route, problem) in shared::set_problems(study, SetProblemKind::Unit) {
        reporter.report(index, &route, problem.message, problem.help);
    }
}

/// A unit for a message; a number without unit has none.
fn unit_text(unit: &Unit) -> String {
    let name = unit.to_string();
    if name.is_empty() { "no unit".to_owned() } else { format!("`{name}`") }
}
