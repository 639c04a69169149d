//! One column of a CSV file, of the rows that have some texts or numbers in other columns.

use schema::records::{Reading, Take};
use schema::words::shorten;

use crate::table::{FIRST, Table, count_rows, is_equal, name_and_unit};
use crate::values::TableError;
use crate::values::tables;

/// The readings of a column.
pub(super) struct Readings {
    /// The numbers, in the order of the rows; empty if only the rows are counted.
    pub(super) numbers: Vec<f64>,
    /// The number of rows that were used.
    pub(super) rows: usize,
    /// The number of rows of the file.
    pub(super) of: usize,
    /// The unit in the first line, as in `time [s]`.
    pub(super) unit: Option<String>,
}

/// The keys below the number, and what is wrong.
type ColumnError = (Vec<String>, TableError);

fn under(key: &str) -> impl Fn(TableError) -> ColumnError {
    move |error| (vec![key.to_owned()], error)
}

/// Reads the column that a record names. `left` are the rows that may still be looked at.
pub(super) fn read(table: &mut Table, reading: &Reading, left: &mut usize) -> Result<Readings, ColumnError> {
    let is_count = reading.take == Some(Take::Count);
    let column = match (reading.column.as_deref(), is_count) {
        (Some(name), _) => Some((table.position(name).map_err(under("column"))?, name)),
        (None, true) => None,
        (None, false) => {
            let headers = table.headers.iter().take(8);
            let names: Vec<String> = headers.map(|header| format!("`{}`", shorten(name_and_unit(header).0))).collect();
            let message = format!("the column with the readings is missing; the first line has {}", names.join(", "));
            return Err(under("from")(TableError::new(None, message, "add `column: NAME`")));
        }
    };
    let mut only: Vec<(usize, &str, &str)> = Vec::new();
    for (name, text) in reading.r#where.iter() {
        let found = table.position(name).map_err(|error| (vec!["where".to_owned(), name.clone()], error))?;
        count_rows(left, table.read_column(found)).map_err(under("from"))?;
        only.push((found, name, text.trim()));
    }
    let unit = column.and_then(|(position, _)| name_and_unit(&table.headers[position]).1.map(str::to_owned));
    let of = table.rows().min(tables::MOST_ROWS);
    let mut all = Readings { numbers: Vec::new(), rows: 0, of, unit };
    // The rows with the text that the fewest rows have; all rows without `where`.
    let fewest = only.iter().map(|(column, _, text)| table.rows_with(*column, text)).min_by_key(ExactSizeIterator::len);
    // Each condition looks at each of them.
    let looks = fewest.as_ref().map_or(of, ExactSizeIterator::len).saturating_mul(only.len().max(1));
    count_rows(left, looks).map_err(under("from"))?;
    let rows = fewest.map_or_else(|| Box::new(0..of) as Box<dyn Iterator<Item = usize>>, |rows| Box::new(rows));
    for row in rows.take_while(|row| *row < of) {
        if !only.iter().all(|(position, _, text)| is_equal(table.cell(row, *position), text)) {
            continue;
        }
        all.rows += 1;
        if let Some((position, name)) = column.filter(|_| !is_count) {
            let number = tables::number(table.cell(row, position), &shorten(name), || table.line(row));
            all.numbers.push(number.map_err(under("column"))?);
        }
    }
    if table.rows() > of {
        return Err(under("from")(tables::too_many_rows(table.line(of))));
    }
    if let Some(error) = &table.error {
        return Err(under("from")(error.clone()));
    }
    match &only[..] {
        _ if all.rows > 0 || is_count => Ok(all),
        [] => Err(under("from")(TableError::new(None, "the table has no rows", "add the readings, one per line"))),
        [..] => {
            let text = |(_, name, text): &(usize, &str, &str)| format!("`{}: {}`", shorten(name), shorten(text));
            let wanted: Vec<String> = only.iter().map(text).collect();
            let mut message = format!("no row has {}", wanted.join(" and "));
            for (column, name, _) in &only {
                // What the column has.
                let first = table.first_cells(*column);
                let cells: Vec<String> = first.iter().map(|cell| format!("`{}`", shorten(cell))).collect();
                let more = if first.len() == FIRST { ", ..." } else { "" };
                if !cells.is_empty() {
                    message.push_str(&format!("; `{}` has {}{more}", shorten(name), cells.join(", ")));
                }
            }
            Err(under("where")(TableError::new(None, message, "correct `where`, or the file")))
        }
    }
}
