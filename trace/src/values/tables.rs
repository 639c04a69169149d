//! CSV tables: inputs of models, and past standings.

use std::fmt;

use schema::read::Problem;
use schema::suggest;
use schema::words::shorten;

/// The largest number of rows that are used of a table.
pub(crate) const MOST_ROWS: usize = 100_000;

/// The largest number of rows of a table that a model calculates with.
pub(crate) const MOST_ROWS_OF_MODELS: usize = 5_000;

/// The largest number of columns of a table.
const MOST_COLUMNS: usize = 20_000;

/// The largest number of columns that a message about a missing one looks at.
const MOST_COMPARED: usize = 300;

/// Why a table cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct TableError {
    /// The line, from 1; `None` for the whole file.
    line: Option<usize>,
    /// What is wrong.
    message: String,
    /// How to fix it.
    pub(crate) help: String,
}

impl TableError {
    pub(crate) fn new(line: Option<usize>, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { line, message: message.into(), help: help.into() }
    }

    /// A file that is too large or cannot be opened.
    pub(crate) fn of_file(problem: &Problem) -> Self {
        Self::new(None, problem.message.clone(), "use a smaller CSV file with only the columns that are needed")
    }
}

impl fmt::Display for TableError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.message),
            None => f.write_str(&self.message),
        }
    }
}

/// A row of a table.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Row<const N: usize> {
    /// Its line, from 1.
    pub(crate) line: usize,
    /// Its cells.
    pub(crate) cells: [f64; N],
}

impl<const N: usize> Row<N> {
    /// An error in this row.
    pub(crate) fn error(&self, message: &str, help: &str) -> TableError {
        TableError::new(Some(self.line), message, help)
    }
}

/// The rows of a table for a model, which calculates all of them again for each of its inputs.
pub(super) fn for_model(bytes: &[u8], names: [&str; 2]) -> Result<Vec<Row<2>>, TableError> {
    rows(bytes, names, MOST_ROWS_OF_MODELS, |line| {
        let message = format!("the table has more than {MOST_ROWS_OF_MODELS} rows, too many for a model");
        let help = "use fewer rows: longer segments of the track, fewer points of a curve";
        TableError::new(Some(line), message, help)
    })
}

const SAVE_AS: &str = "save the table as CSV with commas between the columns, in UTF-8";

/// The rows of a table to read, and the names of its columns.
pub(crate) fn open(bytes: &[u8]) -> Result<(csv::Reader<&[u8]>, Vec<String>), TableError> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) || bytes.iter().take(4).any(|b| *b == 0) {
        return Err(TableError::new(None, "the text is not UTF-8, but UTF-16 or a binary file", SAVE_AS));
    }
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(bytes);
    let headers = reader.headers().map_err(|error| match error.kind() {
        csv::ErrorKind::Utf8 { .. } => TableError::new(Some(1), "the text is not UTF-8", SAVE_AS),
        _ => TableError::new(Some(1), format!("the first line must contain the column names: {error}"), SAVE_AS),
    })?;
    if headers.len() > MOST_COLUMNS {
        let message = format!("{} columns; the limit is {MOST_COLUMNS}", headers.len());
        return Err(TableError::new(Some(1), message, "use a file with only the columns that are needed"));
    }
    let headers = headers.iter().map(|header| header.trim_start_matches('\u{feff}').trim().to_owned()).collect();
    Ok((reader, headers))
}

/// A row of a table that has as many cells as the first line.
pub(crate) fn row(bytes: &[u8], record: csv::Result<csv::StringRecord>) -> Result<csv::StringRecord, TableError> {
    record.map_err(|error| match error.kind() {
        csv::ErrorKind::UnequalLengths { pos, expected_len, len } => TableError::new(
            Some(line(bytes, pos.as_ref())),
            format!("expected {expected_len} cells, found {len}"),
            "write as many cells as the first line has columns; a comma in a number is a point, as in 3.5",
        ),
        csv::ErrorKind::Utf8 { pos, .. } => {
            TableError::new(Some(line(bytes, pos.as_ref())), "the text is not UTF-8", SAVE_AS)
        }
        _ => TableError::new(None, error.to_string(), SAVE_AS),
    })
}

/// A table with more rows than are used, given the line of the first of these.
pub(crate) fn too_many_rows(line: usize) -> TableError {
    let message = format!("the table has more than {MOST_ROWS} rows");
    TableError::new(Some(line), message, "use fewer rows, or split the table")
}

/// The number of a cell.
pub(crate) fn number(text: &str, name: &str, line: impl FnOnce() -> usize) -> Result<f64, TableError> {
    let number = text.parse().ok().filter(|number: &f64| number.is_finite());
    number.ok_or_else(|| not_a_number(line(), text, name))
}

/// Some columns of a CSV table by name, as numbers.
///
/// # Errors
/// The invalid line and what is wrong with it, or a missing column with those that were found.
pub(crate) fn columns<const N: usize>(bytes: &[u8], names: [&str; N]) -> Result<Vec<Row<N>>, TableError> {
    rows(bytes, names, MOST_ROWS, too_many_rows)
}

/// The same for so many rows; the error is made from the line of the next one.
fn rows<const N: usize>(
    bytes: &[u8],
    names: [&str; N],
    most: usize,
    too_many: impl Fn(usize) -> TableError,
) -> Result<Vec<Row<N>>, TableError> {
    let (mut reader, headers) = open(bytes)?;
    let mut positions = [0; N];
    for (position, name) in positions.iter_mut().zip(names) {
        let Some(found) = headers.iter().position(|header| header == name) else {
            return Err(missing_column(headers.iter().map(String::as_str), name));
        };
        *position = found;
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = row(bytes, record)?;
        if rows.len() == most {
            return Err(too_many(line(bytes, record.position())));
        }
        let mut cells = [0.0; N];
        for ((cell, position), name) in cells.iter_mut().zip(positions).zip(names) {
            *cell = number(record.get(position).unwrap_or(""), name, || line(bytes, record.position()))?;
        }
        rows.push((record.position().map_or(0, csv::Position::byte), cells));
    }
    Ok(with_lines(bytes, rows))
}

/// The rows with their lines.
fn with_lines<const N: usize>(bytes: &[u8], rows: Vec<(u64, [f64; N])>) -> Vec<Row<N>> {
    let lines = lines(bytes, rows.iter().map(|(byte, _)| *byte));
    lines.into_iter().zip(rows).map(|(line, (_, cells))| Row { line: line as usize, cells }).collect()
}

/// The lines of rows, from 1, given where each begins. The file is counted once, from the top.
pub(crate) fn lines(bytes: &[u8], starts: impl IntoIterator<Item = u64>) -> Vec<u32> {
    let (mut at, mut line) = (0, 1);
    let of = |byte: u64| {
        let start = usize::try_from(byte).unwrap_or(0).clamp(at, bytes.len());
        line += line_ends(&bytes[at..start]);
        at = start;
        (line + skipped(&bytes[at..])) as u32
    };
    starts.into_iter().map(of).collect()
}

pub(crate) fn missing_column<'h>(headers: impl ExactSizeIterator<Item = &'h str>, name: &str) -> TableError {
    let count = headers.len();
    let headers: Vec<&str> = headers.take(MOST_COMPARED).collect();
    let found: Vec<String> = headers.iter().take(8).map(|header| format!("`{}`", shorten(header))).collect();
    let more = if count > found.len() { ", ..." } else { "" };
    let message = match headers[..] {
        [] => format!("the table has no column `{name}`: it is empty"),
        _ => format!("the table has no column `{name}`; the first line has {}{more}", found.join(", ")),
    };
    let separator = |sign: char| headers.len() == 1 && headers.iter().any(|header| header.contains(sign));
    let help = if separator(';') {
        "separate the columns with commas, not with `;`".to_owned()
    } else if separator('\t') {
        "separate the columns with commas, not with tabs".to_owned()
    } else if headers.iter().any(|header| header.parse::<f64>().is_ok()) {
        format!("the first line must contain the column names: add a line with `{name}` and the others")
    } else if let Some(near) = suggest::nearest(name, headers.iter().copied()) {
        format!("rename the column `{}` to `{name}`, or name it in the record", shorten(near))
    } else {
        format!("add the column `{name}`, or name the column in the record")
    };
    TableError::new(Some(1), message, help)
}

fn not_a_number(line: usize, text: &str, name: &str) -> TableError {
    let message = if text.is_empty() {
        format!("the cell under `{name}` is empty")
    } else {
        format!("`{}` under `{name}` is not a number", shorten(text))
    };
    let with_point = text.replace(',', ".");
    let help = if text.contains(',') && with_point.parse::<f64>().is_ok() {
        format!("write a decimal point: {with_point}")
    } else if text.split_whitespace().next().is_some_and(|word| word.parse::<f64>().is_ok()) {
        "write the number alone, without a unit".to_owned()
    } else {
        "write a number, or remove the row; a line that begins with `#` is ignored".to_owned()
    };
    TableError::new(Some(line), message, help)
}

/// The line of a record, counted from 1. The reader gives its position before the comments and empty lines above it.
fn line(bytes: &[u8], position: Option<&csv::Position>) -> usize {
    let start = position.and_then(|position| usize::try_from(position.byte()).ok()).unwrap_or(0).min(bytes.len());
    1 + line_ends(&bytes[..start]) + skipped(&bytes[start..])
}

fn line_ends(text: &[u8]) -> usize {
    text.iter().filter(|byte| **byte == b'\n').count()
}

/// The number of comments and empty lines at the beginning.
fn skipped(text: &[u8]) -> usize {
    let lines = text.split_inclusive(|byte| *byte == b'\n');
    lines.take_while(|line| line.starts_with(b"#") || matches!(line, [b'\n'] | [b'\r', b'\n'])).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_has_a_limit_of_columns() {
        let read = |count: usize| {
            let line = |first: &str| format!("{first}{}\n", ",1".repeat(count - 1));
            let text = line("x") + &line("2");
            columns(text.as_bytes(), ["x"]).map(|rows| rows.len()).map_err(|error| error.to_string())
        };
        assert_eq!(read(MOST_COLUMNS), Ok(1));
        assert_eq!(read(MOST_COLUMNS + 1), Err("line 1: 20001 columns; the limit is 20000".to_owned()));
    }

    #[test]
    fn a_missing_column_is_compared_with_the_first_ones() {
        let names: Vec<String> = (0..1_000).map(|number| format!("column-{number}")).collect();
        let help = |name: &str| missing_column(names.iter().map(String::as_str), name).help;
        assert!(help("colum-7").contains("rename the column `column-7`"));
        let error = missing_column(names.iter().map(String::as_str), "x");
        assert!(error.to_string().ends_with("`column-7`, ..."), "{error}");
    }
}
