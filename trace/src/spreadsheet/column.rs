//! Merged cells along one row or one column, found without looking at all of them for each cell.

use std::cell::RefCell;
use std::rc::Rc;

use super::{Cell, Row, Table, number};

/// The number of characters of a name that count.
const LONGEST_NAME: usize = 500;

/// The cells of a row or a column, in which a merged cell counts for all that it covers.
#[derive(Debug)]
pub(crate) struct Line<'t> {
    table: &'t Table,
    /// The first and the last position that a merged cell covers, and the row and column that have its content; in order, and
    /// apart from each other.
    covered: Vec<(u32, u32, (u32, u32))>,
}

impl<'t> Line<'t> {
    fn new(table: &'t Table, mut covered: Vec<(u32, u32, (u32, u32))>) -> Self {
        covered.sort_by_key(|(first, ..)| *first);
        // Merged cells do not overlap; of a damaged file the first counts.
        let mut end = None;
        covered.retain(|(first, last, _)| {
            let is_free = end.is_none_or(|end| *first > end);
            end = if is_free { Some(*last) } else { end };
            is_free
        });
        Self { table, covered }
    }

    /// The column of a table.
    pub(crate) fn column(table: &'t Table, column: u32) -> Self {
        let areas = table.merged.iter().filter(|area| (area.columns.0..=area.columns.1).contains(&column));
        Self::new(table, areas.map(|area| (area.rows.0, area.rows.1, (area.rows.0, area.columns.0))).collect())
    }

    /// The row of a table, by its number.
    pub(crate) fn row(table: &'t Table, row: u32) -> Self {
        let areas = table.merged.iter().filter(|area| (area.rows.0..=area.rows.1).contains(&row));
        Self::new(table, areas.map(|area| (area.columns.0, area.columns.1, (area.rows.0, area.columns.0))).collect())
    }

    /// The cell at a row and a column of this line, and the place that has its content; `at` is the position in the line.
    fn cell(&self, row: &'t Row, column: u32, at: u32) -> Option<((u32, u32), &'t Cell)> {
        if let Some(cell) = row.cell(column) {
            return Some(((row.number, column), cell));
        }
        let found = self.covered.partition_point(|(first, ..)| *first <= at).checked_sub(1)?;
        let (_, _, place) = *self.covered.get(found).filter(|(_, last, _)| at <= *last)?;
        Some((place, self.table.row(place.0)?.cell(place.1)?))
    }

    /// The cell of a column of this row.
    pub(crate) fn at_column(&self, row: &'t Row, column: u32) -> Option<&'t Cell> {
        self.cell(row, column, column).map(|(_, cell)| cell)
    }
}

/// A text of a cell that is a name.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Name {
    /// Without characters that cannot be seen.
    pub(crate) text: String,
    /// Also without the difference of upper and lower case.
    pub(crate) folded: String,
}

impl Name {
    /// The name of a text.
    pub(crate) fn of(text: &str) -> Self {
        let text = number::clean(text);
        Self { folded: text.to_lowercase(), text }
    }
}

/// A column of names, in which a merged cell counts for all its rows.
#[derive(Debug)]
pub(crate) struct NameColumn<'t> {
    pub(crate) column: u32,
    line: Line<'t>,
    /// The last name with its place: a merged cell can be long, and cover many rows.
    last: RefCell<Option<Last>>,
}

/// The name of a cell, by its row and column.
#[derive(Debug)]
struct Last {
    place: (u32, u32),
    name: Rc<Name>,
}

impl<'t> NameColumn<'t> {
    /// A column of a table.
    pub(crate) fn new(table: &'t Table, column: u32) -> Self {
        Self { column, line: Line::column(table, column), last: RefCell::new(None) }
    }

    /// The cell of a row.
    pub(crate) fn cell(&self, row: &'t Row) -> Option<&'t Cell> {
        self.line.cell(row, self.column, row.number).map(|(_, cell)| cell)
    }

    /// The name in a row; an empty one without a cell.
    pub(crate) fn name(&self, row: &'t Row) -> Rc<Name> {
        let Some((place, cell)) = self.line.cell(row, self.column, row.number) else { return Rc::default() };
        if let Some(last) = self.last.borrow().as_ref().filter(|last| last.place == place) {
            return Rc::clone(&last.name);
        }
        let start: String = cell.shown().chars().take(LONGEST_NAME).collect();
        let name = Rc::new(Name::of(&start));
        self.last.replace(Some(Last { place, name: Rc::clone(&name) }));
        name
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn merged_cells_count_for_what_they_cover() {
        let mut table = Table::default();
        for (row, column, text) in [(2, 1, "a"), (4, 0, "x"), (5, 1, "b"), (7, 0, "y"), (9, 0, "z")] {
            table.add(row, column, Cell::Text(text.to_owned())).unwrap();
        }
        table.merge((5, 7), (0, 2)).unwrap();
        table.merge((2, 4), (1, 1)).unwrap();
        // It overlaps with the one before it in the column.
        table.merge((6, 9), (1, 1)).unwrap();
        let column = NameColumn::new(&table, 1);
        let names: Vec<String> = table.rows.iter().map(|row| column.name(row).text.clone()).collect();
        // The merged cell of rows 5 to 7 has its content in column 0, which is empty there.
        assert_eq!(names, ["a", "a", "b", "", ""]);
        let line = Line::row(&table, 2);
        assert_eq!(line.at_column(&table.rows[0], 1), Some(&Cell::Text("a".to_owned())));
        assert_eq!(line.at_column(&table.rows[0], 2), None);
    }
}
