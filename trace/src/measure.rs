//! How bad a finding is, as a number, so that two states can be compared: kilograms over a budget, points missing, days
//! late.

use schema::number;
use schema::quantity::{Dimension, Unit};
use serde::{Deserialize, Serialize};

/// How bad a finding is. A larger number is worse.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// The number, in the unit.
    pub value: f64,
    /// The name of the unit; empty for a plain number.
    pub unit: String,
    /// The value of one of this unit in SI units.
    factor: f64,
    /// The dimension of the unit; `None` for days and percentages.
    dimension: Option<Dimension>,
    /// The decimals with which it is shown.
    decimals: usize,
}

/// A measure in the form in which it is kept.
#[derive(Serialize, Deserialize)]
pub(crate) struct StoredMeasure<'b> {
    value: f64,
    unit: &'b str,
    factor: f64,
    /// Whether the unit has a dimension: days and percentages have none.
    has_dimension: bool,
    decimals: u32,
}

/// The largest number of decimals that is shown.
const MOST_DECIMALS: usize = 7;

impl Measure {
    /// A part of a number, as in "2 kg over its limit": both in SI, shown in a unit. It has as many decimals as the
    /// number is shown with, and at least one digit.
    pub(crate) fn of(part: f64, number: f64, unit: &Unit) -> Self {
        let decimals = number::decimals((number / unit.factor()).abs(), 4, MOST_DECIMALS);
        Self::with_decimals(part, decimals, unit)
    }

    /// A part of a number with an uncertainty, which decides the digits that are shown; all in SI.
    pub(crate) fn within(part: f64, number: f64, uncertainty: f64, unit: &Unit) -> Self {
        if uncertainty > 0.0 {
            Self::with_decimals(part, number::decimals(uncertainty / unit.factor(), 2, MOST_DECIMALS), unit)
        } else {
            Self::of(part, number, unit)
        }
    }

    fn with_decimals(part: f64, decimals: usize, unit: &Unit) -> Self {
        let value = part / unit.factor();
        let decimals = decimals.max(number::decimals(value.abs(), 1, MOST_DECIMALS));
        Self { value, unit: unit.to_string(), factor: unit.factor(), dimension: Some(unit.dimension()), decimals }
    }

    /// The measure in the form in which it is kept; `None` if it cannot be restored from it.
    pub(crate) fn stored(&self) -> Option<StoredMeasure<'_>> {
        let has_dimension = self.dimension.is_some();
        let decimals = u32::try_from(self.decimals).ok()?;
        let stored =
            StoredMeasure { value: self.value, unit: &self.unit, factor: self.factor, has_dimension, decimals };
        (Self::restored(&stored).as_ref() == Some(self)).then_some(stored)
    }

    /// The measure that was kept; `None` if its unit cannot be read.
    pub(crate) fn restored(stored: &StoredMeasure<'_>) -> Option<Self> {
        let dimension = match stored.has_dimension {
            true => Some(Unit::parse(stored.unit).ok()?.dimension()),
            false => None,
        };
        let decimals = usize::try_from(stored.decimals).ok().filter(|decimals| *decimals <= MOST_DECIMALS)?;
        let (value, factor) = (stored.value, stored.factor);
        let is_sound = value.is_finite() && factor.is_finite() && factor > 0.0;
        is_sound.then(|| Self { value, unit: stored.unit.to_owned(), factor, dimension, decimals })
    }

    /// A number of points, with one decimal.
    pub(crate) fn points(value: f64) -> Self {
        Self { value, unit: "pts".to_owned(), factor: 1.0, dimension: None, decimals: 1 }
    }

    /// A number of days.
    pub(crate) fn days(value: i32) -> Self {
        Self { value: f64::from(value), unit: "days".to_owned(), factor: 1.0, dimension: None, decimals: 0 }
    }

    /// A ratio as a percentage, without decimals.
    pub(crate) fn percent(ratio: f64) -> Self {
        Self { value: ratio * 100.0, unit: "%".to_owned(), factor: 1.0, dimension: None, decimals: 0 }
    }

    /// The number in SI units.
    pub(crate) fn si(&self) -> f64 {
        self.value * self.factor
    }

    /// How much larger another measure of the same finding is, in SI; `None` if the difference is less than half of the
    /// last digit that is shown of either, or if their units do not match.
    pub(crate) fn change_to(&self, after: &Self) -> Option<f64> {
        let step = |measure: &Self| measure.factor * 10.0_f64.powi(-i32::try_from(measure.decimals).unwrap_or(0));
        if self.dimension != after.dimension {
            return None;
        }
        let change = after.si() - self.si();
        // A difference that is exactly half of a digit must not depend on rounding.
        let least = step(self).max(step(after)) / 2.0 * (1.0 - 1e-9);
        (change.abs() >= least).then_some(change)
    }

    /// Two measures as text with as many decimals as are needed to show that they differ.
    pub fn shown_with(&self, after: &Self) -> [String; 2] {
        let text = |measure: &Self, more: usize| {
            let text = number::rounded(measure.value, measure.decimals + more);
            if measure.unit.is_empty() { text } else { format!("{text} {}", measure.unit) }
        };
        let [before, is] = [text(self, 0), text(after, 0)];
        if before == is { [text(self, 1), text(after, 1)] } else { [before, is] }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn less_than_half_of_the_last_digit_is_no_change() {
        let kg = Unit::parse("kg").unwrap();
        let over = |part: f64| Measure::of(part, 50.0, &kg);
        assert_eq!(over(0.5).decimals, 2);
        assert_eq!(over(0.5).change_to(&over(0.504)), None);
        assert!(over(0.5).change_to(&over(0.505)).is_some());
        assert!(over(0.5).change_to(&over(0.4)).is_some_and(|change| change < 0.0));
        assert_eq!(over(0.5).shown_with(&over(36.5)), ["0.5 kg", "36.5 kg"]);
        assert_eq!(over(0.046).shown_with(&over(0.053)), ["0.046 kg", "0.053 kg"], "the change is visible");
        // In another unit.
        let grams = Measure::of(0.5, 50.0, &Unit::parse("g").unwrap());
        assert_eq!(over(0.5).change_to(&grams), None);
        assert_eq!(grams.shown_with(&over(0.6)), ["500 g", "0.6 kg"]);
    }
}
