//! The row of the column names, and the columns.

use schema::settings::imports::Header;
use schema::suggest;
use schema::words::shorten;

use crate::Error;
use crate::spreadsheet::{Cell, Row, Table, column_name, number};

/// The rows in which column names are looked for.
const ROWS: usize = 200;

/// The columns of a table by their names.
#[derive(Debug)]
pub(super) struct Columns {
    /// The last row of the header.
    pub(super) last: u32,
    /// Each column with the names that it goes by, the fullest first.
    columns: Vec<(u32, Vec<String>)>,
}

impl Columns {
    /// Finds the header that has these columns; it can be given.
    ///
    /// # Errors
    /// A column that is missing or appears twice.
    pub(super) fn find(table: &Table, wanted: &[&str], given: Option<Header>) -> Result<Self, Error> {
        let candidates: Vec<Self> = match given {
            Some(header) => Self::at(table, header.first, header.last).into_iter().collect(),
            None => {
                let rows: Vec<u32> = table.rows.iter().take(ROWS).map(|row| row.number).collect();
                let one = |row: &u32| Self::at(table, *row, *row);
                let two = |row: &u32| Self::at(table, *row, *row + 1);
                rows.iter().filter_map(one).chain(rows.iter().filter_map(two)).collect()
            }
        };
        let found = |columns: &Self| wanted.iter().filter(|name| columns.matching(name).count() == 1).count();
        // The first of those with the most.
        let best = candidates.into_iter().rev().max_by_key(found);
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
    pub(super) fn at(table: &Table, first: u32, last: u32) -> Option<Self> {
        let row = |number: u32| table.rows.iter().find(|row| row.number == number);
        let (top, bottom) = (row(first)?, row(last)?);
        let mut columns = Vec::new();
        let width = [top, bottom].iter().filter_map(|row| row.cells.last()).map(|(column, _)| column + 1).max()?;
        let mut group = String::new();
        for column in 0..width.min(2_000) {
            let text = |row: &Row| match table.cell(row, column) {
                Some(Cell::Text(text)) => number::clean(text),
                Some(cell @ Cell::Number(_)) => cell.shown(),
                _ => String::new(),
            };
            let below = text(bottom);
            let mut names = Vec::new();
            if first != last {
                let own = text(top);
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
        Some(Self { last, columns })
    }

    /// The columns with the fullest name of each.
    pub(super) fn names(&self) -> impl Iterator<Item = (u32, &str)> {
        self.columns.iter().filter_map(|(column, names)| Some((*column, names.first()?.as_str())))
    }

    /// The fullest name of a column.
    pub(super) fn name(&self, column: u32) -> &str {
        self.names().find(|(own, _)| *own == column).map(|(_, name)| name).unwrap_or_default()
    }

    fn matching(&self, name: &str) -> impl Iterator<Item = u32> {
        let wanted = number::clean(name);
        let folded = wanted.to_lowercase();
        // As it is written, or in other case.
        let exact = self.columns.iter().any(|(_, names)| names.contains(&wanted));
        let is_same = move |names: &Vec<String>| match exact {
            true => names.contains(&wanted),
            false => names.iter().any(|name| name.to_lowercase() == folded),
        };
        self.columns.iter().filter(move |(_, names)| is_same(names)).map(|(column, _)| *column)
    }

    /// The column of a name.
    ///
    /// # Errors
    /// There is none, or more than one.
    pub(super) fn get(&self, name: &str) -> Result<u32, Error> {
        let mut found = self.matching(name);
        match (found.next(), found.next()) {
            (Some(column), None) => Ok(column),
            (Some(a), Some(b)) => {
                let [a, b] = [a, b].map(column_name);
                let message = format!("the column `{}` appears twice: {a} and {b}", shorten(name));
                Err(Error::new(message).help("rename one of them; below a merged cell use `GROUP / NAME`"))
            }
            (None, _) => {
                let names = || self.names().map(|(_, name)| name);
                let otherwise = format!("the columns are {}", suggest::any_of(names().take(20)));
                let message = format!("no column `{}` in row {}", shorten(name), self.last);
                Err(Error::new(message).help(suggest::did_you_mean(name, names(), &otherwise)))
            }
        }
    }
}
