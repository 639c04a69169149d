//! The table of `budget`: every budget once, with its shares below it.

use std::collections::{BTreeMap, HashSet};

use serde_json::{Value, json};
use trace::Study;

use super::{About, spread_limit};
use crate::output::broken::Broken;
use crate::output::budget::{ShownBudgets, json};
use crate::output::grid::{Column, Grid};

const COLUMNS: [Column; 19] = [
    ("id", "/id"),
    ("budget", "/budget"),
    ("title", "/title"),
    ("of", "/about"),
    ("amount", "/amount"),
    ("value", "/value"),
    ("unit", "/unit"),
    ("uncertainty", "/uncertainty"),
    ("growth", "/growth"),
    ("limit", "/at_most"),
    ("reserve", "/reserve"),
    ("allocated", "/allocated"),
    ("room", "/room"),
    ("over", "/over"),
    ("outside_shares", "/outside"),
    ("not_in_parts", "/not_in_parts"),
    ("problem", "/problem"),
    ("lead", "/lead"),
    (super::RECORD, "/record"),
];

/// The budgets that are shown, each in one row: `budget` is the id of the budget that it is a share of, and empty if it is of
/// none that is shown. The rows without it add up to all that is shown.
pub(crate) fn grid(study: &Study, report: &ShownBudgets<'_>, broken: &Broken<'_>) -> Grid {
    let mut document = json(report, broken);
    let mut about = About::new(study, !broken.is_empty());
    let mut rows = Vec::new();
    let mut add = |mut row: Value, budget: Option<&Value>| {
        spread_limit(&mut row);
        if let Some(budget) = budget {
            row["budget"] = budget["id"].clone();
            if row["unit"].is_null() {
                row["unit"] = budget["unit"].clone();
            }
        }
        if let Some(index) = row["id"].as_str().and_then(|id| study.loaded.find(id)) {
            about.add(&mut row, index, study.values().record_node(index));
        }
        rows.push(row);
    };
    let budgets = document["budgets"].as_array_mut().map(std::mem::take).unwrap_or_default();
    let id_of = |row: &Value| row["id"].as_str().unwrap_or_default().to_owned();
    let mut own: BTreeMap<String, Value> = budgets.iter().map(|budget| (id_of(budget), budget.clone())).collect();
    let shown: HashSet<&str> = budgets.iter().filter_map(|budget| budget["id"].as_str()).collect();
    let is_shown = |id: &Value| id.as_str().is_some_and(|id| shown.contains(id));
    // Those of no other first, each with its shares and theirs below it; shares in a circle come last.
    let (first, rest): (Vec<&Value>, Vec<&Value>) = budgets.iter().partition(|budget| !is_shown(&budget["share_of"]));
    for top in first.into_iter().chain(rest) {
        let mut open: Vec<(Value, Option<Value>)> =
            own.remove(&id_of(top)).map(|row| (row, None)).into_iter().collect();
        while let Some((mut row, budget)) = open.pop() {
            let shares = row["shares"].as_array_mut().map(std::mem::take).unwrap_or_default();
            if row.get("shares").is_some() && shares.is_empty() {
                // Without shares nothing is allocated, and nothing is outside of them.
                row["allocated"] = json!(null);
                row["outside"] = json!(null);
            }
            for share in shares.into_iter().rev() {
                match own.remove(&id_of(&share)) {
                    Some(budget) => open.push((budget, Some(row.clone()))),
                    // A budget that is not shown itself, or was above.
                    None if !is_shown(&share["id"]) => open.push((share, Some(row.clone()))),
                    None => {}
                }
            }
            add(row, budget.as_ref());
        }
    }
    Grid::of(&rows.iter().collect::<Vec<_>>(), &COLUMNS)
}
