//! Rows as parts, and why the others are skipped.

use std::collections::BTreeMap;

use schema::Id;
use schema::quantity::Unit;
use schema::settings::imports::{DecimalMark, ImportedAmount, ImportedParts, OrColumn};
use schema::words::{shorten, to_kebab_case};

use super::cells;
use super::header::Columns;
use super::subtotals::{Subtotals, word_of_total};
use super::{Skipped, UnreadCell};
use crate::Error;
use crate::load::Loaded;
use crate::spreadsheet::number::clean;
use crate::spreadsheet::{Cell, Decimal, Row, Table, column_name};

/// The largest count of a part.
const MOST_PIECES: i64 = 100_000;

/// A row that is a part.
#[derive(Debug)]
pub(super) struct Item {
    pub(super) row: u32,
    pub(super) id: Id,
    pub(super) title: Option<String>,
    pub(super) system: Id,
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
    pub(super) basis: Option<Id>,
}

/// The rows of a sheet.
#[derive(Debug, Default)]
pub(super) struct Rows {
    pub(super) items: Vec<Item>,
    pub(super) skipped: Vec<Skipped>,
    pub(super) unread: Vec<UnreadCell>,
    /// What the skipped rows have of each amount.
    pub(super) skipped_sums: Vec<Decimal>,
    /// The ids of rows that are skipped because of something else.
    pub(super) skipped_ids: Vec<SkippedId>,
}

/// The columns that an entry uses.
pub(super) struct Used<'u> {
    parts: &'u ImportedParts,
    id: u32,
    title: Option<u32>,
    system: Option<u32>,
    count: Option<u32>,
    amounts: Vec<UsedAmount<'u>>,
}

struct UsedAmount<'u> {
    name: &'u Id,
    entry: &'u ImportedAmount,
    unit: Unit,
    column: u32,
    basis: Option<u32>,
    margins: Vec<Option<u32>>,
}

/// The names of the columns of an entry.
pub(super) fn wanted(parts: &ImportedParts) -> Vec<&str> {
    let mut all = vec![parts.id.as_str()];
    all.extend(parts.title.as_deref());
    all.extend(parts.r#in.column());
    all.extend(parts.count.as_deref());
    for (_, amount) in parts.amounts.iter() {
        all.push(&amount.column);
        all.extend(amount.basis.as_ref().and_then(OrColumn::column));
        all.extend(amount.margins.iter().filter_map(OrColumn::column));
    }
    all
}

impl<'u> Used<'u> {
    pub(super) fn new(parts: &'u ImportedParts, columns: &Columns) -> Result<Self, Error> {
        let maybe = |name: Option<&str>| name.map(|name| columns.get(name)).transpose();
        let amount = |(name, entry): (&'u Id, &'u ImportedAmount)| {
            let basis = entry.basis.as_ref().and_then(OrColumn::column);
            let margins = entry.margins.iter().map(|margin| maybe(margin.column()));
            let unit = Unit::parse(&entry.unit).map_err(Error::new)?;
            let column = columns.get(&entry.column)?;
            if let Some(other) = cells::other_unit(columns.name(column), &unit) {
                let message = format!("the column `{}` is in {other}", shorten(columns.name(column)));
                let why = format!("the entry says `unit: {unit}` for `{name}`");
                return Err(Error::new(message).because(why).help("correct one of them; nothing was read"));
            }
            Ok(UsedAmount {
                name,
                entry,
                unit,
                column,
                basis: maybe(basis)?,
                margins: margins.collect::<Result<_, Error>>()?,
            })
        };
        Ok(Self {
            parts,
            id: columns.get(&parts.id)?,
            title: maybe(parts.title.as_deref())?,
            system: maybe(parts.r#in.column())?,
            count: maybe(parts.count.as_deref())?,
            amounts: parts.amounts.iter().map(amount).collect::<Result<_, Error>>()?,
        })
    }

    /// The columns of numbers.
    fn numbers(&self) -> Vec<u32> {
        self.amounts.iter().map(|amount| amount.column).chain(self.count).collect()
    }
}

/// Reads the rows below the header.
pub(super) fn read(
    table: &Table,
    columns: &Columns,
    used: &Used<'_>,
    given: Option<DecimalMark>,
    loaded: &Loaded,
) -> Result<Rows, Error> {
    let below = table.rows.iter().filter(|row| row.number > columns.last);
    let mark = match given {
        Some(mark) => Some(mark),
        None => cells::decimal_mark(table, below.clone(), &used.numbers())?,
    };
    let header = table.rows.iter().find(|row| row.number == columns.last);
    let mut rows = Rows { skipped_sums: vec![Decimal::ZERO; used.amounts.len()], ..Rows::default() };
    let mut subtotals = Subtotals::new(used.amounts.len());
    let ids_are_texts = has_texts(below.clone(), used.id);
    for row in below {
        let is_header = header.is_some_and(|header| header.cells == row.cells);
        if is_header {
            rows.skip(row, "the column names again");
            continue;
        }
        let reader = Reader { table, row, used, mark, loaded };
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
                for (at, (read, amount)) in amounts.into_iter().zip(&used.amounts).enumerate() {
                    if let Ok(None) = read {
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

/// One row with what is needed to read it.
struct Reader<'r> {
    table: &'r Table,
    row: &'r Row,
    used: &'r Used<'r>,
    mark: Option<DecimalMark>,
    loaded: &'r Loaded,
}

impl Reader<'_> {
    fn text(&self, column: u32) -> String {
        self.row.cell(column).map(|cell| clean(&cell.shown())).unwrap_or_default()
    }

    /// The text of a column of names, in which a merged cell counts for all its rows.
    fn name(&self, column: u32) -> String {
        self.table.cell(self.row, column).map(|cell| clean(&cell.shown())).unwrap_or_default()
    }

    fn title(&self) -> Option<String> {
        self.used.title.map(|column| self.text(column)).filter(|title| !title.is_empty())
    }

    fn count(&self) -> Result<Option<u32>, String> {
        let (Some(column), Some(name)) = (self.used.count, self.used.parts.count.as_deref()) else { return Ok(None) };
        let read = cells::number(self.row.cell(column), None, self.mark);
        let Some(number) = read.map_err(|reason| format!("`{name}`: {reason}"))? else { return Ok(None) };
        match number.as_whole() {
            Some(count @ 1..=MOST_PIECES) => Ok(u32::try_from(count).ok()),
            Some(0) => Err(format!("`{name}` is 0: not in the car")),
            _ => Err(format!("`{name}` is {number}, not a number of pieces")),
        }
    }

    /// What the row has instead of a number of pieces.
    fn no_pieces(&self, count: &Result<Option<u32>, String>) -> Option<String> {
        match count {
            Err(reason) => Some(reason.clone()),
            Ok(None) => self.used.count.map(|_| self.no_count()),
            Ok(Some(_)) => None,
        }
    }

    fn no_count(&self) -> String {
        format!("`{}` is empty", self.used.parts.count.as_deref().unwrap_or_default())
    }

    /// Whether the count is 0.
    fn has_no_pieces(&self) -> bool {
        let count = self.used.count.map(|column| cells::number(self.row.cell(column), None, self.mark));
        matches!(count, Some(Ok(Some(count))) if count.is_zero())
    }

    /// Stops at a cell with a unit of its own that is not that of its column.
    fn check_units(&self) -> Result<(), Error> {
        for amount in &self.used.amounts {
            let format = self.table.unit(self.row.number, amount.column);
            if let Some(other) = cells::own_unit(self.row.cell(amount.column), format, &amount.unit) {
                let cell = format!("{}{}", column_name(amount.column), self.row.number);
                let id = self.text(self.used.id);
                let message = format!("the cell {cell} of `{}` is in {other}", shorten(&id));
                let why = format!("the entry says `unit: {}` for `{}`", amount.unit, amount.name);
                return Err(Error::new(message).because(why).help("correct one of them; nothing was read"));
            }
        }
        Ok(())
    }

    fn amounts(&self) -> Vec<Result<Option<ItemAmount>, String>> {
        let read = |amount: &UsedAmount<'_>| {
            let Some(raw) = cells::number(self.row.cell(amount.column), Some(&amount.unit), self.mark)? else {
                return Ok(None);
            };
            if raw.is_negative() {
                return Err(format!("{raw} is negative"));
            }
            let mut value = raw;
            for (margin, column) in amount.entry.margins.iter().zip(&amount.margins) {
                let factor = self.margin(margin, *column)?;
                value = value.times(factor).ok_or("it has too many digits")?.rounded().without_zeros();
            }
            Ok(Some(ItemAmount { raw, value: value.rounded(), basis: None }))
        };
        self.used.amounts.iter().map(read).collect()
    }

    /// The factor of a margin: 1.1 for 10 %.
    fn margin(&self, margin: &OrColumn<schema::Quantity>, column: Option<u32>) -> Result<Decimal, String> {
        let percent = match (margin, column) {
            (OrColumn::Always(margin), _) => number_of(margin),
            (OrColumn::Column { names, column: name }, Some(column)) => {
                let text = self.name(column);
                match names.iter().find(|(own, _)| is_same_text(own, &text)) {
                    Some((_, margin)) => number_of(margin),
                    None if names.is_empty() => {
                        let percent = Unit::parse("%").ok();
                        let cell = self.table.cell(self.row, column);
                        cells::number(cell, percent.as_ref(), self.mark)
                            .map_err(|reason| format!("`{name}`: {reason}"))?
                    }
                    None => return Err(format!("`{name}` is `{}`, for which no margin is given", shorten(&text))),
                }
            }
            (OrColumn::Column { .. }, None) => None,
        };
        let percent = percent.ok_or("its margin is missing")?;
        let share = percent.times(Decimal::parse("0.01").unwrap_or(Decimal::ZERO));
        share.and_then(|share| share.plus(Decimal::ONE)).ok_or_else(|| "its margin has too many digits".to_owned())
    }

    fn item(&self, ids_are_texts: bool, count: &Result<Option<u32>, String>) -> Result<Item, String> {
        let id = self.id(ids_are_texts)?;
        let system = self.system()?;
        let count = match (self.used.count, count) {
            (_, Err(reason)) => return Err(reason.clone()),
            (Some(_), Ok(None)) => return Err(self.no_count()),
            (_, Ok(count)) => *count,
        };
        Ok(Item {
            row: self.row.number,
            id,
            title: self.title(),
            system,
            count,
            amounts: Vec::new(),
            empty: Vec::new(),
        })
    }

    fn id(&self, ids_are_texts: bool) -> Result<Id, String> {
        let format = "format the column as text and type it again";
        let text = self.text(self.used.id);
        match self.row.cell(self.used.id) {
            None => return Err("no part number".to_owned()),
            Some(Cell::Date) => return Err(format!("its part number has become a date: {format}")),
            Some(Cell::Error(_) | Cell::NoValue | Cell::Flag(_) | Cell::Percent(_)) => {
                return Err(format!("its part number is {}", shorten(&text)));
            }
            Some(Cell::Number(number)) => {
                let whole = number.as_whole().filter(|number| (0..10_000_000_000).contains(number));
                if whole.is_none() || ids_are_texts {
                    return Err(format!("its part number has become the number {text}: {format}"));
                }
            }
            Some(Cell::Text(_)) if has_become_number(&text) => {
                return Err(format!("its part number has become the number {}: {format}", shorten(&text)));
            }
            Some(Cell::Text(_)) if has_become_date(&text) => {
                return Err(format!("its part number has become the date {}: {format}", shorten(&text)));
            }
            Some(Cell::Text(_)) => {}
        }
        id_of(&text)
            .and_then(|id| Id::new(&id).ok())
            .ok_or_else(|| format!("`{}` cannot be an id: it has no letters a to z or digits", shorten(&text)))
    }

    fn system(&self) -> Result<Id, String> {
        let (names, column, name) = match (&self.used.parts.r#in, self.used.system) {
            (OrColumn::Always(id), _) => return Ok(id.clone()),
            (OrColumn::Column { names, column }, Some(at)) => (names, at, column),
            (OrColumn::Column { column, .. }, None) => return Err(format!("no column `{column}`")),
        };
        let text = self.name(column);
        if text.is_empty() {
            return Err(format!("`{name}` is empty"));
        }
        if let Some((_, id)) = names.iter().find(|(own, _)| is_same_text(own, &text)) {
            return Ok(id.clone());
        }
        let id = to_kebab_case(&text).and_then(|id| Id::new(&id).ok());
        let known = id.filter(|id| self.loaded.find(id.as_str()).is_some_and(|id| self.loaded.system(id).is_some()));
        known.ok_or_else(|| format!("no system for `{}`: add it to `names` under `in`", shorten(&text)))
    }

    /// Adds the bases of the amounts; an unknown name is a cell that could not be read.
    fn bases(&self, item: &mut Item) -> Vec<UnreadCell> {
        let mut unread = Vec::new();
        for (amount, read) in self.used.amounts.iter().zip(&mut item.amounts) {
            let Some(read) = read else { continue };
            match (&amount.entry.basis, amount.basis) {
                (Some(OrColumn::Always(basis)), _) => read.basis = Some(basis.clone()),
                (Some(OrColumn::Column { names, column: name }), Some(column)) => {
                    let text = self.name(column);
                    let listed = names.iter().find(|(own, _)| is_same_text(own, &text)).map(|(_, basis)| basis.clone());
                    let bases = self.loaded.settings().growth.get(amount.name.as_str());
                    let itself = || {
                        let id = to_kebab_case(&text)?;
                        bases?.keys().find(|basis| basis.as_str() == id).cloned()
                    };
                    read.basis = listed.or_else(itself);
                    if read.basis.is_none() && !text.is_empty() {
                        unread.push(UnreadCell {
                            row: self.row.number,
                            column: column_name(column),
                            id: Some(item.id.to_string()),
                            reason: format!(
                                "`{name}`: no basis for `{}`: add it to `names` under `basis`",
                                shorten(&text)
                            ),
                        });
                    }
                }
                _ => {}
            }
        }
        unread
    }
}

/// A part number as an id.
pub(super) fn id_of(text: &str) -> Option<String> {
    let prefixed = format!("p-{text}");
    to_kebab_case(text).or_else(|| text.contains(|c: char| c.is_ascii_digit()).then(|| to_kebab_case(&prefixed))?)
}

fn number_of(quantity: &schema::Quantity) -> Option<Decimal> {
    super::digits_of(quantity)
}

/// Whether two names of a sheet are the same, ignoring case and spaces.
pub(super) fn is_same_text(a: &str, b: &str) -> bool {
    clean(a).to_lowercase() == clean(b).to_lowercase()
}

/// Whether most cells of a column are texts that are not numbers.
fn has_texts<'t>(rows: impl Iterator<Item = &'t Row>, column: u32) -> bool {
    let (mut texts, mut numbers) = (0_usize, 0_usize);
    for row in rows {
        match row.cell(column) {
            Some(Cell::Text(_)) => texts += 1,
            Some(Cell::Number(_)) => numbers += 1,
            _ => {}
        }
    }
    texts > numbers
}

/// Whether a text is a part number that a spreadsheet has changed into a number: `1.2E+05`.
fn has_become_number(text: &str) -> bool {
    let Some((mantissa, power)) = text.split_once(['E', 'e']) else { return false };
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let mantissa_is_number = digits(&mantissa.replace([',', '.'], "")) && mantissa.contains([',', '.']);
    let power_is_number = power.strip_prefix(['+', '-']).is_some_and(digits);
    power_is_number && (mantissa_is_number || digits(mantissa))
}

/// Whether a text is a part number that a spreadsheet has changed into a date: `2027-03-05`, `05.03.2027`, `5-Mar`.
fn has_become_date(text: &str) -> bool {
    const MONTHS: &str = "jan feb mar apr may jun jul aug sep oct nov dec mrz mai okt dez";
    let date = text.split(' ').next().unwrap_or_default();
    let parts: Vec<&str> = date.split(['-', '.', '/']).filter(|part| !part.is_empty()).collect();
    let number = |text: &str, from: u32, to: u32| {
        let is_short = text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit());
        is_short && text.parse::<u32>().is_ok_and(|number| (from..=to).contains(&number))
    };
    let day = |text: &str| text.len() <= 2 && number(text, 1, 31);
    let month = |text: &str| text.len() <= 2 && number(text, 1, 12);
    let year = |text: &str| text.len() == 4 && number(text, 1900, 2100);
    let word = |text: &str| text.len() == 3 && MONTHS.split(' ').any(|month| month.eq_ignore_ascii_case(text));
    match parts[..] {
        [a, b, c] => (year(a) && month(b) && day(c)) || (year(c) && (day(a) && day(b))) || (day(a) && word(b)),
        [a, b] => (day(a) && word(b)) || (word(a) && (day(b) || year(b))),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn part_numbers_become_ids() {
        let ids = [("BR-0001", "br-0001"), ("1001", "p-1001"), ("FU 01/L", "fu-01-l"), ("Ölfilter 3", "lfilter-3")];
        for (text, id) in ids {
            assert_eq!(id_of(text).as_deref(), Some(id), "{text}");
        }
        assert_eq!(id_of("–"), None);
    }

    #[test]
    fn part_numbers_that_a_spreadsheet_has_changed() {
        for text in ["1.2E+05", "1,00E+12", "3E-05"] {
            assert!(has_become_number(text), "{text}");
        }
        for text in ["E-12", "3E5", "1E", "BE-12", "12"] {
            assert!(!has_become_number(text), "{text}");
        }
        for text in ["2027-03-05", "05.03.2027", "3/5/2027", "05-Mar", "Mar-05", "5-Mar-27", "2027-03-05 00:00:00"] {
            assert!(has_become_date(text), "{text}");
        }
        for text in ["12-345", "1-2-3", "A-03-05", "10.20.30", "mar", "2027-13-05", "MAR-1234"] {
            assert!(!has_become_date(text), "{text}");
        }
    }
}
