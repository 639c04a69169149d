//! A proposal for `imports:` from the column names of a sheet and the rows below them.

use foldhash::HashSet;
use schema::edit::{Change, Value, edit};
use schema::quantity::Unit;
use schema::settings::imports::Header;
use schema::words::{shorten, to_kebab_case};

use super::cells::unit_of;
use super::codes::are_codes;
use super::header::Columns;
use super::reader::system_of;
use super::subtotals::word_of_total;
use super::systems::{Known, NewSystem, only_target, stems};
use super::words::{
    BASES, BASIS, COST, COUNT, ID, LAST_ID, LEAD, MASS, MAYBE_ID, SAFETY, SUMS, SYSTEM, TITLE, UNCERTAINTY,
};
use crate::Error;
use crate::load::Loaded;
use crate::spreadsheet::number::{Written, clean};
use crate::spreadsheet::{Cell, Line, Name, Row, Table};

/// The number of rows that show what a column is.
const ROWS: usize = 10;

/// The largest number of names of a column that are listed.
const MOST_NAMES: usize = 100;

/// The largest number of columns of one amount.
const MOST_CURRENCIES: usize = 100;

/// A proposed entry.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The entry, as the value of its name under `imports`.
    pub entry: Value,
    /// What was not found out, each with what to do.
    pub unknown: Vec<String>,
    /// Whether keys are missing without which the entry cannot be read.
    pub is_incomplete: bool,
    /// The systems of the sheet that the records do not have.
    pub systems: Vec<NewSystem>,
}

impl Proposal {
    /// The lines of the settings.
    ///
    /// # Errors
    /// Names that cannot be written.
    pub fn text(&self, name: &str) -> Result<String, Error> {
        let change = Change::set(["imports", name], self.entry.clone());
        edit("", &[change]).map_err(|error| Error::new("cannot write the entry").because(&error).help(error.help()))
    }

    /// The lines of the record file with the systems; `None` if none is missing.
    ///
    /// # Errors
    /// Names that cannot be written.
    pub fn systems_text(&self) -> Result<Option<String>, Error> {
        if self.systems.is_empty() {
            return Ok(None);
        }
        let records = self.systems.iter().map(|system| (system.id.to_string(), system.record())).collect();
        let change = Change::set([schema::Kind::System.plural()], Value::Map(records));
        let text = edit("", &[change]);
        text.map(Some).map_err(|error| Error::new("cannot write the systems").because(&error).help(error.help()))
    }
}

/// Proposes an entry for a sheet; its header can be given.
///
/// # Errors
/// No row looks like column names.
pub fn propose(loaded: &Loaded, file: &str, table: &Table, given: Option<Header>) -> Result<Proposal, Error> {
    let header = given.or_else(|| header(table)).ok_or_else(|| {
        Error::new("no row looks like column names")
            .because("no row has two or more names with rows of values below it")
            .help("name its row, as in `--header 3` or `--header 3-4`")
    })?;
    let columns = Columns::of_rows(table, header.first, header.last).ok_or_else(|| {
        let error = Error::new(format!("no column names in row {header}"));
        error.because("it has no cells").help("give another row, as in `--header 3` or `--header 3-4`")
    })?;
    let below: Vec<&Row> = table.rows.iter().filter(|row| row.number > columns.last).collect();
    let is_total = |row: &&Row| row.cells.iter().any(|(_, cell)| word_of_total(cell).is_some());
    let parts = below.iter().copied().filter(|row| !is_total(row)).collect();
    let mut sheet = Guess {
        loaded,
        below,
        parts,
        columns: &columns,
        taken: Vec::new(),
        unknown: Vec::new(),
        incomplete: false,
        new: Vec::new(),
    };
    let mut keys: Vec<(String, Value)> = vec![("file".to_owned(), Value::text(file))];
    if table.sheets.len() > 1 {
        keys.extend(table.sheet.as_ref().map(|sheet| ("sheet".to_owned(), Value::text(sheet))));
    }
    if header.first != header.last || given.is_some() {
        keys.push(("header".to_owned(), Value::plain(header.to_string())));
    }
    let into = "parts/{in}.yaml".to_owned();
    let mut parts: Vec<(String, Value)> = Vec::new();
    let id = sheet.column(ID, Kind::Name).or_else(|| sheet.column(MAYBE_ID, Kind::Code));
    match id.or_else(|| sheet.column(LAST_ID, Kind::Name)) {
        Some(column) => parts.push(("id".to_owned(), column.value())),
        None => sheet.miss("id: no column of part numbers: add `id: COLUMN`"),
    }
    match sheet.column(TITLE, Kind::Name) {
        Some(column) => parts.push(("title".to_owned(), column.value())),
        None => sheet.unknown.push("title: no column of titles".to_owned()),
    }
    let system = sheet.system();
    parts.push(("in".to_owned(), system));
    match sheet.column(COUNT, Kind::Number) {
        Some(column) => parts.push(("count".to_owned(), column.value())),
        None => sheet.unknown.push("count: no column of counts, so each row is one piece".to_owned()),
    }
    let mut amounts = Vec::new();
    let found = [("mass", MASS), ("cost", COST)].map(|(name, words)| (name, sheet.amounts(words)));
    let uncertainties: Vec<Option<Column>> =
        found.iter().flat_map(|(_, columns)| columns).map(|column| sheet.uncertainty(column)).collect();
    let mut uncertainties = uncertainties.into_iter();
    let taken = sheet.taken.clone();
    for (name, columns) in &found {
        let mut entries = Vec::new();
        for column in columns {
            let basis = sheet.basis(name, column, &taken);
            let uncertainty = uncertainties.next().flatten();
            entries.push(sheet.amount(name, column, basis.as_ref(), uncertainty.as_ref()));
        }
        match entries.len() {
            0 => {}
            1 => amounts.extend(entries.pop().map(|entry| ((*name).to_owned(), entry))),
            _ => amounts.push(((*name).to_owned(), Value::List(entries))),
        }
    }
    if amounts.is_empty() {
        sheet.unknown.push("amounts: no column of a mass or a cost".to_owned());
    }
    parts.push(("amounts".to_owned(), Value::Map(amounts)));
    for (key, words, kind) in [("lead", LEAD, Kind::Text), ("safety-critical", SAFETY, Kind::Name)] {
        parts.extend(sheet.column(words, kind).map(|column| (key.to_owned(), column.value())));
    }
    // A name that is used is not unused, whatever other columns have it: those below a merged cell.
    let used: Vec<&str> =
        columns.names().filter(|(column, _)| sheet.taken.contains(column)).map(|(_, name)| name).collect();
    let unused: Vec<String> = columns
        .names()
        .filter(|(_, name)| !used.contains(name))
        .map(|(_, name)| format!("`{}`", shorten(name)))
        .collect();
    if !unused.is_empty() {
        sheet.unknown.push(format!("columns that are not used: {}", unused.join(", ")));
    }
    keys.push(("into".to_owned(), Value::text(into)));
    keys.push(("parts".to_owned(), Value::Map(parts)));
    let (unknown, is_incomplete, systems) = (sheet.unknown, sheet.incomplete, sheet.new);
    Ok(Proposal { entry: Value::Map(keys), unknown, is_incomplete, systems })
}

/// What a column holds.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Names: of any kind.
    Name,
    /// Texts without a number: roles, not lead times.
    Text,
    /// Part numbers, each once.
    Code,
    Number,
}

/// A column by its name.
struct Column {
    at: u32,
    name: String,
}

impl Column {
    fn value(&self) -> Value {
        Value::text(self.name.as_str())
    }
}

struct Guess<'g> {
    loaded: &'g Loaded,
    below: Vec<&'g Row>,
    /// The rows without those of sums.
    parts: Vec<&'g Row>,
    columns: &'g Columns,
    taken: Vec<u32>,
    unknown: Vec<String>,
    incomplete: bool,
    /// The systems that are missing.
    new: Vec<NewSystem>,
}

impl Guess<'_> {
    fn miss(&mut self, what: impl Into<String>) {
        self.unknown.push(what.into());
        self.incomplete = true;
    }

    /// The column whose name has the first of these words, and whose cells are of the kind.
    fn column(&mut self, words: &[&str], kind: Kind) -> Option<Column> {
        let is_sum = |name: &str| SUMS.iter().any(|sum| has_word(name, sum));
        for sums in [false, true] {
            for word in words {
                let found = self.columns.names().find(|(column, name)| {
                    !self.taken.contains(column)
                        && is_sum(name) == sums
                        && has_word(name, word)
                        && !is_uncertainty(name)
                        && self.has_kind(*column, kind)
                });
                if let Some((at, name)) = found {
                    let name = name.to_owned();
                    self.taken.push(at);
                    if sums && kind == Kind::Number {
                        self.unknown.push(format!(
                            "`{}` may be a sum over the pieces: the amount of one is needed",
                            shorten(&name)
                        ));
                    }
                    return Some(Column { at, name });
                }
            }
        }
        None
    }

    fn has_kind(&self, column: u32, kind: Kind) -> bool {
        match kind {
            Kind::Name => true,
            Kind::Number => self.has_numbers(column),
            Kind::Text => {
                let texts = self.below.iter().filter(|row| matches!(row.cell(column), Some(Cell::Text(_))));
                texts.count() > 0 && !self.has_numbers(column)
            }
            Kind::Code => are_codes(self.parts.iter().filter_map(|row| row.cell(column))),
        }
    }

    /// The columns of an amount: one, and those that have the same name with other currencies.
    fn amounts(&mut self, words: &[&str]) -> Vec<Column> {
        let Some(first) = self.column(words, Kind::Number) else { return Vec::new() };
        let mut all = vec![first];
        let own = |name: &str| name.split('[').next().unwrap_or_default().trim().to_lowercase();
        let currency = |name: &str| {
            let inside = name.split_once('[')?.1.strip_suffix(']')?;
            unit_of(inside).filter(Unit::is_currency)
        };
        if currency(&all[0].name).is_some() {
            let same = |(at, name): &(u32, &str)| {
                !self.taken.contains(at)
                    && own(name) == own(&all[0].name)
                    && currency(name).is_some()
                    && self.has_numbers(*at)
            };
            let others = self.columns.names().filter(same).map(|(at, name)| Column { at, name: name.to_owned() });
            let others: Vec<Column> = others.take(MOST_CURRENCIES).collect();
            self.taken.extend(others.iter().map(|column| column.at));
            all.extend(others);
        }
        all
    }

    /// The column of the uncertainty of another one: `mass ± [kg]` of `mass [kg]`.
    fn uncertainty(&mut self, of: &Column) -> Option<Column> {
        let rest = |name: &str| {
            let mut name = name.to_lowercase();
            for sign in UNCERTAINTY {
                name = name.replace(sign, " ");
            }
            clean(&name)
        };
        let wanted = clean(&of.name.to_lowercase());
        let is_own = |(at, name): &(u32, &str)| {
            !self.taken.contains(at) && is_uncertainty(name) && rest(name) == wanted && self.has_numbers(*at)
        };
        let found = self.columns.names().find(is_own).map(|(at, name)| Column { at, name: name.to_owned() });
        self.taken.extend(found.as_ref().map(|column| column.at));
        found
    }

    fn has_numbers(&self, column: u32) -> bool {
        let mut cells = self.below.iter().filter_map(|row| row.cell(column)).take(ROWS);
        cells.any(|cell| match cell {
            Cell::Number(_) | Cell::Percent(_) | Cell::NoValue => true,
            Cell::Text(text) => Written::read(text).is_some(),
            Cell::Date | Cell::Flag(_) | Cell::Error(_) => false,
        })
    }

    /// The texts of a column, each once, without those of rows of sums.
    fn texts(&self, column: u32) -> Vec<String> {
        let mut known = HashSet::default();
        let mut out: Vec<String> = Vec::new();
        for row in &self.parts {
            if out.len() == MOST_NAMES {
                break;
            }
            let Some(Cell::Text(text)) = row.cell(column) else { continue };
            let name = Name::of(text);
            if known.insert(name.folded) {
                out.push(name.text);
            }
        }
        out
    }

    fn system(&mut self) -> Value {
        let Some(column) = self.column(SYSTEM, Kind::Name) else {
            self.miss("in: no column of systems: add `in: SYSTEM`, or `in: {column: COLUMN, names: {TEXT: SYSTEM}}`");
            return Value::Map(Vec::new());
        };
        let systems: Vec<Known<'_>> = self.loaded.records().filter_map(|(_, record)| Known::of(record)).collect();
        let serves = only_target(self.loaded);
        let mut names = Vec::new();
        for text in self.texts(column.at) {
            let kebab = to_kebab_case(&text).unwrap_or_default();
            let folded = Name::of(&text).folded;
            let same = systems.iter().find(|system| system.id == kebab || system.title.as_ref() == Some(&folded));
            // `Brake` for `brakes`, `Front wing` for `wing`: a word in common with the id or title of one system only.
            let own = stems(&kebab);
            let mut similar = systems.iter().filter(|system| system.words.iter().any(|word| own.contains(word)));
            let only = similar.next().filter(|_| similar.next().is_none());
            match same.or(only) {
                Some(system) => names.push((text, Value::plain(system.id))),
                None => match system_of(self.loaded, &text) {
                    Some((id, true)) => names.push((text, Value::plain(id.as_str()))),
                    Some((id, false)) if self.new.iter().any(|own| own.id == id) => {}
                    Some((id, false)) => self.new.push(NewSystem::of_section(id, Some(text), serves.clone())),
                    None => self.unknown.push(format!("in: no system for `{}`: add it to `names`", shorten(&text))),
                },
            }
        }
        if !self.new.is_empty() {
            let titles = self.new.iter().filter_map(|system| system.title.as_deref());
            let titles: Vec<String> = titles.map(|title| format!("`{}`", shorten(title))).collect();
            let them = if titles.len() == 1 { "it" } else { "them" };
            self.unknown.push(format!(
                "in: no system for {}: add {them} to `names`, or let `--with-systems` add {them} to the records",
                titles.join(", ")
            ));
        }
        Value::Map(vec![("column".to_owned(), column.value()), ("names".to_owned(), Value::Map(names))])
    }

    /// The column of the bases of an amount: that which names it or is in its group, otherwise one for all amounts.
    fn basis(&self, amount: &str, column: &Column, taken: &[u32]) -> Option<Column> {
        let amounts = [("mass", MASS), ("cost", COST)];
        let names = |name: &str, own: bool| {
            amounts
                .iter()
                .any(|(other, words)| (*other == amount) == own && words.iter().any(|word| has_word(name, word)))
        };
        let group = column.name.split_once(" / ").map(|(group, _)| format!("{group} / "));
        let is_own = |name: &str| group.as_ref().is_some_and(|group| name.starts_with(group)) || names(name, true);
        let is_free = |at: u32| !taken.contains(&at);
        let all = || BASIS.iter().flat_map(|word| self.columns.names().filter(move |(_, name)| has_word(name, word)));
        let found = all().find(|(at, name)| is_free(*at) && is_own(name));
        let found = found.or_else(|| all().find(|(at, name)| is_free(*at) && !names(name, false)));
        found.map(|(at, name)| Column { at, name: name.to_owned() })
    }

    fn amount(&mut self, amount: &str, column: &Column, basis: Option<&Column>, uncertainty: Option<&Column>) -> Value {
        let mut keys = vec![("column".to_owned(), column.value())];
        match self.unit(amount, column) {
            Some(unit) => keys.push(("unit".to_owned(), Value::plain(unit))),
            None => self.miss(format!(
                "unit of `{}`: neither its name nor its cells have one: add `unit: UNIT`",
                shorten(&column.name)
            )),
        }
        keys.extend(uncertainty.map(|column| ("uncertainty".to_owned(), column.value())));
        let bases = self.loaded.settings().growth.get(amount);
        let Some(basis) = basis else { return Value::Map(keys) };
        let Some(bases) = bases else {
            self.unknown.push(format!(
                "basis of {amount}: `{}` is not used, as `growth` in tierod.yaml has no bases of {amount}",
                shorten(&basis.name)
            ));
            return Value::Map(keys);
        };
        let (mut names, mut unknown) = (Vec::new(), Vec::new());
        for text in self.texts(basis.at) {
            let (lower, kebab) = (text.to_lowercase(), to_kebab_case(&text));
            let is_meant = |id: &&schema::Id| {
                let words = BASES.iter().find(|(name, _)| *name == id.as_str()).map_or(&[][..], |(_, words)| *words);
                kebab.as_deref() == Some(id.as_str()) || words.iter().any(|word| has_word(&lower, word))
            };
            match bases.keys().find(is_meant) {
                Some(id) => names.push((text, Value::plain(id.as_str()))),
                None => {
                    unknown.push(format!("basis of {amount}: no basis for `{}`: add it to `names`", shorten(&text)));
                }
            }
        }
        // A column of states can be about another amount.
        if names.len() > unknown.len() {
            self.taken.push(basis.at);
            self.unknown.extend(unknown);
            let column = ("column".to_owned(), basis.value());
            keys.push(("basis".to_owned(), Value::Map(vec![column, ("names".to_owned(), Value::Map(names))])));
        }
        Value::Map(keys)
    }

    /// The unit in the name of a column or in its cells; for a cost the currency of the team if it has no other.
    fn unit(&self, amount: &str, column: &Column) -> Option<String> {
        let fits = |text: &str| {
            let unit = unit_of(text)?;
            let fits = match amount {
                "mass" => Unit::parse("kg").is_ok_and(|kg| kg.dimension() == unit.dimension()),
                _ => unit.is_currency(),
            };
            fits.then(|| unit.to_string())
        };
        let in_name = || column.name.split(['[', ']', '(', ')', '/', ' ', ',']).rev().find_map(fits);
        let in_cell = |cell: &Cell| match cell {
            Cell::Text(text) => Written::read(text).and_then(|written| fits(&written.unit)),
            _ => None,
        };
        let in_cells = || self.below.iter().take(ROWS).filter_map(|row| row.cell(column.at)).find_map(in_cell);
        let own = || self.loaded.settings().currency.clone().filter(|_| amount == "cost");
        in_name().or_else(in_cells).or_else(own)
    }
}

/// Whether a column name has a word or words: `no` is one in `Part no.`, not in `Notes`.
fn has_word(name: &str, word: &str) -> bool {
    let name = name.to_lowercase();
    let is_part = |c: Option<char>| c.is_some_and(char::is_alphanumeric);
    name.match_indices(word).any(|(at, found)| {
        !is_part(name[..at].chars().next_back()) && !is_part(name[at + found.len()..].chars().next())
    })
}

/// Whether a column is named as the uncertainty of another one.
fn is_uncertainty(name: &str) -> bool {
    let name = name.to_lowercase();
    UNCERTAINTY.iter().any(|sign| name.contains(sign))
}

/// The first row of two or more names and no number, with values in the row below; two rows if the first has groups of columns,
/// or the second units.
fn header(table: &Table) -> Option<Header> {
    let is_name = |(_, cell): &(u32, Cell)| match cell {
        Cell::Text(text) => Written::read(text).is_none_or(|written| !written.unit.is_empty()),
        _ => false,
    };
    let is_names = |row: &Row| row.cells.len() > 1 && row.cells.iter().all(is_name);
    let rows = &table.rows[..table.rows.len().min(100)];
    for (at, row) in rows.iter().enumerate().filter(|(_, row)| is_names(row)) {
        let next = rows.get(at + 1)?;
        let has_values = |row: &&Row| row.cells.iter().any(|cell| !is_name(cell));
        if is_names(next) && next.number == row.number + 1 && rows.get(at + 2).is_some_and(|row| has_values(&row)) {
            // Names over names: the first are of groups, unless the second is the whole header under a title.
            // Groups leave cells free beside them, or are merged over several columns.
            let is_below_group = |(column, _): &(u32, Cell)| row.cell(*column).is_none();
            let is_units =
                || next.cells.iter().all(|(_, cell)| matches!(cell, Cell::Text(text) if unit_of(text).is_some()));
            if next.cells.len() >= row.cells.len()
                || Line::row(table, next.number).at_column(next, row.cells[0].0).is_some()
                || next.cells.iter().any(is_below_group)
                || is_units()
            {
                return Some(Header { first: row.number, last: next.number });
            }
        }
        if rows[at + 1..].iter().take(ROWS).any(|row| has_values(&row) && row.cells.len() > 1) {
            return Some(Header { first: row.number, last: row.number });
        }
    }
    None
}
