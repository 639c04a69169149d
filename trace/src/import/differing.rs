//! What a sheet and the records say differently and an import does not change.

use std::collections::VecDeque;

use foldhash::{HashMap, HashSet};
use schema::quantity::Unit;
use schema::records::Part;
use schema::settings::imports::Import;
use schema::{Id, Quantity};

use super::rows::{Item, ItemAmount};
use super::systems::Leads;
use super::{Plan, amount_of, is_same};
use crate::RecordId;
use crate::load::Loaded;
use crate::spreadsheet::Name;
use crate::spreadsheet::number::clean;

/// A value that differs and that the import does not change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Differing {
    /// The row, as the spreadsheet counts.
    pub row: u32,
    /// The part.
    pub id: String,
    /// The key below the part: `title`, `in`, `lead`, `safety-critical`, `amounts.mass`.
    pub field: String,
    /// The value in the sheet.
    pub sheet: String,
    /// The value in the records, if there is one.
    pub records: Option<String>,
}

/// An empty cell of an amount: of a new part, or of one whose amount only the records have.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EmptyCell {
    /// The row, as the spreadsheet counts.
    pub row: u32,
    /// The column, as the spreadsheet names it: `D`.
    pub column: String,
    /// The part.
    pub id: String,
    /// The amount.
    pub amount: String,
    /// The amount in the records, which stays.
    pub records: Option<String>,
}

/// A part of the records that is not in the car by the sheet: its row has no number of pieces.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotInCar {
    /// The row, as the spreadsheet counts.
    pub row: u32,
    /// The part.
    pub id: String,
    /// What the row has instead.
    pub reason: String,
}

/// A part that seems to have a new part number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Renumbered {
    /// Its id in the records, which no row of the sheet is about.
    pub from: String,
    /// The id of a new part with the same title and amounts.
    pub to: String,
}

impl Plan<'_> {
    /// Adds title, system, lead and safety of a part if they differ.
    pub(super) fn compare_names(&mut self, loaded: &Loaded, id: &str, part: &Part, item: &Item, leads: &Leads<'_>) {
        let mut add = |field: &str, sheet: &str, records: Option<&str>| {
            let (sheet, records) = (sheet.to_owned(), records.map(str::to_owned));
            self.differing.push(Differing {
                row: item.row,
                id: id.to_owned(),
                field: field.to_owned(),
                sheet,
                records,
            });
        };
        if let Some(title) = item.title.as_deref().map(super::one_line) {
            let own = part.title.as_deref().unwrap_or_default();
            if clean(own) != clean(&title) {
                add("title", &title, part.title.as_deref());
            }
        }
        // A system for all rows is not what the sheet says.
        let own = part.r#in.as_ref();
        if self.import.parts.r#in.column().is_some() && !own.is_some_and(|own| is_inside(loaded, own, &item.system)) {
            add("in", item.system.as_str(), own.map(Id::as_str));
        }
        if let Some(lead) = item.lead.as_deref().map(super::one_line) {
            let inherited = || own.and_then(|own| leads.of(own));
            let known = part.lead.as_deref().filter(|lead| !lead.trim().is_empty()).or_else(inherited);
            if known.map(clean) != Some(clean(&lead)) {
                add("lead", &lead, known);
            }
        }
        if let Some(is_critical) = item.safety_critical.filter(|own| *own != part.safety_critical) {
            let word = |is: bool| if is { "true" } else { "false" };
            add("safety-critical", word(is_critical), Some(word(part.safety_critical)));
        }
    }

    /// Adds an amount that is read from an evidence file, if the number differs.
    pub(super) fn compare_read(
        &mut self,
        id: &str,
        name: &Id,
        own: Option<&Quantity>,
        item: (&Item, &ItemAmount),
        unit: &Unit,
    ) {
        let (item, amount) = item;
        let text = unit.after(&amount.value.to_string());
        let is_same = |own: &Quantity| {
            is_same(own, amount.value, unit) || Quantity::parse(&text).is_ok_and(|text| own.same_value(&text))
        };
        if !own.is_some_and(is_same) {
            let records = own.map(|own| own.text().to_owned());
            let field = format!("amounts.{name}");
            self.differing.push(Differing { row: item.row, id: id.to_owned(), field, sheet: text, records });
        }
    }

    /// The empty cells of a part: those of a new one, and those whose amount the records have.
    pub(super) fn empty_cells(&self, part: Option<&Part>, id: &str, item: &Item) -> Vec<EmptyCell> {
        let names: Vec<&Id> = self.import.parts.columns().map(|(name, _)| name).collect();
        let cell = |empty: &super::rows::Empty| {
            let own = part.and_then(|part| amount_of(part, names[empty.amount]));
            let records = own.and_then(|own| own.value.quantity()).map(|own| own.text().to_owned());
            let is_missing = part.is_none() && !empty.is_dash;
            (own.is_some() || is_missing).then(|| EmptyCell {
                row: item.row,
                column: empty.column.clone(),
                id: id.to_owned(),
                amount: names[empty.amount].to_string(),
                records,
            })
        };
        item.empty.iter().filter_map(cell).collect()
    }

    /// The new parts that have title and amounts of a part that is gone.
    pub(super) fn renumbered_parts(&self, loaded: &Loaded, gone: &[RecordId]) -> Vec<Renumbered> {
        /// Of new parts with one title, only these are looked at.
        const MOST_ALIKE: usize = 50;
        if gone.is_empty() {
            return Vec::new();
        }
        let added: HashSet<&str> = self.added.iter().map(|part| part.id.as_str()).collect();
        let mut new: HashMap<String, VecDeque<&Item>> = HashMap::default();
        for item in self.rows.items.iter().filter(|item| added.contains(item.id.as_str())) {
            if let Some(title) = &item.title {
                new.entry(Name::of(title).folded).or_default().push_back(item);
            }
        }
        let units: Vec<Option<Unit>> =
            self.import.parts.columns().map(|(_, entry)| Unit::parse(&entry.unit).ok()).collect();
        let mut out = Vec::new();
        for id in gone {
            let Some((part, title)) = loaded.part(*id).and_then(|part| Some((part, part.title.as_deref()?))) else {
                continue;
            };
            let Some(alike) = new.get_mut(&Name::of(title).folded) else { continue };
            let same = alike.iter().take(MOST_ALIKE).position(|item| has_same_amounts(self.import, &units, part, item));
            if let Some(new) = same.and_then(|at| alike.remove(at)) {
                out.push(Renumbered { from: loaded.record(*id).id.to_string(), to: new.id.to_string() });
            }
        }
        out
    }
}

/// Whether a system is another one or in it.
fn is_inside(loaded: &Loaded, own: &Id, system: &Id) -> bool {
    const DEEPEST: usize = 100;
    let mut at = Some(own);
    for _ in 0..DEEPEST {
        match at {
            Some(id) if id == system => return true,
            Some(id) => at = loaded.find(id.as_str()).and_then(|id| loaded.record(id).about()),
            None => return false,
        }
    }
    false
}

/// Whether the amounts agree, with at least one. `units` are those of the columns of the entry.
fn has_same_amounts(import: &Import, units: &[Option<Unit>], part: &Part, item: &Item) -> bool {
    let names = import.parts.columns().map(|(name, _)| name);
    let mut amounts = names.zip(units).zip(&item.amounts);
    let agrees = |((name, unit), amount): ((&Id, &Option<Unit>), &Option<ItemAmount>)| {
        let Some(unit) = unit else { return false };
        let own = amount_of(part, name).and_then(|own| own.value.quantity());
        // One in another currency is in another column.
        match (own.filter(|own| own.unit().dimension() == unit.dimension()), amount) {
            (Some(own), Some(amount)) => is_same(own, amount.value, unit),
            (None, None) => true,
            _ => false,
        }
    };
    item.amounts.iter().any(Option::is_some) && amounts.all(agrees)
}
