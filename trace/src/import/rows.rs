//! Rows as parts, and why the others are skipped.

use std::collections::BTreeMap;

use schema::Id;
use schema::settings::imports::DecimalMark;

use super::cells;
use super::header::Columns;
use super::ids::{has_texts, id_of};
use super::reader::Reader;
use super::subtotals::{Subtotals, word_of_total};
use super::used::Used;
use super::{Skipped, UnreadCell};
use crate::Error;
use crate::load::Loaded;
use crate::spreadsheet::number::clean;
use crate::spreadsheet::{Decimal, Row, Table, column_name};

/// The largest number of cells of amounts: rows times columns.
const MOST_CELLS: usize = 2_000_000;

/// A row that is a part.
#[derive(Debug)]
pub(super) struct Item {
    pub(super) row: u32,
    pub(super) id: Id,
    pub(super) title: Option<String>,
    /// The lead in the sheet.
    pub(super) lead: Option<String>,
    /// Whether people's safety depends on it, if the entry has a column for it.
    pub(super) safety_critical: Option<bool>,
    pub(super) system: Id,
    /// The text of the sheet that names the system, if it has one.
    pub(super) section: Option<String>,
    /// The count, if the entry has a column for it.
    pub(super) count: Option<u32>,
    /// The amounts of one piece, in the order of the entry.
    pub(super) amounts: Vec<Option<ItemAmount>>,
    /// The amounts that its row does not have.
    pub(super) empty: Vec<Empty>,
}

/// A cell of an amount that is empty.
#[derive(Debug)]
pub(super) struct Empty {
    /// Which of the amounts of the entry.
    pub(super) amount: usize,
    pub(super) column: String,
    /// Whether it has a dash.
    pub(super) is_dash: bool,
}

/// The id of a row that is skipped.
#[derive(Debug)]
pub(super) struct SkippedId {
    pub(super) row: u32,
    pub(super) id: String,
    /// What the row has instead of a number of pieces, if it is skipped because of that.
    pub(super) no_pieces: Option<String>,
}

/// An amount of one piece.
#[derive(Clone, Debug)]
pub(super) struct ItemAmount {
    /// As it is in the sheet.
    pub(super) raw: Decimal,
    /// With the margins, as it is written.
    pub(super) value: Decimal,
    /// The uncertainty with the margins, if the entry has a column for it.
    pub(super) uncertainty: Option<Decimal>,
    pub(super) basis: Option<Id>,
}

/// The rows of a sheet.
#[derive(Debug, Default)]
pub(super) struct Rows {
    pub(super) items: Vec<Item>,
    pub(super) skipped: Vec<Skipped>,
    pub(super) unread: Vec<UnreadCell>,
    /// The number of rows whose system is missing and can be added.
    pub(super) without_system: usize,
    /// What the skipped rows have of each amount.
    pub(super) skipped_sums: Vec<Decimal>,
    /// The ids of rows that are skipped because of something else.
    pub(super) skipped_ids: Vec<SkippedId>,
}

/// Reads the rows below the header.
pub(super) fn read(
    table: &Table,
    columns: &Columns,
    used: &Used<'_>,
    given: Option<DecimalMark>,
    loaded: &Loaded,
    adds_systems: bool,
) -> Result<Rows, Error> {
    let below = table.rows.iter().filter(|row| row.number > columns.last);
    check_size(below.clone().count(), used.amounts.len())?;
    let mark = match given {
        Some(mark) => Some(mark),
        None => cells::decimal_mark(table, below.clone(), &used.numbers())?,
    };
    let header = table.row(columns.last);
    let mut rows = Rows { skipped_sums: vec![Decimal::ZERO; used.amounts.len()], ..Rows::default() };
    let mut subtotals = Subtotals::new(used.amounts.len());
    let ids_are_texts = has_texts(below.clone(), used.id);
    for row in below {
        let is_header = header.is_some_and(|header| header.cells == row.cells);
        if is_header {
            rows.skip(row, "the column names again");
            continue;
        }
        let reader = Reader { table, row, used, mark, loaded, adds_systems };
        reader.check_units()?;
        let amounts = reader.amounts();
        let raw: Vec<Option<Decimal>> =
            amounts.iter().map(|read| read.as_ref().ok().and_then(|read| read.as_ref().map(|a| a.raw))).collect();
        let count = reader.count();
        // A row whose count is not known adds nothing to the totals.
        let pieces = match &count {
            Ok(Some(count)) => i64::from(*count),
            Ok(None) => i64::from(used.count.is_none()),
            Err(_) => 0,
        };
        let pieces = Decimal::whole(pieces);
        let id_text = reader.text(used.id);
        let word = row.cells.iter().find_map(|(_, cell)| word_of_total(cell));
        let is_total = match (&word, id_text.is_empty()) {
            (Some(_), true) => true,
            (Some(word), false) => clean(&id_text) == *word && reader.title().is_none(),
            (None, true) => subtotals.is_sum(&raw),
            (None, false) => false,
        };
        if is_total {
            let names: Vec<&str> = used.amounts.iter().map(|amount| amount.entry.column.as_str()).collect();
            rows.skip(row, subtotals.reason(word.as_deref(), &raw, &names));
            subtotals.close();
            continue;
        }
        if id_text.is_empty() && raw.iter().all(Option::is_none) && count.as_ref().is_ok_and(Option::is_none) {
            // A heading of a section has a text; a row that is empty in all used columns is none of the parts.
            rows.skip(row, "no part number and no amounts");
            continue;
        }
        let with_margins: Vec<Option<Decimal>> =
            amounts.iter().map(|read| read.as_ref().ok().and_then(|read| read.as_ref().map(|a| a.value))).collect();
        subtotals.add(&raw, &with_margins, pieces);
        let item = reader.item(ids_are_texts, &count);
        match item {
            Ok(mut item) => {
                let is_read: Vec<bool> = amounts.iter().map(|read| !matches!(read, Ok(None))).collect();
                for (at, (read, amount)) in amounts.into_iter().zip(&used.amounts).enumerate() {
                    // Of several columns of an amount one is enough; without any, the first counts as empty.
                    let is_other = amount.others.iter().any(|other| is_read[*other] || *other < at);
                    if !is_read[at] && !is_other {
                        let (column, is_dash) = (column_name(amount.column), row.cell(amount.column).is_some());
                        item.empty.push(Empty { amount: at, column, is_dash });
                    }
                    let read = read.unwrap_or_else(|reason| {
                        rows.unread.push(UnreadCell {
                            row: row.number,
                            column: column_name(amount.column),
                            id: Some(item.id.to_string()),
                            reason: format!("`{}`: {reason}", amount.entry.column),
                        });
                        None
                    });
                    item.amounts.push(read);
                }
                rows.unread.extend(reader.bases(&mut item));
                rows.items.push(item);
            }
            Err(reason) => {
                let is_zero = reader.has_no_pieces();
                rows.without_system += usize::from(reader.needs_system());
                rows.skipped.push(Skipped { row: row.number, reason, is_part: !is_zero });
                rows.add_skipped(&raw, pieces)?;
                let no_pieces = reader.no_pieces(&count);
                rows.skipped_ids.extend(id_of(&id_text).map(|id| SkippedId { row: row.number, id, no_pieces }));
            }
        }
    }
    rows.skip_doubles()?;
    Ok(rows)
}

/// Refuses a sheet whose amounts need much memory: several of an entry may name one column.
fn check_size(rows: usize, amounts: usize) -> Result<(), Error> {
    if rows.saturating_mul(amounts) <= MOST_CELLS {
        return Ok(());
    }
    let why = format!("it has {rows} rows with {amounts} columns of amounts, an import may have {MOST_CELLS} cells");
    let help = "import the sheets of its assemblies one by one; nothing was written";
    Err(Error::new("the sheet has too many cells of amounts").because(why).help(help))
}

impl Rows {
    fn skip(&mut self, row: &Row, reason: impl Into<String>) {
        self.skipped.push(Skipped { row: row.number, reason: reason.into(), is_part: false });
    }

    fn add_skipped(&mut self, raw: &[Option<Decimal>], pieces: Decimal) -> Result<(), Error> {
        for (sum, raw) in self.skipped_sums.iter_mut().zip(raw) {
            if let Some(raw) = raw {
                *sum = raw.times(pieces).and_then(|all| sum.plus(all)).ok_or_else(super::too_large)?;
            }
        }
        Ok(())
    }

    /// Skips all rows of a part number that comes more than once: which of them counts is not known.
    fn skip_doubles(&mut self) -> Result<(), Error> {
        let mut by_id: BTreeMap<String, Vec<u32>> = BTreeMap::new();
        for item in &self.items {
            by_id.entry(item.id.to_string()).or_default().push(item.row);
        }
        by_id.retain(|_, rows| rows.len() > 1);
        let (doubles, items) = std::mem::take(&mut self.items)
            .into_iter()
            .partition::<Vec<Item>, _>(|i| by_id.contains_key(i.id.as_str()));
        self.items = items;
        for item in doubles {
            let others: Vec<String> =
                by_id[item.id.as_str()].iter().filter(|row| **row != item.row).take(5).map(u32::to_string).collect();
            let reason = format!("`{}` is also in row {}: none of them is written", item.id, others.join(", "));
            self.skipped.push(Skipped { row: item.row, reason, is_part: true });
            let raw: Vec<Option<Decimal>> = item.amounts.iter().map(|a| a.as_ref().map(|a| a.raw)).collect();
            self.add_skipped(&raw, Decimal::whole(i64::from(item.count.unwrap_or(1))))?;
            self.skipped_ids.push(SkippedId { row: item.row, id: item.id.to_string(), no_pieces: None });
        }
        self.skipped.sort_by_key(|skipped| skipped.row);
        Ok(())
    }
}
