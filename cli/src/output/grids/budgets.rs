//! The table of `budget`: every budget, with its shares below it.

use serde_json::{Value, json};
use trace::Study;

use super::{About, spread_limit};
use crate::output::broken::Broken;
use crate::output::budget::{Report, json};
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

/// The budgets that are shown: `budget` is the id of the budget that a share is in, and empty for the budget itself.
pub(crate) fn grid(study: &Study, report: &Report<'_>, broken: &Broken<'_>) -> Grid {
    let mut document = json(report, broken);
    let mut about = About::new(study, !broken.is_empty());
    let mut rows = Vec::new();
    let mut add = |mut row: Value, budget: Option<&Value>| {
        spread_limit(&mut row);
        if let Some(budget) = budget {
            row["budget"] = budget["id"].clone();
            row["unit"] = budget["unit"].clone();
        }
        if let Some(index) = row["id"].as_str().and_then(|id| study.loaded.find(id)) {
            about.add(&mut row, index, study.values().record_node(index));
        }
        rows.push(row);
    };
    for mut budget in document["budgets"].as_array_mut().map(std::mem::take).unwrap_or_default() {
        let shares = budget["shares"].as_array_mut().map(std::mem::take).unwrap_or_default();
        if shares.is_empty() {
            // Without shares nothing is allocated, and nothing is outside of them.
            budget["allocated"] = json!(null);
            budget["outside"] = json!(null);
        }
        add(budget.clone(), None);
        shares.into_iter().for_each(|share| add(share, Some(&budget)));
    }
    Grid::of(&rows.iter().collect::<Vec<_>>(), &COLUMNS)
}
