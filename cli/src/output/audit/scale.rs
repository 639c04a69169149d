//! Axes: from values to positions in a chart, and the round numbers next to them.

use schema::number;

/// A linear axis from values to positions.
#[derive(Clone, Copy)]
pub(super) struct Axis {
    from: (f64, f64),
    to: (f64, f64),
}

impl Axis {
    /// The axis that maps `values` to `positions`; an empty range is widened.
    pub(super) fn new(values: (f64, f64), positions: (f64, f64)) -> Self {
        let (low, high) = values;
        let widened = if high > low { values } else { (low - 0.5, low + 0.5) };
        Self { from: widened, to: positions }
    }

    /// The position of a value.
    pub(super) fn position(&self, value: f64) -> f64 {
        let share = (value - self.from.0) / (self.from.1 - self.from.0);
        self.to.0 + share * (self.to.1 - self.to.0)
    }

    /// Three to six round numbers on the axis.
    pub(super) fn ticks(&self) -> Vec<f64> {
        let (low, high) = self.from;
        let rough = (high - low) / 4.0;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 2.5, 5.0, 10.0].into_iter().map(|digit| digit * power).find(|step| *step >= rough);
        let step = step.unwrap_or(rough);
        let first = (low / step - 1e-9).ceil() as i64;
        (first..).map(|number| number as f64 * step).take_while(|value| *value <= high + step * 1e-9).take(12).collect()
    }
}

/// A coordinate in a chart, with one decimal.
pub(super) fn coordinate(value: f64) -> String {
    number::rounded(value, 1)
}

/// A round number as text.
pub(super) fn tick(value: f64) -> String {
    number::rounded(value, 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_within() {
        assert_eq!(Axis::new((197.0, 214.0), (0.0, 1.0)).ticks(), [200.0, 205.0, 210.0]);
        assert_eq!(Axis::new((0.0, 98.0), (0.0, 1.0)).ticks(), [0.0, 25.0, 50.0, 75.0]);
        assert!(!Axis::new((3.0, 3.0), (0.0, 1.0)).ticks().is_empty());
    }
}
