//! A CSV table that is read once for all numbers that are taken of it: its cells, its columns by name, and the rows that have a
//! text in a column.

use std::hash::BuildHasher as _;

use foldhash::HashMap;
use foldhash::fast::FixedState;
use schema::words::shorten;

use crate::values::{TableError, tables};

/// Positions by the hash of what is there, sorted: quick to make, and small. A hash may be that of something else.
#[derive(Debug, Default)]
struct ByHash(Vec<u64>);

impl ByHash {
    fn new(hashes: impl Iterator<Item = u64>) -> Self {
        let mut all: Vec<u64> = hashes.enumerate().map(|(at, hash)| (hash & !0xffff_ffff) | at as u64).collect();
        all.sort_unstable();
        Self(all)
    }

    /// The positions with a hash, in their order.
    fn get(&self, hash: u64) -> impl ExactSizeIterator<Item = usize> {
        let high = |entry: &u64| entry >> 32;
        let first = self.0.partition_point(|entry| high(entry) < hash >> 32);
        let last = first + self.0[first..].partition_point(|entry| high(entry) == hash >> 32);
        self.0[first..last].iter().map(|entry| (entry & 0xffff_ffff) as usize)
    }
}

/// A table: all rows up to the first that cannot be read.
#[derive(Debug)]
pub(crate) struct Table {
    /// The first line.
    pub(crate) headers: Vec<String>,
    whole: ByHash,
    names: ByHash,
    text: String,
    /// The end of each cell in the text, row by row.
    ends: Vec<u32>,
    /// The line of each row, from 1.
    lines: Vec<u32>,
    /// What is wrong with the row after the last one.
    pub(crate) error: Option<TableError>,
    /// Always the same, so that equal files count equally; what collides is counted, too.
    hasher: FixedState,
    /// The columns that were asked for by name.
    positions: HashMap<String, Result<usize, TableError>>,
    /// The rows of each column that was asked for, by what is in it; and the first different cells.
    columns: HashMap<usize, (ByHash, Vec<String>)>,
}

/// The name and the unit of a column, as in `time [s]`.
pub(crate) fn name_and_unit(header: &str) -> (&str, Option<&str>) {
    let split = header.strip_suffix(']').and_then(|rest| rest.split_once('['));
    split.map_or((header, None), |(name, unit)| (name.trim_end(), Some(unit.trim())))
}

impl Table {
    /// Reads a table.
    ///
    /// # Errors
    /// What is wrong with the first line. What is wrong with a row is in the table.
    pub(crate) fn new(bytes: &[u8]) -> Result<Self, TableError> {
        let (mut reader, headers) = tables::open(bytes)?;
        let hasher = FixedState::default();
        let whole = ByHash::new(headers.iter().map(|header| hasher.hash_one(header.as_str())));
        let names = ByHash::new(headers.iter().map(|header| hasher.hash_one(name_and_unit(header).0)));
        let (mut text, mut ends, mut starts, mut error) = (String::new(), Vec::new(), Vec::new(), None);
        for record in reader.records() {
            let record = match tables::row(bytes, record) {
                Ok(record) => record,
                Err(found) => {
                    error = Some(found);
                    break;
                }
            };
            starts.push(record.position().map_or(0, csv::Position::byte));
            for cell in &record {
                text.push_str(cell);
                ends.push(text.len() as u32);
            }
        }
        let lines = tables::lines(bytes, starts);
        let (positions, columns) = (HashMap::default(), HashMap::default());
        Ok(Self { headers, whole, names, text, ends, lines, error, hasher, positions, columns })
    }

    /// The number of rows.
    pub(crate) fn rows(&self) -> usize {
        self.lines.len()
    }

    /// The line of a row, from 1.
    pub(crate) fn line(&self, row: usize) -> usize {
        self.lines[row] as usize
    }

    pub(crate) fn cell(&self, row: usize, column: usize) -> &str {
        let at = row * self.headers.len() + column;
        let start = at.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.text[start as usize..self.ends[at] as usize]
    }

    /// The position of a column: by the whole text of the first line, otherwise by its name without the unit.
    ///
    /// # Errors
    /// If there is none, or more than one.
    pub(crate) fn position(&mut self, name: &str) -> Result<usize, TableError> {
        if let Some(known) = self.positions.get(name) {
            return known.clone();
        }
        let found = self.find_position(name);
        self.positions.insert(name.to_owned(), found.clone());
        found
    }

    fn find_position(&self, name: &str) -> Result<usize, TableError> {
        let hash = self.hasher.hash_one(name);
        let mut found: Vec<usize> = self.whole.get(hash).filter(|at| self.headers[*at] == name).collect();
        if found.is_empty() {
            found = self.names.get(hash).filter(|at| name_and_unit(&self.headers[*at]).0 == name).collect();
        }
        match found[..] {
            [only] => Ok(only),
            [_, ..] => {
                let message = format!("{} columns are named `{}`", found.len(), shorten(name));
                Err(TableError::new(Some(1), message, "give each column a name of its own"))
            }
            [] => {
                let names = self.headers.iter().map(|header| name_and_unit(header).0);
                Err(tables::missing_column(names, &shorten(name)))
            }
        }
    }

    /// The position of the first column with this name.
    ///
    /// # Errors
    /// If there is none.
    pub(crate) fn first_named(&self, name: &str) -> Result<usize, TableError> {
        let found = self.whole.get(self.hasher.hash_one(name)).find(|at| self.headers[*at] == name);
        found.ok_or_else(|| tables::missing_column(self.headers.iter().map(String::as_str), name))
    }

    /// Reads a column, so that its rows are found by what is in them. Returns the number of rows that were looked at.
    pub(crate) fn read_column(&mut self, column: usize) -> usize {
        if self.columns.contains_key(&column) {
            return 0;
        }
        let by_text = ByHash::new((0..self.rows()).map(|row| hash(&self.hasher, self.cell(row, column))));
        let mut first: Vec<String> = Vec::new();
        for row in 0..self.rows() {
            let cell = self.cell(row, column);
            if first.len() < FIRST && !first.iter().any(|own| own == cell) {
                first.push(cell.to_owned());
            }
        }
        self.columns.insert(column, (by_text, first));
        self.rows()
    }

    /// The first [`FIRST`] different cells of a column that was read.
    pub(crate) fn first_cells(&self, column: usize) -> &[String] {
        self.columns.get(&column).map_or(&[], |(_, first)| first)
    }

    /// The rows that may have a text in a column that was read, in their order.
    pub(crate) fn rows_with(&self, column: usize, text: &str) -> impl ExactSizeIterator<Item = usize> + use<'_> {
        let rows = self.columns.get(&column).map_or(&NO_ROWS, |(rows, _)| rows);
        rows.get(hash(&self.hasher, text))
    }
}

static NO_ROWS: ByHash = ByHash(Vec::new());

/// The number of different cells of a column that a message lists.
pub(crate) const FIRST: usize = 5;

/// The largest size of the files whose tables are kept.
const MOST_KEPT: usize = 16 << 20;

/// The largest number of rows that are looked at for all numbers of a state.
pub(crate) const MOST_ROWS_OF_STATE: usize = 10_000_000;

/// The tables that were read last, and how much may still be read.
#[derive(Debug)]
pub(crate) struct Tables {
    kept: HashMap<String, Result<Table, TableError>>,
    /// The size of the files of these.
    size: usize,
    /// The bytes that may still be read.
    bytes: usize,
    /// The rows that may still be looked at.
    rows: usize,
}

impl Tables {
    /// No table yet, of which so many bytes may be read.
    pub(crate) fn new(bytes: usize) -> Self {
        Self { kept: HashMap::default(), size: 0, bytes, rows: MOST_ROWS_OF_STATE }
    }

    /// Whether a table is kept.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.kept.contains_key(name)
    }

    /// Reads a table unless it is kept. Returns whether that was possible.
    pub(crate) fn add(&mut self, name: &str, bytes: &[u8]) -> bool {
        if self.has(name) {
            return true;
        }
        if !self.take_bytes(bytes.len()) {
            return false;
        }
        if self.size + bytes.len() > MOST_KEPT {
            self.kept.clear();
            self.size = 0;
        }
        self.size += bytes.len();
        self.kept.insert(name.to_owned(), Table::new(bytes));
        true
    }

    /// Counts bytes that are read. Returns whether they may be.
    pub(crate) fn take_bytes(&mut self, number: usize) -> bool {
        let left = self.bytes.checked_sub(number);
        self.bytes = left.unwrap_or(self.bytes);
        left.is_some()
    }

    /// A table that is kept, and the rows that may still be looked at.
    ///
    /// # Errors
    /// What is wrong with its first line.
    pub(crate) fn get(&mut self, name: &str) -> Option<Result<(&mut Table, &mut usize), TableError>> {
        let table = self.kept.get_mut(name)?;
        Some(table.as_mut().map(|table| (table, &mut self.rows)).map_err(|error| error.clone()))
    }
}

/// Counts rows that are looked at.
///
/// # Errors
/// If they are too many with those before them.
pub(crate) fn count_rows(left: &mut usize, number: usize) -> Result<(), TableError> {
    match left.checked_sub(number) {
        Some(rest) => {
            *left = rest;
            Ok(())
        }
        None => {
            let message = format!(
                "the numbers of the project need more than {} million rows of tables together",
                MOST_ROWS_OF_STATE / 1_000_000
            );
            let help = "use files with only the rows that are needed, or fewer numbers; see Limits in SECURITY.md";
            Err(TableError::new(None, message, help))
        }
    }
}

/// What the text of a cell is compared by: equal numbers are equal, however they are written.
fn hash(hasher: &FixedState, cell: &str) -> u64 {
    match cell.parse::<f64>() {
        // A negative zero is zero.
        Ok(number) if !number.is_nan() => hasher.hash_one((number + 0.0).to_bits()),
        _ => hasher.hash_one(cell),
    }
}

/// Whether a cell has a text, or the same number.
pub(crate) fn is_equal(cell: &str, text: &str) -> bool {
    let number = |text: &str| text.parse::<f64>().ok();
    cell == text || number(cell).is_some_and(|own| Some(own) == number(text))
}
