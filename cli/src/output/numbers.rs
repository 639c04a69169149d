//! Numbers as text.

use schema::number;
use schema::quantity::Unit;
use trace::values::{Spread, TargetStatus};

/// A value in SI as text in its unit, with its uncertainty if it has one.
pub(crate) fn quantity(si: f64, uncertainty: f64, unit: &Unit) -> String {
    unit.show(si, uncertainty)
}

/// The mean of a value with its uncertainty; with the ends of its interval if it is not about as wide on both sides.
pub(crate) fn spread(spread: &Spread, unit: &Unit) -> String {
    if let Some(half) = spread.half() {
        return quantity(spread.mean, half, unit);
    }
    let half = 0.5 * (spread.high - spread.low) / unit.factor();
    let [mean, low, high] = [spread.mean, spread.low, spread.high].map(|si| number::measured(unit.from_si(si), half));
    unit.after(&format!("{mean} ({low} to {high})"))
}

/// The distance of a value to its limit: a ratio, or a difference if the unit has its own zero (degrees Celsius).
pub(crate) fn margin(target: &TargetStatus, unit: &Unit) -> Option<String> {
    let room = || unit.has_own_zero().then(|| target.limit.room(target.value?)).flatten();
    target.margin.map(percent).or_else(|| Some(unit.show_change(room()?)))
}

/// A ratio as a percentage with its sign; with more digits if there would be only zeros.
pub(crate) fn percent(ratio: f64) -> String {
    number::signed_percent(ratio, digits_of_percent(ratio))
}

/// The same of a ratio that is not negative, without the sign.
pub(crate) fn unsigned_percent(ratio: f64) -> String {
    number::percent(ratio, digits_of_percent(ratio))
}

fn digits_of_percent(ratio: f64) -> usize {
    const MOST: usize = 4;
    let digits = (1..MOST).find(|digits| ratio == 0.0 || ratio.abs() * 100.0 >= 0.5 * 0.1_f64.powi(*digits as i32));
    digits.unwrap_or(MOST)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_has_a_sign() {
        assert_eq!(percent(0.0312), "+3.1 %");
        assert_eq!(percent(-0.5), "-50.0 %");
        assert_eq!(percent(-0.0004), "-0.04 %");
        assert_eq!(percent(0.0), number::signed_percent(0.0, 1));
    }
}
