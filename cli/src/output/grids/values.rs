//! The table of `values`: targets, events, goals and amounts; the sheets of the targets and of the amounts.

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

const AMOUNTS: [Column; 10] = [
    ("id", "/id"),
    ("of", "/about"),
    ("value", "/value"),
    ("unit", "/unit"),
    ("uncertainty", "/uncertainty"),
    ("low", "/low"),
    ("high", "/high"),
    ("origin", "/origin"),
    ("not_in_parts", "/not_in_parts"),
    ("problem", "/problem"),
];

/// Which of the values.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Which {
    /// All of them.
    All,
    /// Those of targets.
    Targets,
    /// The amounts: `brakes.cost`.
    Amounts,
}

/// Values: each in its unit, which is a column.
pub(crate) fn grid(study: &Study, broken: &Broken<'_>, which: Which) -> Grid {
    let mut document = json(study, broken);
    let mut about = About::new(study, !broken.is_empty());
    let loaded = &study.loaded;
    let mut rows: Vec<Value> = document["values"].as_array_mut().map(std::mem::take).unwrap_or_default();
    let record = |row: &Value| row["id"].as_str().and_then(|id| loaded.find(id));
    match which {
        Which::All => {}
        Which::Targets => rows.retain(|row| record(row).and_then(|id| loaded.target(id)).is_some()),
        Which::Amounts => rows.retain(|row| record(row).is_none()),
    }
    for row in &mut rows {
        spread_limit(row);
        let name = row["id"].as_str().unwrap_or_default().to_owned();
        match loaded.find(&name) {
            Some(index) => about.add(row, index, study.values().record_node(index)),
            None => row["problem"] = about.problem(study.values().named(&name)),
        }
        // The sheet of the amounts shows whose they are.
        if which == Which::Amounts {
            row["about"] = name.rsplit_once('.').map(|(of, _)| of).into();
        }
    }
    let columns = match which {
        Which::All => &COLUMNS[..],
        // A sheet needs no SI beside the unit of the team.
        Which::Targets => &COLUMNS[..COLUMNS.len() - 1],
        Which::Amounts => &AMOUNTS[..],
    };
    Grid::of(&rows.iter().collect::<Vec<_>>(), columns)
}
