//! How good the estimates were that have a result by now.

use schema::number;
use serde_json::{Value, json};
use trace::audit::groups;

use super::PageView;
use crate::output::numbers::percent;

/// The estimates with a result, by quantity and basis, the most pairs first.
pub(super) fn section(view: &PageView<'_>) -> Value {
    let share = |value: Option<f64>| value.map(|value| number::percent(value, 1));
    let mut groups = groups(&view.audit.pairs);
    groups.sort_by_key(|group| std::cmp::Reverse(group.size));
    let rows: Vec<Value> = groups
        .iter()
        .map(|group| {
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
        })
        .collect();
    let (inside, all) = view.audit.inside;
    let scored = view.audit.goals.iter().filter_map(|goal| {
        let (predicted, scored) = (goal.predicted?, goal.scored()?);
        let by = number::signed(number::shown_change(predicted, scored, 1), 1);
        Some(format!("{predicted:.1} points predicted before the contest, {scored:.1} scored ({by})"))
    });
    json!({
        "points": scored.collect::<Vec<_>>(),
        "rows": rows,
        "inside": (all > 0).then(|| format!("{inside} of {all} results are inside the interval of their estimate")),
    })
}
