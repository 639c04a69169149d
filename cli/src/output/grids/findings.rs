//! The table of `check`: every finding, also those that a waiver accepts.

use trace::{Finding, Loaded};

use crate::output::grid::{Cell, Column, Grid};
use crate::output::json::findings;

const COLUMNS: [Column; 14] = [
    ("level", "/level"),
    ("check", "/check"),
    ("record", "/record"),
    ("field", "/field"),
    ("path", "/path"),
    ("line", "/line"),
    ("column", "/column"),
    ("message", "/message"),
    ("help", "/help"),
    ("measure", "/measure/value"),
    ("unit", "/measure/unit"),
    ("waiver", "/waiver"),
    ("about", "/about"),
    ("fingerprint", "/fingerprint"),
];

/// The findings of a report, in their order; `waiver` is the waiver that accepts one.
pub(crate) fn grid<'f>(list: impl IntoIterator<Item = &'f Finding>, loaded: &Loaded) -> Grid {
    let rows = findings(list, loaded);
    let mut grid = Grid::of(&rows.as_array().into_iter().flatten().collect::<Vec<_>>(), &COLUMNS);
    let places: Vec<usize> = (0..COLUMNS.len()).filter(|at| ["line", "column"].contains(&COLUMNS[*at].0)).collect();
    for row in &mut grid.rows {
        for at in &places {
            if let Cell::Number(number) = row[*at] {
                row[*at] = Cell::Whole(number as u64);
            }
        }
    }
    grid
}
