//! The row of the column names, and the columns.

use std::collections::HashMap;

use schema::settings::imports::Header;
use schema::suggest;
use schema::words::shorten;

use crate::Error;
use crate::spreadsheet::{Cell, Line, Name, Row, Table, column_name, number};

/// The rows in which column names are looked for.
const ROWS: usize = 200;

/// The number of columns that can have a name.
const MOST_COLUMNS: u32 = 2_000;

/// The largest number of bytes of the name of a column; a longer text is not a name.
const LONGEST_NAME: usize = 500;

/// The columns of a table by their names.
#[derive(Debug)]
pub(super) struct Columns {
    /// The last row of the header.
    pub(super) last: u32,
    /// Each column with the names that it goes by, the fullest first.
    columns: Vec<(u32, Vec<String>)>,
    /// The columns that have a name as it is written, and without the difference of upper and lower case.
    exact: HashMap<String, Vec<u32>>,
    folded: HashMap<String, Vec<u32>>,
}

impl Columns {
    /// Finds the header that has these columns; it can be given.
    ///
    /// # Errors
    /// A column that is missing or appears twice.
    pub(super) fn find(table: &Table, wanted: &[&str], given: Option<Header>) -> Result<Self, Error> {
        let names: Vec<Name> = wanted.iter().map(|name| Name::of(name)).collect();
        let found = |columns: &Self| names.iter().filter(|name| columns.matching(name).len() == 1).count();
        let mut best: Option<Self> = None;
        match given {
            Some(header) => best = Self::of_rows(table, header.first, header.last),
            None => {
                let rows: Vec<u32> = table.rows.iter().take(ROWS).map(|row| row.number).collect();
                let one = rows.iter().map(|row| (*row, *row));
                // The first of those with the most.
                for (first, last) in one.chain(rows.iter().map(|row| (*row, *row + 1))) {
                    let Some(columns) = Self::of_rows(table, first, last) else { continue };
                    if best.as_ref().is_none_or(|best| found(&columns) > found(best)) {
                        best = Some(columns);
                    }
                }
            }
        }
        let best = best.filter(|best| given.is_some() || found(best) > 0).ok_or_else(|| {
            let row = given.map_or_else(String::new, |header| format!(" in row {}", header.first));
            let columns = suggest::any_of(wanted.iter().copied());
            Error::new(format!("no column names{row}"))
                .because(format!("none of {columns} is in a row of the sheet"))
                .help("correct the names of the columns, or give the row with `header: 3`")
        })?;
        for name in wanted {
            best.get(name)?;
        }
        Ok(best)
    }

    /// The header in one row or two.
    pub(super) fn of_rows(table: &Table, first: u32, last: u32) -> Option<Self> {
        let (top, bottom) = (table.row(first)?, table.row(last)?);
        let lines = [first, last].map(|row| Line::row(table, row));
        let mut columns: Vec<(u32, Vec<String>)> = Vec::new();
        let width = [top, bottom].iter().filter_map(|row| row.cells.last()).map(|(column, _)| column + 1).max()?;
        let mut group = String::new();
        for column in 0..width.min(MOST_COLUMNS) {
            let text = |row: &Row, line: &Line<'_>| match line.at_column(row, column) {
                Some(Cell::Text(text)) if text.len() <= LONGEST_NAME => number::clean(text),
                Some(cell @ Cell::Number(_)) => cell.shown(),
                _ => String::new(),
            };
            let below = text(bottom, &lines[1]);
            let mut names = Vec::new();
            if first != last {
                let own = text(top, &lines[0]);
                // A text table has no merged cells: a name counts for the columns to its right that have none.
                if !own.is_empty() || table.format.is_none() {
                    group = own;
                }
                match (group.is_empty() || group == below, below.is_empty()) {
                    (true, _) => {}
                    (false, true) => names.push(group.clone()),
                    (false, false) => names.push(format!("{group} / {below}")),
                }
            }
            if !below.is_empty() {
                names.push(below);
            }
            if !names.is_empty() {
                columns.push((column, names));
            }
        }
        let (mut exact, mut folded) = (HashMap::<String, Vec<u32>>::new(), HashMap::<String, Vec<u32>>::new());
        for (column, names) in &columns {
            for name in names {
                for (map, name) in [(&mut exact, name.clone()), (&mut folded, name.to_lowercase())] {
                    let own = map.entry(name).or_default();
                    if own.last() != Some(column) {
                        own.push(*column);
                    }
                }
            }
        }
        Some(Self { last, columns, exact, folded })
    }

    /// The columns with the fullest name of each.
    pub(super) fn names(&self) -> impl Iterator<Item = (u32, &str)> {
        self.columns.iter().filter_map(|(column, names)| Some((*column, names.first()?.as_str())))
    }

    /// The fullest name of a column.
    pub(super) fn name(&self, column: u32) -> &str {
        let at = self.columns.binary_search_by_key(&column, |(own, _)| *own).ok();
        at.and_then(|at| self.columns[at].1.first()).map(String::as_str).unwrap_or_default()
    }

    /// The columns of a name: as it is written, otherwise in other case.
    fn matching(&self, name: &Name) -> &[u32] {
        let found = self.exact.get(&name.text).or_else(|| self.folded.get(&name.folded));
        found.map_or(&[], Vec::as_slice)
    }

    /// The column of a name.
    ///
    /// # Errors
    /// There is none, or more than one.
    pub(super) fn get(&self, name: &str) -> Result<u32, Error> {
        match self.matching(&Name::of(name)) {
            [column] => Ok(*column),
            [a, b, ..] => {
                let [a, b] = [*a, *b].map(column_name);
                let message = format!("the column `{}` appears twice: {a} and {b}", shorten(name));
                Err(Error::new(message).help("rename one of them; below a merged cell use `GROUP / NAME`"))
            }
            [] => {
                let names = || self.names().map(|(_, name)| name);
                let otherwise = format!("the columns are {}", suggest::any_of(names().take(20)));
                let message = format!("no column `{}` in row {}", shorten(name), self.last);
                Err(Error::new(message).help(suggest::did_you_mean(name, names(), &otherwise)))
            }
        }
    }
}
