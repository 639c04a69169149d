//! The columns that an entry uses, found in a sheet: each looked up once, not once per row.

use std::collections::HashMap;
use std::rc::Rc;

use schema::quantity::Unit;
use schema::settings::imports::{ImportedAmount, ImportedParts, OrColumn};
use schema::words::shorten;
use schema::{Id, Quantity};

use super::cells;
use super::header::Columns;
use crate::Error;
use crate::load::Loaded;
use crate::spreadsheet::{Name, NameColumn, Table};

/// The largest number of columns of amounts of an entry: each is read in every row.
const MOST_AMOUNTS: usize = 100;

/// The largest number of margins of an amount.
const MOST_MARGINS: usize = 10;

/// The columns that an entry uses.
pub(super) struct Used<'u> {
    pub(super) parts: &'u ImportedParts,
    pub(super) id: u32,
    pub(super) title: Option<u32>,
    pub(super) lead: Option<u32>,
    pub(super) safety_critical: Option<u32>,
    pub(super) count: Option<u32>,
    pub(super) system: Named<'u, Id>,
    pub(super) amounts: Vec<UsedAmount<'u>>,
    /// The columns of names that are used, each once.
    names: Vec<NameColumn<'u>>,
}

/// The bases of an amount by name.
type Bases<'u> = HashMap<&'u str, &'u Id>;

/// A column of an amount.
pub(super) struct UsedAmount<'u> {
    pub(super) name: &'u Id,
    pub(super) entry: &'u ImportedAmount,
    pub(super) unit: Unit,
    pub(super) column: u32,
    pub(super) uncertainty: Option<u32>,
    pub(super) basis: Option<Named<'u, Id>>,
    pub(super) margins: Vec<Named<'u, Quantity>>,
    /// The bases of the amount in the settings.
    pub(super) bases: Rc<Bases<'u>>,
    /// The other columns of the same amount.
    pub(super) others: Vec<usize>,
}

/// One value for all rows, or one by the text of a column.
pub(super) enum Named<'u, T> {
    /// The same for all rows.
    Always(&'u T),
    /// By the text of a column.
    Column {
        /// Its name in the entry.
        name: &'u str,
        /// Which of the columns of names it is.
        at: usize,
        /// What the texts mean.
        values: HashMap<String, &'u T>,
    },
}

/// The names of the columns of an entry.
pub(super) fn wanted(parts: &ImportedParts) -> Vec<&str> {
    let mut all = vec![parts.id.as_str()];
    all.extend(parts.title.as_deref());
    all.extend(parts.r#in.column());
    all.extend(parts.count.as_deref());
    all.extend(parts.lead.as_deref());
    all.extend(parts.safety_critical.as_deref());
    for (_, amount) in parts.columns() {
        all.push(&amount.column);
        all.extend(amount.uncertainty.as_deref());
        all.extend(amount.basis.as_ref().and_then(OrColumn::column));
        all.extend(amount.margins.iter().filter_map(OrColumn::column));
    }
    all
}

/// Refuses an entry with so many columns that each row takes long.
pub(super) fn check_size(parts: &ImportedParts) -> Result<(), Error> {
    let number = parts.columns().count();
    if number > MOST_AMOUNTS {
        let error = Error::new(format!("the entry has {number} columns of amounts"));
        return Err(error.help(format!("use at most {MOST_AMOUNTS}")));
    }
    match parts.columns().find(|(_, amount)| amount.margins.len() > MOST_MARGINS) {
        Some((name, amount)) => {
            let error = Error::new(format!("`{name}` has {} margins", amount.margins.len()));
            Err(error.help(format!("use at most {MOST_MARGINS}")))
        }
        None => Ok(()),
    }
}

impl<'u> Used<'u> {
    pub(super) fn new(
        parts: &'u ImportedParts,
        columns: &Columns,
        table: &'u Table,
        loaded: &'u Loaded,
    ) -> Result<Self, Error> {
        let maybe = |name: Option<&str>| name.map(|name| columns.get(name)).transpose();
        let mut names: Vec<NameColumn<'u>> = Vec::new();
        let mut places = HashMap::new();
        let mut column_of = |name: &str| -> Result<usize, Error> {
            let column = columns.get(name)?;
            Ok(*places.entry(column).or_insert_with(|| {
                names.push(NameColumn::new(table, column));
                names.len() - 1
            }))
        };
        let system = named(&parts.r#in, &mut column_of)?;
        let mut amounts: Vec<UsedAmount<'u>> = Vec::new();
        let mut of_amount: HashMap<&str, Vec<usize>> = HashMap::new();
        let mut bases_of: HashMap<&str, Rc<Bases<'u>>> = HashMap::new();
        for (at, (name, entry)) in parts.columns().enumerate() {
            let unit = Unit::parse(&entry.unit).map_err(Error::new)?;
            let column = columns.get(&entry.column)?;
            let uncertainty = maybe(entry.uncertainty.as_deref())?;
            for column in [Some(column), uncertainty].into_iter().flatten() {
                if let Some(other) = cells::other_unit(columns.name(column), &unit) {
                    let message = format!("the column `{}` is in {other}", shorten(columns.name(column)));
                    let why = format!("the entry has `unit: {unit}` for `{name}`");
                    return Err(Error::new(message).because(why).help("correct one of them; nothing was read"));
                }
            }
            let margins = entry.margins.iter().map(|margin| named(margin, &mut column_of));
            let margins = margins.collect::<Result<_, Error>>()?;
            let basis = entry.basis.as_ref().map(|basis| named(basis, &mut column_of)).transpose()?;
            let bases = bases_of.entry(name.as_str()).or_insert_with(|| {
                let bases = loaded.settings().growth.get(name.as_str());
                let bases = bases.into_iter().flat_map(|bases| bases.keys());
                Rc::new(bases.map(|basis| (basis.as_str(), basis)).collect())
            });
            of_amount.entry(name.as_str()).or_default().push(at);
            amounts.push(UsedAmount {
                name,
                entry,
                unit,
                column,
                uncertainty,
                basis,
                margins,
                bases: Rc::clone(bases),
                others: Vec::new(),
            });
        }
        for (at, amount) in amounts.iter_mut().enumerate() {
            let own = of_amount.get(amount.name.as_str()).into_iter().flatten();
            amount.others = own.copied().filter(|other| *other != at).collect();
        }
        Ok(Self {
            parts,
            id: columns.get(&parts.id)?,
            title: maybe(parts.title.as_deref())?,
            lead: maybe(parts.lead.as_deref())?,
            safety_critical: maybe(parts.safety_critical.as_deref())?,
            count: maybe(parts.count.as_deref())?,
            system,
            amounts,
            names,
        })
    }

    /// The columns of numbers.
    pub(super) fn numbers(&self) -> Vec<u32> {
        let of_amounts = self.amounts.iter().flat_map(|amount| [Some(amount.column), amount.uncertainty]);
        of_amounts.flatten().chain(self.count).collect()
    }

    /// A column of names.
    pub(super) fn names(&self, at: usize) -> &NameColumn<'u> {
        &self.names[at]
    }
}

fn named<'u, T>(
    value: &'u OrColumn<T>,
    column_of: &mut impl FnMut(&str) -> Result<usize, Error>,
) -> Result<Named<'u, T>, Error> {
    Ok(match value {
        OrColumn::Always(value) => Named::Always(value),
        OrColumn::Column { column, names } => {
            let mut values = HashMap::with_capacity(names.len());
            for (text, value) in names.iter() {
                // Of two that are the same the first counts.
                values.entry(Name::of(text).folded).or_insert(value);
            }
            Named::Column { name: column, at: column_of(column)?, values }
        }
    })
}
