//! The sheet of the parts: each amount of one piece in the unit that most parts use, so that an import reads it back.

use schema::records::Part;
use trace::parts_table::AmountColumns;
use trace::{Error, Study};

use super::About;
use crate::output::grid::{Cell, Grid};

/// The most cells of the sheet: every part has one for each amount of any part.
const MOST_CELLS: usize = 2_000_000;

/// The parts, one row each. Heads are `mass [kg]`, `mass ± [kg]` and `mass basis`.
pub(crate) fn grid(study: &Study) -> Result<Grid, Error> {
    let amounts = AmountColumns::of(&study.loaded);
    let mut heads: Vec<String> = ["id", "title", "system", "count"].map(str::to_owned).to_vec();
    for amount in &amounts {
        for unit in &amount.units {
            let in_unit = match unit.unit.to_string() {
                name if name.is_empty() => name,
                name => format!(" [{name}]"),
            };
            heads.push(format!("{}{in_unit}", amount.name));
            heads.extend(unit.has_uncertainty.then(|| format!("{} ±{in_unit}", amount.name)));
        }
        heads.extend(amount.has_basis.then(|| format!("{} basis", amount.name)));
    }
    heads.extend(["safety_critical", "lead", super::RECORD].map(str::to_owned));
    let (parts, columns) = (study.loaded.parts().count(), heads.len());
    if parts.saturating_mul(columns) > MOST_CELLS {
        let error = Error::new(format!("{parts} parts with {columns} columns are too many for the sheet Parts"));
        return Err(error
            .help("the sheet has at most 2,000,000 cells: use the same names and units for the amounts of all parts"));
    }
    let mut about = About::new(study, false);
    let rows = study.loaded.parts().map(|(index, record, part)| {
        let mut row = vec![
            Cell::text(record.id.as_str()),
            Cell::text(part.title.as_deref().unwrap_or_default()),
            Cell::text(part.r#in.as_ref().map(|id| id.as_str()).unwrap_or_default()),
            Cell::Whole(u64::from(part.count.unwrap_or(1))),
        ];
        amounts.iter().for_each(|amount| cells(&mut row, part, amount));
        row.push(Cell::Flag(part.safety_critical));
        row.push(Cell::text(study.graph.lead(index).unwrap_or_default()));
        row.push(about.place_cell(index));
        row
    });
    Ok(Grid { heads, rows: rows.collect() })
}

fn cells(row: &mut Vec<Cell>, part: &Part, columns: &AmountColumns) {
    let own = part.amounts.get(&columns.name);
    for unit in &columns.units {
        let converted = own.and_then(|amount| unit.convert(amount.value.quantity()?));
        row.push(converted.map_or(Cell::Empty, |(value, _)| Cell::Number(value)));
        if unit.has_uncertainty {
            row.push(converted.and_then(|(_, uncertainty)| uncertainty).map_or(Cell::Empty, Cell::Number));
        }
    }
    if columns.has_basis {
        row.push(Cell::text(own.and_then(|amount| amount.basis.as_ref()).map(|id| id.as_str()).unwrap_or_default()));
    }
}
