//! Money in the team's currency.

use schema::quantity::Unit;
use schema::words::Code;
use schema::{Entries, Quantity};

/// A quantity in the team's currency if the settings have a rate for it: the unit, and value and uncertainty in SI.
pub(super) fn in_currency(rates: &Entries<Code, Quantity>, quantity: &Quantity) -> (Unit, f64, f64) {
    let uncertainty = quantity.uncertainty().unwrap_or(0.0) * quantity.unit().factor();
    let unchanged = (quantity.unit().clone(), quantity.si(), uncertainty);
    let Some(currency) = quantity.unit().dimension().currency() else { return unchanged };
    let Some(rate) = rates.get(currency.code()) else { return unchanged };
    match quantity.unit().exchanged(rate) {
        Some((unit, factor)) => (unit, quantity.si() * factor, uncertainty * factor),
        None => unchanged,
    }
}
