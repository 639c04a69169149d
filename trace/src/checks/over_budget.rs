//! `over-budget`: a total is over its limit.

use schema::quantity::Unit;
use schema::{number, records::LimitStyle};

use super::{About, Check, Error, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;
use crate::values::Origin;

pub(super) static CHECK: Check = Check {
    name: "over-budget",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Warning, Warning, Warning, Error],
    reports: "A target whose total over its parts, with their counts and growth allowances, is over its limit.",
    why: "What one section uses too much is missing in another, and the later this is found, the more the fix costs.",
    fix: "Run `tierod budget` to see which shares have room, and agree on a transfer or a new limit, with `tierod \
            revise` for each limit that changes. Do not make a part lighter only to meet a budget: check load cases and \
            calculation methods first; contest rules and local regulations take precedence; a qualified person \
            decides.",
    bad_example: "\
targets:
  suspension-mass: {of: suspension, at-most: 2 kg, total: mass}
parts:
  upright: {in: suspension, count: 2, amounts: {mass: {value: 0.9 kg, basis: estimated}}}",
    good_example: "\
targets:
  suspension-mass: {of: suspension, at-most: 2 kg, total: mass}
parts:
  upright: {in: suspension, count: 2, amounts: {mass: {value: 0.9 kg, basis: weighed}}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let values = study.values();
    for budget in study.budgets().iter().filter(|budget| values.origin(budget.index) == Origin::Total) {
        let (Some(by), Some(total)) = (budget.over(), budget.value) else { continue };
        let Some(target) = study.loaded.target(budget.index) else { continue };
        let unit = values.unit(budget.node);
        let growth = budget.growth.filter(|growth| *growth > 0.0);
        let growth = growth.map(|growth| format!(" (including {} growth allowance)", show_part(unit, growth, total)));
        let limit = match &target.at_most {
            Some(limit) => limit.to_string(),
            None => target.limit_text(LimitStyle::Words),
        };
        let message = format!(
            "{} totals {}{}, {} over its limit of {limit}",
            study.loaded.record(budget.index).name(),
            show_total(unit, total, by),
            growth.unwrap_or_default(),
            show_part(unit, by, total),
        );
        let amount = budget.amount.as_deref().unwrap_or_default();
        let help = format!(
            "run `tierod budget {amount}` to see which shares have room, or agree on a new limit (`tierod revise`)"
        );
        reporter.report(budget.index, &[], message, help);
        reporter.measured(Measure::of(by, total, unit));
    }
}

/// A part of a total (both in SI) with as many decimals as the total has, so that the numbers of one message have the
/// same precision. A part that would round to zero has one significant digit.
pub(super) fn show_part(unit: &Unit, part: f64, total: f64) -> String {
    let decimals = |si: f64, digits: i32| number::decimals(si / unit.factor(), digits, 7);
    unit.after(&number::rounded(part / unit.factor(), decimals(total, 4).max(decimals(part, 1))))
}

/// A total with the decimals that a part of it is shown with by [`show_part`].
pub(super) fn show_total(unit: &Unit, total: f64, part: f64) -> String {
    let decimals = |si: f64, digits: i32| number::decimals(si / unit.factor(), digits, 7);
    unit.after(&number::rounded(total / unit.factor(), decimals(total, 4).max(decimals(part, 1))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_total_shows_the_digits_of_what_is_over() {
        let unit = Unit::parse("kg").unwrap();
        assert_eq!(show_total(&unit, 52.548, 0.048), "52.55 kg");
        assert_eq!(show_total(&unit, 205.03, 0.03), "205.03 kg");
    }

    #[test]
    fn a_part_has_the_precision_of_the_total() {
        let unit = Unit::parse("kg").unwrap();
        for (part, total, text) in [
            (1.088, 52.548, "1.09 kg"),
            (0.048, 52.548, "0.05 kg"),
            (0.004, 52.548, "0.004 kg"),
            (0.1, 202.34, "0.1 kg"),
            (12.6, 18_015.0, "13 kg"),
        ] {
            assert_eq!(show_part(&unit, part, total), text);
        }
    }
}
