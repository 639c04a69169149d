//! Spreadsheets as tables of cells: `.xlsx`, `.ods` and `.csv` from bytes. Nothing here reads a file.
//!
//! A spreadsheet is hostile input: the bytes that it decompresses to, its cells and its texts are bounded before they are kept.

mod archive;
mod column;
pub mod decimal;
mod formats;
pub(crate) mod number;
mod ods;
mod text;
mod xlsx;
mod xml;

use schema::settings::imports::{Delimiter, Encoding};

use crate::Error;
pub(crate) use column::{Line, Name, NameColumn};
pub use decimal::Decimal;
pub use text::Format;

/// The largest spreadsheet that is read, in bytes.
pub const LARGEST: u64 = 32 * 1024 * 1024;

/// The largest number of bytes that the parts of a workbook may decompress to.
const LARGEST_UNPACKED: u64 = 64 * 1024 * 1024;

/// The largest number of cells that are kept.
const MOST_CELLS: usize = 400_000;

/// The largest number of bytes of all texts.
const MOST_TEXT: usize = 32 * 1024 * 1024;

/// The largest number of merged cells.
const MOST_MERGED: usize = 20_000;

/// The largest number of sheets of a workbook.
const MOST_SHEETS: usize = 10_000;

/// The largest number of rows and columns, those of `.xlsx`.
const MOST_ROWS: u32 = 1_048_576;
const MOST_COLUMNS: u32 = 16_384;

/// A cell that is not empty.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// A text.
    Text(String),
    /// A number with the digits that the file has, not those that are shown.
    Number(Decimal),
    /// A number that is shown as a percentage: 0.12 for 12 %.
    Percent(Decimal),
    /// A date or a time.
    Date,
    /// True or false.
    Flag(bool),
    /// An error of a formula, for example `#REF!`.
    Error(String),
    /// A formula whose value the file does not have.
    NoValue,
}

impl Cell {
    /// The bytes of its text.
    fn own_text(&self) -> usize {
        match self {
            Self::Text(text) | Self::Error(text) => text.len(),
            Self::Number(_) | Self::Percent(_) | Self::Date | Self::Flag(_) | Self::NoValue => 0,
        }
    }

    /// Whether it has a text of blanks only.
    fn is_blank(&self) -> bool {
        matches!(self, Self::Text(text) if number::clean(text).is_empty())
    }

    /// The text of a cell for people, and for names; numbers without zeros at the end.
    pub fn shown(&self) -> String {
        match self {
            Self::Text(text) => text.clone(),
            Self::Number(number) | Self::Percent(number) => number.without_zeros().to_string(),
            Self::Date => "a date".to_owned(),
            Self::Flag(flag) => flag.to_string(),
            Self::Error(error) => error.clone(),
            Self::NoValue => "a formula without a value".to_owned(),
        }
    }
}

/// A row that has cells.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Row {
    /// The number of the row, as the spreadsheet counts: from 1. In a `.csv` file the line.
    pub number: u32,
    /// The cells that are not empty, by column from 0, in order.
    pub cells: Vec<(u32, Cell)>,
}

impl Row {
    /// The cell of a column.
    pub fn cell(&self, column: u32) -> Option<&Cell> {
        let at = self.cells.binary_search_by_key(&column, |(column, _)| *column).ok()?;
        Some(&self.cells[at].1)
    }
}

/// A block of merged cells, with the rows counted from 1 and the columns from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Merged {
    rows: (u32, u32),
    columns: (u32, u32),
}

/// A sheet.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// The rows that have cells, in order.
    pub rows: Vec<Row>,
    /// What was found out about a `.csv` file.
    pub format: Option<Format>,
    /// The name of the sheet of a workbook.
    pub sheet: Option<String>,
    /// The names of all sheets of a workbook.
    pub sheets: Vec<String>,
    merged: Vec<Merged>,
    /// The units that formats show beside numbers, by row and column, in order.
    units: Vec<((u32, u32), String)>,
    cells: usize,
    text: usize,
}

impl Table {
    /// A row by its number.
    pub(crate) fn row(&self, number: u32) -> Option<&Row> {
        self.rows.binary_search_by_key(&number, |row| row.number).ok().map(|at| &self.rows[at])
    }

    /// The unit that the format of a number shows beside it: `0.0" kg"`.
    pub fn unit(&self, row: u32, column: u32) -> Option<&str> {
        let at = self.units.binary_search_by_key(&(row, column), |(place, _)| *place).ok()?;
        Some(&self.units[at].1)
    }

    /// Whether there is room for some more bytes of text.
    fn room_for(&self, text: usize) -> Result<(), Error> {
        if self.cells <= MOST_CELLS && self.text.saturating_add(text) <= MOST_TEXT {
            return Ok(());
        }
        let help = "import a sheet that has only the bill of materials";
        let why = format!("only {MOST_CELLS} cells and {} MiB of text are read", MOST_TEXT >> 20);
        Err(Error::new("the sheet is too large").because(why).help(help))
    }

    /// Adds a cell; cells come row by row, from left to right.
    fn add(&mut self, row: u32, column: u32, cell: Cell) -> Result<(), Error> {
        self.text += cell.own_text();
        self.room_for(0)?;
        if cell.is_blank() {
            return Ok(());
        }
        self.cells += 1;
        self.room_for(0)?;
        if row > MOST_ROWS || column >= MOST_COLUMNS {
            return Err(damaged(format!("a cell at row {row}, column {}", column.saturating_add(1))));
        }
        match self.rows.last_mut() {
            Some(last) if last.number == row => match last.cells.last() {
                Some((before, _)) if *before >= column => {
                    return Err(damaged(format!("the cells of row {row} are not in order")));
                }
                _ => last.cells.push((column, cell)),
            },
            Some(last) if last.number > row => return Err(damaged(format!("row {row} comes after a later one"))),
            _ => self.rows.push(Row { number: row, cells: vec![(column, cell)] }),
        }
        Ok(())
    }

    fn merge(&mut self, rows: (u32, u32), columns: (u32, u32)) -> Result<(), Error> {
        if rows != (rows.0, rows.0) || columns != (columns.0, columns.0) {
            self.merged.push(Merged { rows, columns });
        }
        if self.merged.len() > MOST_MERGED {
            let why = format!("only {MOST_MERGED} merged cells are read");
            let help = "import a sheet that has only the bill of materials";
            return Err(Error::new("the sheet is too large").because(why).help(help));
        }
        Ok(())
    }
}

/// What is given about a spreadsheet; the rest is found.
#[derive(Clone, Copy, Debug, Default)]
pub struct Given<'g> {
    /// The sheet of a workbook.
    pub sheet: Option<&'g str>,
    /// What separates the cells of a `.csv` file.
    pub delimiter: Option<Delimiter>,
    /// The encoding of a `.csv` file.
    pub encoding: Option<Encoding>,
}

/// Reads a sheet.
///
/// # Errors
/// The file is not a spreadsheet of a known format, is damaged, too large, or has no such sheet.
pub fn read(bytes: &[u8], given: Given<'_>) -> Result<Table, Error> {
    const OLD_WORKBOOK: &[u8] = &[0xd0, 0xcf, 0x11, 0xe0];
    let table = if bytes.starts_with(b"PK") {
        let archive = archive::Archive::open(bytes)?;
        if archive.has("content.xml") { ods::read(archive, given) } else { xlsx::read(archive, given) }
    } else if bytes.starts_with(OLD_WORKBOOK) {
        let why = "it is a workbook of an old format (.xls), or has a password";
        return Err(Error::new("cannot read the spreadsheet").because(why).help("save it as .xlsx without a password"));
    } else {
        text::read(bytes, given)
    }?;
    if table.rows.is_empty() {
        let help =
            if table.sheets.len() > 1 { "name another sheet with `sheet:`" } else { "save it again with its cells" };
        return Err(Error::new("the sheet is empty").help(help));
    }
    Ok(table)
}

/// The name of a column, as the spreadsheet shows it: `A`, `B`, `AA`.
pub fn column_name(column: u32) -> String {
    let mut name = Vec::new();
    let mut rest = column + 1;
    while rest > 0 {
        rest -= 1;
        name.push(char::from(b'A' + (rest % 26) as u8));
        rest /= 26;
    }
    name.iter().rev().collect()
}

/// The error for a file that is not what its format says.
fn damaged(why: impl std::fmt::Display) -> Error {
    Error::new("the spreadsheet is damaged").because(why).help("open it in a spreadsheet program and save it again")
}

/// Whether there is room for one more sheet, and the error if there is none.
fn room_for_sheet(sheets: usize) -> Result<(), Error> {
    if sheets < MOST_SHEETS {
        return Ok(());
    }
    let why = format!("only {MOST_SHEETS} sheets are read");
    Err(Error::new("the workbook is too large").because(why).help("save only the sheet with the bill of materials"))
}

/// The sheet to read, and the error if there is no such sheet.
fn chosen<'n>(names: &'n [String], given: Given<'_>) -> Result<&'n str, Error> {
    let wanted = given.sheet.map(number::clean);
    let found = match &wanted {
        Some(wanted) => names.iter().find(|name| number::clean(name) == *wanted),
        None => names.first(),
    };
    found.map(String::as_str).ok_or_else(|| match wanted {
        Some(wanted) => {
            let otherwise = format!("the sheets are {}", schema::suggest::any_of(names.iter().map(String::as_str)));
            let help = schema::suggest::did_you_mean(&wanted, names.iter().map(String::as_str), &otherwise);
            Error::new(format!("no sheet `{}` in the workbook", schema::words::shorten(&wanted))).help(help)
        }
        None => damaged("the workbook has no sheet"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_named_as_in_spreadsheets() {
        let names = [0, 25, 26, 701, 702, 16_383].map(column_name);
        assert_eq!(names, ["A", "Z", "AA", "ZZ", "AAA", "XFD"]);
    }
}
