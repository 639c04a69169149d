//! One column of a CSV file, of the rows that have some texts or numbers in other columns.

use foldhash::HashMap;
use schema::records::{Reading, Take};
use schema::words::shorten;

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

fn at(key: &str) -> impl Fn(TableError) -> ColumnError {
    move |error| (vec![key.to_owned()], error)
}

/// The name and the unit of a column, as in `time [s]`.
fn name_and_unit(header: &str) -> (&str, Option<&str>) {
    let split = header.strip_suffix(']').and_then(|rest| rest.split_once('['));
    split.map_or((header, None), |(name, unit)| (name.trim_end(), Some(unit.trim())))
}

/// The columns of a file by the whole text of the first line, and by their names without units.
struct Columns<'h> {
    headers: &'h [String],
    whole: HashMap<&'h str, Vec<usize>>,
    names: HashMap<&'h str, Vec<usize>>,
}

impl<'h> Columns<'h> {
    fn new(headers: &'h [String]) -> Self {
        let (mut whole, mut names) = (HashMap::<&str, Vec<usize>>::default(), HashMap::<&str, Vec<usize>>::default());
        for (position, header) in headers.iter().enumerate() {
            whole.entry(header).or_default().push(position);
            names.entry(name_and_unit(header).0).or_default().push(position);
        }
        Self { headers, whole, names }
    }

    /// The position of a column: by the whole text of the first line, otherwise by its name without the unit.
    fn position(&self, name: &str) -> Result<usize, TableError> {
        match self.whole.get(name).or_else(|| self.names.get(name)).map(Vec::as_slice) {
            Some([only]) => Ok(*only),
            Some([_, ..]) => {
                let number = self.whole.get(name).or_else(|| self.names.get(name)).map_or(0, Vec::len);
                let message = format!("{number} columns are named `{}`", shorten(name));
                Err(TableError::new(Some(1), message, "give each column a name of its own"))
            }
            Some([]) | None => {
                let names: Vec<String> = self.headers.iter().map(|header| name_and_unit(header).0.to_owned()).collect();
                Err(tables::missing_column(&names, &shorten(name)))
            }
        }
    }
}

/// Whether a cell has a text, or the same number.
fn is_equal(cell: &str, text: &str) -> bool {
    let number = |text: &str| text.parse::<f64>().ok();
    cell == text || number(cell).is_some_and(|own| Some(own) == number(text))
}

/// Reads the column that a record names.
pub(super) fn read(bytes: &[u8], reading: &Reading) -> Result<Readings, ColumnError> {
    let (mut reader, headers) = tables::open(bytes).map_err(at("from"))?;
    let is_count = reading.take == Some(Take::Count);
    let columns = Columns::new(&headers);
    let column = match (reading.column.as_deref(), is_count) {
        (Some(name), _) => Some((columns.position(name).map_err(at("column"))?, name)),
        (None, true) => None,
        (None, false) => {
            let names: Vec<String> =
                headers.iter().take(8).map(|header| format!("`{}`", shorten(name_and_unit(header).0))).collect();
            let message = format!("the column with the readings is missing; the first line has {}", names.join(", "));
            return Err(at("from")(TableError::new(None, message, "add `column: NAME`")));
        }
    };
    let mut only: Vec<(usize, &str, &str)> = Vec::new();
    for (name, text) in reading.r#where.iter() {
        let found = columns.position(name).map_err(|error| (vec!["where".to_owned(), name.clone()], error))?;
        only.push((found, name, text.trim()));
    }
    let unit = column.and_then(|(position, _)| name_and_unit(&headers[position]).1.map(str::to_owned));
    let mut all = Readings { numbers: Vec::new(), rows: 0, of: 0, unit };
    // What the columns of `where` have, for the message if no row is left.
    let mut seen: Vec<Vec<String>> = vec![Vec::new(); only.len()];
    for record in reader.records() {
        let record = tables::row(bytes, record).map_err(at("from"))?;
        if all.of == tables::MOST_ROWS {
            return Err(at("from")(tables::too_many_rows(bytes, record.position())));
        }
        all.of += 1;
        let cell = |position: usize| record.get(position).unwrap_or("");
        let mut is_used = true;
        for ((position, _, text), seen) in only.iter().zip(&mut seen) {
            is_used &= is_equal(cell(*position), text);
            if seen.len() < 5 && !seen.iter().any(|own| own == cell(*position)) {
                seen.push(cell(*position).to_owned());
            }
        }
        if !is_used {
            continue;
        }
        all.rows += 1;
        if let Some((position, name)) = column.filter(|_| !is_count) {
            let number = tables::number(bytes, record.position(), cell(position), &shorten(name));
            all.numbers.push(number.map_err(at("column"))?);
        }
    }
    match &only[..] {
        _ if all.rows > 0 || is_count => Ok(all),
        [] => Err(at("from")(TableError::new(None, "the table has no rows", "add the readings, one per line"))),
        [..] => {
            let text = |(_, name, text): &(usize, &str, &str)| format!("`{}: {}`", shorten(name), shorten(text));
            let wanted: Vec<String> = only.iter().map(text).collect();
            let mut message = format!("no row has {}", wanted.join(" and "));
            for ((_, name, _), seen) in only.iter().zip(&seen) {
                let cells: Vec<String> = seen.iter().map(|cell| format!("`{}`", shorten(cell))).collect();
                let more = if seen.len() == 5 { ", ..." } else { "" };
                if !cells.is_empty() {
                    message.push_str(&format!("; `{}` has {}{more}", shorten(name), cells.join(", ")));
                }
            }
            Err(at("where")(TableError::new(None, message, "correct `where`, or the file")))
        }
    }
}
