//! Money in the team's currency.

use schema::quantity::Unit;
use schema::words::Code;
use schema::{Entries, Quantity};

/// A quantity in the team's currency if the settings have a rate for it, or a chain of rates: the unit, and value and
/// uncertainty in SI.
pub(super) fn in_currency(rates: &Entries<Code, Quantity>, quantity: &Quantity) -> (Unit, f64, f64) {
    let uncertainty = quantity.uncertainty().unwrap_or(0.0) * quantity.unit().factor();
    let mut found = (quantity.unit().clone(), quantity.si(), uncertainty);
    // A chain has at most as many rates as there are; circles are removed when the settings are read.
    for _ in 0..rates.len() {
        let rate = found.0.dimension().currency().and_then(|currency| rates.get(currency.code()));
        let Some((unit, factor)) = rate.and_then(|rate| found.0.exchanged(rate)) else { break };
        found = (unit, found.1 * factor, found.2 * factor);
    }
    found
}
