//! Parts from a spreadsheet: what its rows add to the records and change in them.
//!
//! The sheet decides about amounts and counts; everything else in the records stays, and nothing is deleted.

mod cells;
mod differing;
mod header;
mod propose;
mod rows;
mod subtotals;
mod totals;

use foldhash::HashSet;
use schema::edit::{Change, Value};
use schema::quantity::Unit;
use schema::records::{Amount, Part};
use schema::settings::imports::Import;
use schema::{Id, Kind, Quantity};

use crate::edit::Edits;
use crate::load::Loaded;
use crate::spreadsheet::{Decimal, Given, Table};
use crate::{Error, RecordId};
use header::Columns;
use rows::{Item, ItemAmount, Rows, SkippedId, Used};

pub use differing::{Differing, EmptyCell, NotInCar, Renumbered};
pub use propose::{Proposal, propose};
pub use totals::{Difference, Total};

/// A row that is not imported.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Skipped {
    /// The row, as the spreadsheet counts.
    pub row: u32,
    /// Why.
    pub reason: String,
    /// Whether it is a part that the records should have: no heading, no sum, and none that is not in the car.
    pub is_part: bool,
}

/// A cell that could not be read; the row is imported without it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnreadCell {
    /// The row, as the spreadsheet counts.
    pub row: u32,
    /// The column, as the spreadsheet names it: `D`.
    pub column: String,
    /// The part.
    pub id: Option<String>,
    /// Why it could not be read.
    pub reason: String,
}

/// A value that the import changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedValue {
    /// The part.
    pub id: String,
    /// The key below the part: `count`, `amounts.mass`, `amounts.mass.basis`.
    pub field: String,
    /// The value before, if there was one.
    pub before: Option<String>,
    /// The new value.
    pub after: String,
}

/// A part that the import adds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AddedPart {
    /// Its id.
    pub id: String,
    /// Its file.
    pub path: String,
}

/// What an import does.
#[derive(Debug)]
pub struct Plan<'i> {
    import: &'i Import,
    /// The new parts, in the order of the sheet.
    pub added: Vec<AddedPart>,
    /// The changed values.
    pub changed: Vec<ChangedValue>,
    /// The number of parts that stay as they are.
    pub unchanged: usize,
    /// The values that differ and are not changed.
    pub differing: Vec<Differing>,
    /// The parts that are in the files of the import but not in the sheet.
    pub gone: Vec<String>,
    /// Those of them that seem to have a new part number.
    pub renumbered: Vec<Renumbered>,
    /// The parts of the records whose row has no number of pieces.
    pub not_in_car: Vec<NotInCar>,
    /// The empty cells of amounts.
    pub empty: Vec<EmptyCell>,
    /// The rows that are not imported.
    pub skipped: Vec<Skipped>,
    /// The cells that could not be read.
    pub unread: Vec<UnreadCell>,
    rows: Rows,
    changes: Vec<(String, Change)>,
}

/// What is given in an entry about reading its file.
pub fn given(import: &Import) -> Given<'_> {
    Given { sheet: import.sheet.as_deref(), delimiter: import.delimiter, encoding: import.encoding }
}

/// Compares a sheet with the records.
///
/// # Errors
/// Columns that are not found; numbers whose decimal mark is not known.
pub fn plan<'i>(loaded: &Loaded, import: &'i Import, table: &Table) -> Result<Plan<'i>, Error> {
    let columns = Columns::find(table, &rows::wanted(&import.parts), import.header)?;
    let used = Used::new(&import.parts, &columns)?;
    let mut rows = rows::read(table, &columns, &used, import.decimal, loaded)?;
    let mut plan = Plan {
        import,
        added: Vec::new(),
        changed: Vec::new(),
        unchanged: 0,
        differing: Vec::new(),
        gone: Vec::new(),
        renumbered: Vec::new(),
        not_in_car: Vec::new(),
        empty: Vec::new(),
        skipped: std::mem::take(&mut rows.skipped),
        unread: std::mem::take(&mut rows.unread),
        rows: Rows::default(),
        changes: Vec::new(),
    };
    let mut items = Vec::new();
    let mut new: Vec<(String, Vec<(String, Value)>)> = Vec::new();
    for item in std::mem::take(&mut rows.items) {
        let known = loaded.find(item.id.as_str()).or_else(|| loaded.renamed(item.id.as_str()));
        match known {
            None => {
                let path = import.into.replace("{in}", item.system.as_str());
                plan.added.push(AddedPart { id: item.id.to_string(), path: path.clone() });
                plan.empty.extend(plan.empty_cells(None, item.id.as_str(), &item));
                let record = (item.id.to_string(), plan.new_record(&item)?);
                match new.iter_mut().find(|(own, _)| *own == path) {
                    Some((_, records)) => records.push(record),
                    None => new.push((path, vec![record])),
                }
            }
            Some(id) => match loaded.part(id) {
                Some(part) if !loaded.damaged.contains_key(loaded.record(id).id.as_str()) => {
                    plan.compare(loaded, id, part, &item)?;
                    plan.compare_names(loaded, loaded.record(id).id.as_str(), part, &item);
                    plan.empty.extend(plan.empty_cells(Some(part), loaded.record(id).id.as_str(), &item));
                }
                part => {
                    let entry = &loaded.entries[id];
                    let what = if part.is_some() { "has read errors" } else { entry.record.kind().singular() };
                    let what = if part.is_some() { what.to_owned() } else { format!("is a {what}, not a part") };
                    let reason = format!("`{}` in {} {what}", entry.record.id, loaded.path(entry.file));
                    plan.skipped.push(Skipped { row: item.row, reason, is_part: true });
                    rows.skipped_ids.push(SkippedId { row: item.row, id: item.id.to_string(), no_pieces: None });
                    rows.skip_item(&item)?;
                    continue;
                }
            },
        }
        items.push(item);
    }
    plan.skipped.sort_by_key(|skipped| skipped.row);
    for (path, records) in new {
        plan.add_records(loaded, &path, records);
    }
    plan.rows = Rows { items, ..rows };
    let gone = plan.gone_parts(loaded);
    plan.renumbered = plan.renumbered_parts(loaded, &gone);
    plan.gone = gone.into_iter().map(|id| loaded.record(id).id.to_string()).collect();
    for skipped in &plan.rows.skipped_ids {
        let known = loaded.find(&skipped.id).or_else(|| loaded.renamed(&skipped.id));
        let known = known.filter(|id| loaded.part(*id).is_some());
        if let Some((id, reason)) = known.zip(skipped.no_pieces.as_ref()) {
            let id = loaded.record(id).id.to_string();
            plan.not_in_car.push(NotInCar { row: skipped.row, id, reason: reason.clone() });
        }
    }
    Ok(plan)
}

impl Plan<'_> {
    /// Adds the changes to those of a state.
    pub fn add_to(&self, edits: &mut Edits) {
        for (path, change) in &self.changes {
            edits.change(path, change.clone());
        }
    }

    /// Whether the records have everything that the sheet has, before any change.
    pub fn agrees(&self) -> bool {
        let is_missing = |cell: &EmptyCell| cell.records.is_some();
        self.changes.is_empty()
            && self.differing.is_empty()
            && self.unread.is_empty()
            && self.not_in_car.is_empty()
            && !self.empty.iter().any(is_missing)
            && !self.skipped.iter().any(|row| row.is_part)
    }

    /// The keys of a new part.
    fn new_record(&self, item: &Item) -> Result<Value, Error> {
        let mut keys: Vec<(String, Value)> = Vec::new();
        keys.extend(item.title.as_ref().map(|title| ("title".to_owned(), Value::text(one_line(title)))));
        keys.push(("in".to_owned(), Value::plain(item.system.as_str())));
        if let Some(count) = item.count.filter(|count| *count != 1) {
            keys.push(("count".to_owned(), Value::plain(count.to_string())));
        }
        let mut amounts = Vec::new();
        for ((name, entry), amount) in self.import.parts.amounts.iter().zip(&item.amounts) {
            if let Some(amount) = amount {
                let unit = Unit::parse(&entry.unit).map_err(Error::new)?;
                amounts.push((name.to_string(), long_amount(amount, &unit.after(&amount.value.to_string()))));
            }
        }
        if !amounts.is_empty() {
            keys.push(("amounts".to_owned(), Value::Map(amounts)));
        }
        Ok(Value::Map(keys))
    }

    fn add_records(&mut self, loaded: &Loaded, path: &str, records: Vec<(String, Value)>) {
        let has_parts =
            loaded.entries.iter().any(|entry| entry.record.kind() == Kind::Part && loaded.path(entry.file) == path);
        if has_parts {
            let add =
                |(id, record): (String, Value)| (path.to_owned(), Change::add([Kind::Part.plural(), &id], record));
            self.changes.extend(records.into_iter().map(add));
        } else {
            self.changes.push((path.to_owned(), Change::set([Kind::Part.plural()], Value::Map(records))));
        }
    }

    /// Adds the changes of a part that the records have.
    fn compare(&mut self, loaded: &Loaded, id: RecordId, part: &Part, item: &Item) -> Result<(), Error> {
        let record = loaded.record(id).id.to_string();
        let path = loaded.path(loaded.entries[id].file).to_owned();
        let before = self.changed.len();
        let set = |plan: &mut Self, keys: &[&str], before: Option<String>, after: String, value: Value| {
            let route = [Kind::Part.plural(), record.as_str()].into_iter().chain(keys.iter().copied());
            plan.changes.push((path.clone(), Change::set(route, value)));
            let field = if keys.last() == Some(&"value") { &keys[..keys.len() - 1] } else { keys };
            plan.changed.push(ChangedValue { id: record.clone(), field: field.join("."), before, after });
        };
        if let Some(count) = item.count.filter(|count| part.count.unwrap_or(1) != *count) {
            let before = part.count.map(|count| count.to_string());
            set(self, &["count"], before, count.to_string(), Value::plain(count.to_string()));
        }
        let import = self.import;
        for ((name, entry), amount) in import.parts.amounts.iter().zip(&item.amounts) {
            let Some(amount) = amount else { continue };
            let unit = Unit::parse(&entry.unit).map_err(Error::new)?;
            let key = ["amounts", name.as_str()];
            let Some(own) = part.amounts.get(name.as_str()) else {
                let text = unit.after(&amount.value.to_string());
                set(self, &key, None, text.clone(), long_amount(amount, &text));
                continue;
            };
            // A number that is read from an evidence file is not typed here.
            let Some(number) = own.value.quantity().filter(|_| own.value.reading().is_none()) else {
                self.compare_read(&record, name, own.value.quantity(), (item, amount), &unit);
                continue;
            };
            let is_other = !is_same(number, amount.value, &unit);
            let basis = amount.basis.as_ref().filter(|basis| own.basis.as_ref() != Some(*basis));
            let text = changed_text(number, amount, &unit);
            match (is_other, basis, &own.basis) {
                (false, None, _) => {}
                // Without a basis the amount is one text; with one it becomes a map.
                (_, Some(_), None) => {
                    let text = if is_other { text } else { number.text().to_owned() };
                    let after = long_amount(amount, &text);
                    set(self, &key, Some(number.text().to_owned()), text, after);
                }
                (true, None, None) => {
                    set(self, &key, Some(number.text().to_owned()), text.clone(), Value::plain(text));
                }
                (_, basis, Some(before)) => {
                    if is_other {
                        let at = [key[0], key[1], "value"];
                        set(self, &at, Some(number.text().to_owned()), text.clone(), Value::plain(text));
                    }
                    if let Some(basis) = basis {
                        let at = [key[0], key[1], "basis"];
                        set(self, &at, Some(before.to_string()), basis.to_string(), Value::plain(basis.as_str()));
                    }
                }
            }
        }
        if self.changed.len() == before {
            self.unchanged += 1;
        }
        Ok(())
    }

    /// The parts in the files of the import that no row of the sheet is about.
    fn gone_parts(&self, loaded: &Loaded) -> Vec<RecordId> {
        let items = self.rows.items.iter().map(|item| item.id.as_str());
        let in_sheet: HashSet<&str> =
            items.chain(self.rows.skipped_ids.iter().map(|skipped| skipped.id.as_str())).collect();
        let is_there = |id: &RecordId| {
            let record = loaded.record(*id);
            let formerly = record.body.common().formerly().iter();
            in_sheet.contains(record.id.as_str()) || formerly.clone().any(|id| in_sheet.contains(id.as_str()))
        };
        let parts = loaded.record_ids().filter(|id| loaded.part(*id).is_some());
        parts.filter(|id| self.writes_to(loaded.path(loaded.entries[*id].file)) && !is_there(id)).collect()
    }

    /// Whether a file is one of those that `into` names.
    fn writes_to(&self, path: &str) -> bool {
        match self.import.into.split_once("{in}") {
            None => self.import.into == path,
            Some((before, after)) => {
                let system = path.strip_prefix(before).and_then(|rest| rest.strip_suffix(after));
                system.is_some_and(|system| !system.is_empty() && !system.contains('/'))
            }
        }
    }
}

impl Rows {
    fn skip_item(&mut self, item: &Item) -> Result<(), Error> {
        let pieces = Decimal::whole(i64::from(item.count.unwrap_or(1)));
        for (sum, amount) in self.skipped_sums.iter_mut().zip(&item.amounts) {
            if let Some(amount) = amount {
                *sum = amount.raw.times(pieces).and_then(|all| sum.plus(all)).ok_or_else(too_large)?;
            }
        }
        Ok(())
    }
}

/// An amount as a map if it has a basis, otherwise as a text.
fn long_amount(amount: &ItemAmount, text: &str) -> Value {
    match &amount.basis {
        Some(basis) => Value::Map(vec![
            ("value".to_owned(), Value::plain(text)),
            ("basis".to_owned(), Value::plain(basis.as_str())),
        ]),
        None => Value::plain(text),
    }
}

/// A quantity with another number; its uncertainty stays as it was typed by hand.
fn changed_text(before: &Quantity, amount: &ItemAmount, unit: &Unit) -> String {
    let number = unit.after(&amount.value.to_string());
    match before.text().split_once('±') {
        Some((_, uncertainty)) => format!("{number} ± {}", uncertainty.trim()),
        None => number,
    }
}

/// Whether a quantity of the records is a number of the sheet, in any unit.
fn is_same(own: &Quantity, value: Decimal, unit: &Unit) -> bool {
    if own.unit().to_string() == unit.to_string() {
        return digits_of(own) == Some(value);
    }
    let text = unit.after(&value.to_string());
    Quantity::parse(&text).is_ok_and(|value| own.same_value(&value))
}

/// The number of a quantity, with the digits that it is written with.
fn digits_of(quantity: &Quantity) -> Option<Decimal> {
    let text = quantity.text().trim_start_matches('+');
    let end = text.find([' ', '%', '°', '±']).unwrap_or(text.len());
    Decimal::parse(&text[..end])
}

/// A title in one line, without control characters.
fn one_line(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(200).collect()
}

fn too_large() -> Error {
    Error::new("the numbers of the sheet are too large to add up").help("check the column of the amount")
}

/// The amount of a part in the records.
fn amount_of<'p>(part: &'p Part, name: &Id) -> Option<&'p Amount> {
    part.amounts.get(name.as_str())
}
