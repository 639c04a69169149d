//! The totals of a sheet and of the records, and why they differ.

use foldhash::HashSet;
use schema::quantity::Unit;

use super::{Plan, amount_of, digits_of, too_large};
use crate::load::Loaded;
use crate::spreadsheet::Decimal;
use crate::{Error, RecordId};

/// The total of an amount on both sides.
#[derive(Clone, Debug)]
pub struct Total {
    /// The amount.
    pub amount: String,
    /// The sum of the column, each row times its count; without subtotals.
    pub sheet: Decimal,
    /// The sum of the parts of the import in the records.
    pub records: Decimal,
    /// The unit of both.
    pub unit: String,
    /// Why they differ: together exactly their difference.
    pub differences: Vec<Difference>,
}

/// A cause of a difference.
#[derive(Clone, Debug)]
pub struct Difference {
    /// The cause.
    pub reason: &'static str,
    /// What the records have more because of it.
    pub value: Decimal,
    /// The parts that it comes from, if they are in the records.
    pub parts: Vec<String>,
}

/// What comes from some parts.
#[derive(Default)]
struct Cause {
    sum: Decimal,
    parts: Vec<String>,
}

impl Cause {
    fn add(&mut self, loaded: &Loaded, id: Option<RecordId>, value: Decimal) -> Result<(), Error> {
        self.sum = self.sum.plus(value).ok_or_else(too_large)?;
        self.parts.extend(id.filter(|_| !value.is_zero()).map(|id| loaded.record(id).id.to_string()));
        Ok(())
    }
}

impl Plan<'_> {
    /// The totals, given the records after the import.
    ///
    /// # Errors
    /// Numbers that are too large.
    pub fn totals(&self, after: &Loaded) -> Result<Vec<Total>, Error> {
        let amounts = self.import.parts.columns().enumerate();
        let gone = self.gone_parts(after);
        amounts.map(|(at, (name, entry))| self.total(after, &gone, at, (name, &entry.unit))).collect()
    }

    fn total(
        &self,
        after: &Loaded,
        gone_parts: &[RecordId],
        at: usize,
        (name, unit): (&schema::Id, &str),
    ) -> Result<Total, Error> {
        let unit = Unit::parse(unit).map_err(Error::new)?;
        let sum = |a: Decimal, b: Decimal| a.plus(b).ok_or_else(too_large);
        let less = |a: Decimal, b: Decimal| a.minus(b).ok_or_else(too_large);
        // What a part of the records has, in the unit of the sheet.
        let has = |id: RecordId| -> Result<Decimal, Error> {
            let Some(part) = after.part(id) else { return Ok(Decimal::ZERO) };
            let Some(amount) = amount_of(part, name) else { return Ok(Decimal::ZERO) };
            let Some(value) = amount.value.quantity() else { return Ok(Decimal::ZERO) };
            let own = value.unit();
            if own.dimension() != unit.dimension() {
                return Ok(Decimal::ZERO);
            }
            let number = digits_of(value).ok_or_else(too_large)?;
            let is_same_unit = own.to_string() == unit.to_string();
            let number = if is_same_unit { Some(number) } else { number.scaled(own.factor() / unit.factor()) };
            let count = Decimal::whole(i64::from(part.count.unwrap_or(1)));
            number.and_then(|number| number.times(count)).ok_or_else(too_large)
        };
        let mut sheet = self.rows.skipped_sums.get(at).copied().unwrap_or_default();
        let skipped = less(Decimal::ZERO, sheet)?;
        let (mut records, mut margins) = (Decimal::ZERO, Decimal::ZERO);
        let [mut unknown, mut other, mut gone, mut no_pieces, mut kept] = <[Cause; 5]>::default();
        let find = |id: &str| after.find(id).or_else(|| after.renamed(id));
        for item in &self.rows.items {
            let found = find(item.id.as_str());
            let own = found.map_or(Ok(Decimal::ZERO), has)?;
            records = sum(records, own)?;
            let Some(amount) = &item.amounts[at] else {
                unknown.add(after, found, own)?;
                continue;
            };
            let count = Decimal::whole(i64::from(item.count.unwrap_or(1)));
            let times = |number: Decimal| number.times(count).ok_or_else(too_large);
            let (raw, full) = (times(amount.raw)?, times(amount.value)?);
            sheet = sum(sheet, raw)?;
            margins = sum(margins, less(full, raw)?)?;
            other.add(after, found, less(own, full)?)?;
        }
        for &id in gone_parts {
            gone.add(after, Some(id), has(id)?)?;
        }
        let mut seen = HashSet::default();
        for row in &self.rows.skipped_ids {
            let Some(id) = find(&row.id).filter(|id| seen.insert(*id)) else { continue };
            let cause = if row.no_pieces.is_some() { &mut no_pieces } else { &mut kept };
            cause.add(after, Some(id), has(id)?)?;
        }
        for cause in [&gone, &no_pieces, &kept] {
            records = sum(records, cause.sum)?;
        }
        let whole = |sum: Decimal| Cause { sum, parts: Vec::new() };
        let differences = [
            ("margins of the entry", whole(margins)),
            ("rows skipped", whole(skipped)),
            ("parts that are not in the car by the sheet", no_pieces),
            ("parts whose row is skipped", kept),
            ("parts that are not in the sheet", gone),
            ("parts whose cell is empty or could not be read", unknown),
            ("counts and amounts that only the records have", other),
        ];
        let differences = differences.into_iter().filter(|(_, cause)| !cause.sum.is_zero());
        Ok(Total {
            amount: name.to_string(),
            sheet: sheet.without_zeros(),
            records: records.without_zeros(),
            unit: unit.to_string(),
            differences: differences
                .map(|(reason, cause)| Difference { reason, value: cause.sum.without_zeros(), parts: cause.parts })
                .collect(),
        })
    }
}
