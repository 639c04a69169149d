//! Parts from a spreadsheet: what its rows add to the records and change in them.
//!
//! The sheet decides about amounts and counts; everything else in the records stays, and nothing is deleted.

mod cells;
mod codes;
mod compare;
mod differing;
mod header;
mod ids;
mod into;
mod propose;
mod reader;
mod rows;
mod subtotals;
mod systems;
mod totals;
mod used;
mod words;

use foldhash::{HashMap, HashSet};
use schema::edit::{Change, Value};
use schema::quantity::Unit;
use schema::records::{Amount, Part};
use schema::settings::imports::Import;
use schema::{Id, Kind};

use crate::edit::Edits;
use crate::load::Loaded;
use crate::spreadsheet::{Decimal, Given, Table};
use crate::{Error, RecordId};
use compare::{digits_of, is_same, long_amount, text_of};
use header::Columns;
use rows::{Item, Rows, SkippedId};
use used::Used;

pub use differing::{Differing, EmptyCell, NotInCar, Renumbered};
pub use propose::{Proposal, propose};
pub use systems::NewSystem;
pub use totals::{Difference, Total};

/// The largest number of parts of one import: all of them are evaluated before anything is written.
const MOST_PARTS: usize = 25_000;
/// The largest number of new systems of one import: each has a file of its own.
const MOST_SYSTEMS: usize = 1_000;

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
    /// The new systems, in the order of the sheet.
    pub systems: Vec<NewSystem>,
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
    /// The number of rows whose system is missing and can be added.
    pub without_system: usize,
    /// The cells that could not be read.
    pub unread: Vec<UnreadCell>,
    rows: Rows,
    changes: Vec<(String, Change)>,
}

/// What is given in an entry about reading its file.
pub fn given(import: &Import) -> Given<'_> {
    Given { sheet: import.sheet.as_deref(), delimiter: import.delimiter, encoding: import.encoding }
}

/// Compares a sheet with the records; `adds_systems` adds the systems that the records do not have.
///
/// # Errors
/// A file that is not one of the records; columns that are not found; numbers whose decimal mark is not known.
pub fn plan<'i>(loaded: &Loaded, import: &'i Import, table: &Table, adds_systems: bool) -> Result<Plan<'i>, Error> {
    used::check_size(&import.parts)?;
    let columns = Columns::find(table, &used::wanted(&import.parts), import.header)?;
    let used = Used::new(&import.parts, &columns, table, loaded)?;
    let mut rows = rows::read(table, &columns, &used, import.decimal, loaded, adds_systems)?;
    if rows.items.len() > MOST_PARTS {
        let error = Error::new("the sheet has too many parts");
        let why = format!("it has {}, an import may have {MOST_PARTS}", rows.items.len());
        return Err(error.because(why).help("import the sheets of its assemblies one by one; nothing was written"));
    }
    let mut plan = Plan {
        import,
        systems: Vec::new(),
        added: Vec::new(),
        changed: Vec::new(),
        unchanged: 0,
        differing: Vec::new(),
        gone: Vec::new(),
        renumbered: Vec::new(),
        not_in_car: Vec::new(),
        empty: Vec::new(),
        without_system: rows.without_system,
        skipped: std::mem::take(&mut rows.skipped),
        unread: std::mem::take(&mut rows.unread),
        rows: Rows::default(),
        changes: Vec::new(),
    };
    let units: Vec<Unit> = used.amounts.iter().map(|amount| amount.unit.clone()).collect();
    let mut items = Vec::new();
    if adds_systems {
        plan.systems = systems::missing(loaded, &rows.items);
        if plan.systems.len() > MOST_SYSTEMS {
            let error = Error::new("the sheet has too many new systems");
            let why = format!("it has {}, an import may add {MOST_SYSTEMS}", plan.systems.len());
            return Err(error.because(why).help("name another column for `system`; nothing was written"));
        }
    }
    let leads = systems::Leads::new(loaded, &plan.systems);
    // The records of each new file, in the order of the files, and the position of each file.
    let mut new: Vec<(String, Vec<(String, Value)>)> = Vec::new();
    let mut places: HashMap<String, usize> = HashMap::default();
    for item in std::mem::take(&mut rows.items) {
        let known = loaded.find(item.id.as_str()).or_else(|| loaded.renamed(item.id.as_str()));
        match known {
            None => {
                let path = import.into.replace("{in}", item.system.as_str());
                plan.added.push(AddedPart { id: item.id.to_string(), path: path.clone() });
                plan.empty.extend(plan.empty_cells(None, item.id.as_str(), &item));
                let record = (item.id.to_string(), plan.new_record(&item, &units, &leads));
                let at = *places.entry(path).or_insert_with_key(|path| {
                    new.push((path.clone(), Vec::new()));
                    new.len() - 1
                });
                new[at].1.push(record);
            }
            Some(id) => match loaded.part(id) {
                Some(part) if !loaded.damaged.contains_key(loaded.record(id).id.as_str()) => {
                    plan.compare(loaded, id, part, &item, &units);
                    plan.compare_names(loaded, loaded.record(id).id.as_str(), part, &item, &leads);
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
    if !plan.systems.is_empty() {
        let records = plan.systems.iter().map(|system| (system.id.to_string(), system.record())).collect();
        plan.add_records(loaded, Kind::System, vec![(systems::file(loaded), records)]);
    }
    plan.add_records(loaded, Kind::Part, new);
    let files: HashSet<&str> = plan.changes.iter().map(|(path, _)| path.as_str()).collect();
    into::check(loaded, &files)?;
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
    fn new_record(&self, item: &Item, units: &[Unit], leads: &systems::Leads<'_>) -> Value {
        let mut keys: Vec<(String, Value)> = Vec::new();
        keys.extend(item.title.as_ref().map(|title| ("title".to_owned(), Value::text(one_line(title)))));
        keys.push(("in".to_owned(), Value::plain(item.system.as_str())));
        if let Some(count) = item.count.filter(|count| *count != 1) {
            keys.push(("count".to_owned(), Value::plain(count.to_string())));
        }
        let mut amounts = Vec::new();
        for (((name, _), unit), amount) in self.import.parts.columns().zip(units).zip(&item.amounts) {
            if let Some(amount) = amount {
                amounts.push((name.to_string(), long_amount(amount, &text_of(amount, unit))));
            }
        }
        if !amounts.is_empty() {
            keys.push(("amounts".to_owned(), Value::Map(amounts)));
        }
        if item.safety_critical == Some(true) {
            keys.push(("safety-critical".to_owned(), Value::plain("true")));
        }
        let lead = item.lead.as_deref().map(one_line).filter(|lead| leads.of(&item.system) != Some(lead));
        keys.extend(lead.map(|lead| ("lead".to_owned(), Value::text(lead))));
        Value::Map(keys)
    }

    /// Adds the records of one kind, by file.
    fn add_records(&mut self, loaded: &Loaded, kind: Kind, files: Vec<(String, Vec<(String, Value)>)>) {
        let of_kind = loaded.entries.iter().filter(|entry| entry.record.kind() == kind);
        let with_some: HashSet<&str> = of_kind.map(|entry| loaded.path(entry.file)).collect();
        for (path, records) in files {
            if with_some.contains(path.as_str()) {
                let add = |(id, record): (String, Value)| (path.clone(), Change::add([kind.plural(), &id], record));
                self.changes.extend(records.into_iter().map(add));
            } else {
                self.changes.push((path, Change::set([kind.plural()], Value::Map(records))));
            }
        }
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
