//! Numbers as text.

use schema::number;
use schema::quantity::Unit;
use trace::values::TargetStatus;

/// A value in SI as text in its unit, with its uncertainty if it has one.
pub(crate) fn quantity(si: f64, uncertainty: f64, unit: &Unit) -> String {
    unit.show(si, uncertainty)
}

/// The distance of a value to its limit: a ratio, or a difference if the unit has its own zero (degrees Celsius).
pub(crate) fn margin(standing: &TargetStatus, unit: &Unit) -> Option<String> {
    let room = || unit.has_own_zero().then(|| standing.limit.room(standing.value?)).flatten();
    standing.margin.map(percent).or_else(|| Some(unit.show_change(room()?)))
}

/// A ratio as a percentage with its sign.
pub(crate) fn percent(ratio: f64) -> String {
    number::signed_percent(ratio, 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_has_a_sign() {
        assert_eq!(percent(0.0312), "+3.1 %");
        assert_eq!(percent(-0.5), "-50.0 %");
    }
}
