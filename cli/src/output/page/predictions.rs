//! How good the estimates were that have a result by now.

use std::collections::HashSet;

use schema::number;
use serde_json::{Value, json};
use trace::audit::{EstimateOf, Group, ScoreCause, groups};

use super::PageView;
use crate::output::numbers::percent;

/// How many points of the difference there are because the car finished or not, which the prediction counts as a chance.
fn chances(view: &PageView<'_>) -> Vec<String> {
    let one = |goal: &trace::audit::GoalScore| {
        let by = goal.split()?.points(ScoreCause::Finish);
        let rest = goal.scored()? - goal.predicted? - by;
        let is_shown = !number::is_shown_as_zero(by, 1);
        let what = if by > 0.0 { "the car finished" } else { "the car did not finish" };
        let [by, rest] = [by, rest].map(|points| number::signed(points, 1));
        is_shown.then(|| format!("{by} points of this difference because {what}, {rest} for all other reasons"))
    };
    view.audit.goals.iter().filter_map(one).collect()
}

/// So many rows are not folded, whatever they are about.
const FEW: usize = 6;

/// The quantities and bases of estimates of targets that are missed, at risk or uncertain.
fn short_targets<'v>(view: &'v PageView<'_>) -> HashSet<(&'v str, &'v str)> {
    let short: HashSet<_> =
        view.study.target_statuses().iter().filter(|own| own.status.is_short()).map(|own| own.index).collect();
    let is_short = |own: &EstimateOf| matches!(own, EstimateOf::Target(target) if short.contains(target));
    let pairs = view.audit.pairs.iter().filter(|pair| is_short(&pair.source));
    pairs.map(|pair| (pair.quantity.as_str(), pair.basis.as_str())).collect()
}

/// Whether the allowance that is used is smaller than the one that was needed, in the digits that are shown.
fn is_small(group: &Group, view: &PageView<'_>) -> bool {
    let used = group.allowance.zip(group.used(view.study.settings()));
    used.is_some_and(|(needed, used)| needed > used && number::percent(needed, 1) != number::percent(used, 1))
}

/// The estimates with a result, by quantity and basis, the most pairs first.
pub(super) fn section(view: &PageView<'_>) -> Value {
    let share = |value: Option<f64>| value.map(|value| number::percent(value, 1));
    let mut groups = groups(&view.audit.pairs);
    groups.sort_by_key(|group| std::cmp::Reverse(group.size));
    let short = short_targets(view);
    let is_first = |group: &Group| {
        let is_about_short = short.contains(&(group.quantity.as_str(), group.basis.as_str()));
        groups.len() <= FEW || is_about_short || is_small(group, view)
    };
    let rows = |wanted: bool| -> Vec<Value> {
        let row = |group: &Group| {
            json!({
                "quantity": group.quantity,
                "basis": group.basis,
                "pairs": group.size,
                "bias": percent(group.bias),
                "spread": share(group.spread),
                "inside": (group.with_interval > 0).then(|| format!("{} of {}", group.inside, group.with_interval)),
                "allowance": share(group.allowance),
                "used": share(group.used(view.study.settings())),
            })
        };
        groups.iter().filter(|group| is_first(group) == wanted).map(row).collect()
    };
    let (inside, all) = view.audit.inside;
    let scored = view.audit.goals.iter().filter_map(|goal| {
        let (predicted, scored) = (goal.predicted?, goal.scored()?);
        let by = number::signed(number::shown_change(predicted, scored, 1), 1);
        Some(format!("{predicted:.1} points predicted before the contest, {scored:.1} scored ({by})"))
    });
    let scored: Vec<String> = scored.collect();
    let too_small = groups.iter().filter(|group| is_small(group, view));
    let too_small: Vec<String> = too_small.map(|group| format!("{} {}", group.quantity, group.basis)).collect();
    json!({
        "none": scored.is_empty(),
        "short": (!too_small.is_empty()).then(|| {
            format!("Allowances that are too small for 9 of 10 parts: {}", too_small.join(", "))
        }),
        "chances": chances(view),
        "points": scored,
        "first": rows(true),
        "rest": rows(false),
        "inside": (all > 0).then(|| format!("{inside} of {all} results of targets are inside the interval of their estimate")),
        "without_row": all.saturating_sub(groups.iter().map(|group| group.with_interval).sum::<usize>()),
    })
}
