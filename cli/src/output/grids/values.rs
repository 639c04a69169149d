//! The table of `values`: targets, events, goals and amounts; the sheet of the targets.

use serde_json::Value;
use trace::Study;

use super::{About, spread_limit};
use crate::output::broken::Broken;
use crate::output::grid::{Column, Grid};
use crate::output::values::json;

const COLUMNS: [Column; 19] = [
    ("id", "/id"),
    ("title", "/title"),
    ("of", "/about"),
    ("value", "/value"),
    ("unit", "/unit"),
    ("uncertainty", "/uncertainty"),
    ("low", "/low"),
    ("high", "/high"),
    ("at_least", "/at_least"),
    ("at_most", "/at_most"),
    ("margin", "/margin"),
    ("status", "/status"),
    ("origin", "/origin"),
    ("conformance", "/conformance"),
    ("not_in_parts", "/not_in_parts"),
    ("problem", "/problem"),
    ("lead", "/lead"),
    (super::RECORD, "/record"),
    ("si", "/si"),
];

/// All values, or those of the targets: each in its unit, which is a column.
pub(crate) fn grid(study: &Study, broken: &Broken<'_>, only_targets: bool) -> Grid {
    let mut document = json(study, broken);
    let mut about = About::new(study, !broken.is_empty());
    let loaded = &study.loaded;
    let mut rows: Vec<Value> = document["values"].as_array_mut().map(std::mem::take).unwrap_or_default();
    if only_targets {
        rows.retain(|row| row["id"].as_str().and_then(|id| loaded.target(loaded.find(id)?)).is_some());
    }
    for row in &mut rows {
        spread_limit(row);
        let name = row["id"].as_str().unwrap_or_default().to_owned();
        match loaded.find(&name) {
            Some(index) => about.add(row, index, study.values().record_node(index)),
            None => row["problem"] = about.problem(study.values().named(&name)),
        }
    }
    // A sheet needs no SI beside the unit of the team.
    let columns = if only_targets { &COLUMNS[..COLUMNS.len() - 1] } else { &COLUMNS[..] };
    Grid::of(&rows.iter().collect::<Vec<_>>(), columns)
}
