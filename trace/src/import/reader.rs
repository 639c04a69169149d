//! One row with what is needed to read it.

use std::rc::Rc;

use schema::Id;
use schema::quantity::Unit;
use schema::settings::imports::DecimalMark;
use schema::words::{shorten, to_kebab_case};

use super::cells;
use super::ids::{has_become_date, has_become_number, id_of};
use super::rows::{Item, ItemAmount};
use super::used::{Named, Used, UsedAmount};
use super::{UnreadCell, digits_of};
use crate::Error;
use crate::load::Loaded;
use crate::spreadsheet::number::clean;
use crate::spreadsheet::{Cell, Decimal, Name, Row, Table, column_name};

/// The largest count of a part.
const MOST_PIECES: i64 = 100_000;

/// One row with what is needed to read it.
pub(super) struct Reader<'r> {
    pub(super) table: &'r Table,
    pub(super) row: &'r Row,
    pub(super) used: &'r Used<'r>,
    pub(super) mark: Option<DecimalMark>,
    pub(super) loaded: &'r Loaded,
    /// Whether systems that are missing are added.
    pub(super) adds_systems: bool,
}

impl<'r> Reader<'r> {
    pub(super) fn text(&self, column: u32) -> String {
        self.row.cell(column).map(|cell| clean(&cell.shown())).unwrap_or_default()
    }

    /// The text of a column of names, in which a merged cell counts for all its rows.
    fn name(&self, at: usize) -> Rc<Name> {
        self.used.names(at).name(self.row)
    }

    pub(super) fn title(&self) -> Option<String> {
        self.used.title.map(|column| self.text(column)).filter(|title| !title.is_empty())
    }

    pub(super) fn count(&self) -> Result<Option<u32>, String> {
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
    pub(super) fn no_pieces(&self, count: &Result<Option<u32>, String>) -> Option<String> {
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
    pub(super) fn has_no_pieces(&self) -> bool {
        let count = self.used.count.map(|column| cells::number(self.row.cell(column), None, self.mark));
        matches!(count, Some(Ok(Some(count))) if count.is_zero())
    }

    /// Stops at a cell with a unit of its own that is not that of its column.
    pub(super) fn check_units(&self) -> Result<(), Error> {
        for amount in &self.used.amounts {
            let format = self.table.unit(self.row.number, amount.column);
            if let Some(other) = cells::own_unit(self.row.cell(amount.column), format, &amount.unit) {
                let cell = format!("{}{}", column_name(amount.column), self.row.number);
                let id = self.text(self.used.id);
                let message = format!("the cell {cell} of `{}` is in {other}", shorten(&id));
                let why = format!("the entry has `unit: {}` for `{}`", amount.unit, amount.name);
                return Err(Error::new(message).because(why).help("correct one of them; nothing was read"));
            }
        }
        Ok(())
    }

    pub(super) fn amounts(&self) -> Vec<Result<Option<ItemAmount>, String>> {
        let read = |amount: &UsedAmount<'_>| {
            let Some(raw) = cells::number(self.row.cell(amount.column), Some(&amount.unit), self.mark)? else {
                return Ok(None);
            };
            if raw.is_negative() {
                return Err(format!("{raw} is negative"));
            }
            let mut factor = Decimal::ONE;
            let mut value = raw;
            for margin in &amount.margins {
                let own = self.margin(margin)?;
                let long = "it has too many digits";
                value = value.times(own).ok_or(long)?.rounded().without_zeros();
                factor = factor.times(own).ok_or(long)?.rounded().without_zeros();
            }
            Ok(Some(ItemAmount {
                raw,
                value: value.rounded(),
                uncertainty: self.uncertainty(amount, factor)?,
                basis: None,
            }))
        };
        let mut all: Vec<_> = self.used.amounts.iter().map(read).collect();
        // Which of two numbers counts is not known.
        let is_there = |at: &usize| !matches!(all[*at], Ok(None));
        let doubles: Vec<usize> =
            (0..all.len()).filter(|at| is_there(at) && self.used.amounts[*at].others.iter().any(is_there)).collect();
        for at in doubles {
            let name = self.used.amounts[at].name;
            all[at] = Err(format!("another column of `{name}` has a number too"));
        }
        all
    }

    /// The uncertainty of an amount, with the margins of the amount.
    fn uncertainty(&self, amount: &UsedAmount<'_>, factor: Decimal) -> Result<Option<Decimal>, String> {
        let Some(column) = amount.uncertainty else { return Ok(None) };
        let named = |reason: String| format!("{}: {reason}", column_name(column));
        let read = cells::number(self.row.cell(column), Some(&amount.unit), self.mark).map_err(named)?;
        match read {
            Some(number) if number.is_negative() => Err(named(format!("{number} is negative"))),
            Some(number) if number.is_zero() => Ok(None),
            Some(number) => number
                .times(factor)
                .map(|own| Some(own.rounded()))
                .ok_or_else(|| named("it has too many digits".to_owned())),
            None => Ok(None),
        }
    }

    /// The factor of a margin: 1.1 for 10 %.
    fn margin(&self, margin: &Named<'_, schema::Quantity>) -> Result<Decimal, String> {
        let percent = match margin {
            Named::Always(margin) => digits_of(margin),
            Named::Column { name, at, values } => {
                let text = self.name(*at);
                match values.get(&text.folded) {
                    Some(margin) => digits_of(margin),
                    None if values.is_empty() => {
                        let percent = Unit::parse("%").ok();
                        let cell = self.used.names(*at).cell(self.row);
                        cells::number(cell, percent.as_ref(), self.mark)
                            .map_err(|reason| format!("`{name}`: {reason}"))?
                    }
                    None => return Err(format!("`{name}` is `{}`, for which no margin is given", shorten(&text.text))),
                }
            }
        };
        let percent = percent.ok_or("its margin is missing")?;
        let share = percent.times(Decimal::parse("0.01").unwrap_or(Decimal::ZERO));
        share.and_then(|share| share.plus(Decimal::ONE)).ok_or_else(|| "its margin has too many digits".to_owned())
    }

    pub(super) fn item(&self, ids_are_texts: bool, count: &Result<Option<u32>, String>) -> Result<Item, String> {
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
            lead: self.used.lead.map(|column| self.text(column)).filter(|lead| !lead.is_empty()),
            safety_critical: self.safety_critical().unwrap_or_default(),
            system: system.0,
            section: system.1,
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

    /// Whether people's safety depends on the part; `None` without a column for it.
    fn safety_critical(&self) -> Result<Option<bool>, String> {
        const YES: [&str; 8] = ["true", "yes", "y", "x", "1", "ja", "oui", "✓"];
        const NO: [&str; 9] = ["", "false", "no", "n", "0", "-", "–", "nein", "non"];
        let Some(column) = self.used.safety_critical else { return Ok(None) };
        let text = self.text(column);
        let folded = text.to_lowercase();
        match (YES.contains(&folded.as_str()), NO.contains(&folded.as_str())) {
            (true, _) => Ok(Some(true)),
            (_, true) => Ok(Some(false)),
            _ => {
                let name = self.used.parts.safety_critical.as_deref().unwrap_or_default();
                Err(format!("`{name}` is `{}`, not true or false", shorten(&text)))
            }
        }
    }

    /// The system, and the text of the sheet that names it.
    fn system(&self) -> Result<(Id, Option<String>), String> {
        let (name, at, values) = match &self.used.system {
            Named::Always(id) => return Ok(((*id).clone(), None)),
            Named::Column { name, at, values } => (name, *at, values),
        };
        let text = self.name(at);
        if text.text.is_empty() {
            return Err(format!("`{name}` is empty"));
        }
        let section = Some(text.text.clone());
        if let Some(id) = values.get(&text.folded) {
            return Ok(((*id).clone(), section));
        }
        match system_of(self.loaded, &text.text) {
            Some((id, true)) => Ok((id, section)),
            Some((id, false)) if self.adds_systems => Ok((id, section)),
            _ => Err(format!("no system for `{}`: add it to `names` under `in`", shorten(&text.text))),
        }
    }

    /// Whether the row is of a system that is missing and can be added.
    pub(super) fn needs_system(&self) -> bool {
        let Named::Column { at, values, .. } = &self.used.system else { return false };
        let text = self.name(*at);
        !values.contains_key(&text.folded) && matches!(system_of(self.loaded, &text.text), Some((_, false)))
    }

    /// Adds the bases of the amounts; an unknown name is a cell that could not be read.
    pub(super) fn bases(&self, item: &mut Item) -> Vec<UnreadCell> {
        let mut unread = Vec::new();
        if let (Err(reason), Some(column)) = (self.safety_critical(), self.used.safety_critical) {
            let (column, id) = (column_name(column), Some(item.id.to_string()));
            unread.push(UnreadCell { row: self.row.number, column, id, reason });
        }
        for (amount, read) in self.used.amounts.iter().zip(&mut item.amounts) {
            let Some(read) = read else { continue };
            match &amount.basis {
                None => {}
                Some(Named::Always(basis)) => read.basis = Some((*basis).clone()),
                Some(Named::Column { name, at, values }) => {
                    let text = self.name(*at);
                    let itself = || amount.bases.get(to_kebab_case(&text.text)?.as_str());
                    read.basis = values.get(&text.folded).or_else(itself).map(|basis| (*basis).clone());
                    if read.basis.is_none() && !text.text.is_empty() {
                        unread.push(UnreadCell {
                            row: self.row.number,
                            column: column_name(self.used.names(*at).column),
                            id: Some(item.id.to_string()),
                            reason: format!(
                                "`{name}`: no basis for `{}`: add it to `names` under `basis`",
                                shorten(&text.text)
                            ),
                        });
                    }
                }
            }
        }
        unread
    }
}

/// The system that a text of a sheet names, and whether the records have it: `brakes` for `Brakes`. `None` if the text cannot
/// be an id, or is that of another record.
pub(super) fn system_of(loaded: &Loaded, text: &str) -> Option<(Id, bool)> {
    let ids = [to_kebab_case(text), to_kebab_case(&in_ascii(text))];
    let ids: Vec<Id> = ids.into_iter().flatten().filter_map(|id| Id::new(&id).ok()).collect();
    let is_system = |id: &Id| loaded.find(id.as_str()).is_some_and(|id| loaded.system(id).is_some());
    if let Some(id) = ids.iter().find(|id| is_system(id)) {
        return Some((id.clone(), true));
    }
    let is_free = |id: &Id| id.as_str() != schema::words::CAR && loaded.find(id.as_str()).is_none();
    ids.into_iter().next_back().filter(is_free).map(|id| (id, false))
}

/// The text with the letters of the languages around in ASCII: `Raeder` for `Räder`.
fn in_ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            'ä' => out.push_str("ae"),
            'ö' | 'ø' | 'œ' => out.push_str("oe"),
            'ü' => out.push_str("ue"),
            'Ä' => out.push_str("Ae"),
            'Ö' | 'Ø' | 'Œ' => out.push_str("Oe"),
            'Ü' => out.push_str("Ue"),
            'ß' => out.push_str("ss"),
            'à' | 'á' | 'â' | 'ã' | 'å' => out.push('a'),
            'ç' | 'č' => out.push('c'),
            'è' | 'é' | 'ê' | 'ë' | 'ě' => out.push('e'),
            'É' | 'È' | 'Ê' => out.push('E'),
            'ì' | 'í' | 'î' | 'ï' => out.push('i'),
            'ñ' => out.push('n'),
            'ò' | 'ó' | 'ô' | 'õ' => out.push('o'),
            'ù' | 'ú' | 'û' => out.push('u'),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::{File, Snapshot};

    #[test]
    fn a_section_of_a_sheet_names_a_system() {
        let text = "systems: {brakes: {in: car}, raeder: {in: car}}\nparts: {hub: {in: brakes}}\n";
        let file = File { path: "a.yaml".to_owned(), content: Ok(text.as_bytes().into()) };
        let loaded = Loaded::from_snapshot(Snapshot::in_memory(vec![file]));
        for (text, expected) in [
            ("Brakes", Some(("brakes", true))),
            ("Räder", Some(("raeder", true))),
            ("Rückholfeder & Züge", Some(("rueckholfeder-zuege", false))),
            ("Wheels & Hubs", Some(("wheels-hubs", false))),
            ("Hub", None),
            ("Car", None),
            ("–", None),
        ] {
            let found = system_of(&loaded, text);
            assert_eq!(found.as_ref().map(|(id, is_there)| (id.as_str(), *is_there)), expected, "{text}");
        }
    }
}
