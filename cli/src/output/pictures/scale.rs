//! Axes: from values to positions in a picture, and the round numbers next to them.

use schema::{Day, number};

use super::svg::{Align, Canvas, text_width};
use super::typeset::typeset;

/// A linear axis from values to positions.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    from: (f64, f64),
    to: (f64, f64),
}

impl Axis {
    /// The axis that maps `values` to `positions`; an empty range is widened.
    pub(super) fn new((low, high): (f64, f64), positions: (f64, f64)) -> Self {
        let finite = low.is_finite() && high.is_finite() && (high - low).is_finite();
        let (low, high) = if finite { (low, high) } else { (0.0, 1.0) };
        let room = (low.abs() * 1e-3).max(0.5);
        let from = if high > low { (low, high) } else { (low - room, low + room) };
        Self { from, to: positions }
    }

    /// The axis that contains all finite values, with some room at both ends.
    pub(super) fn around(values: impl IntoIterator<Item = f64>, positions: (f64, f64)) -> Self {
        let finite = values.into_iter().filter(|value| value.is_finite());
        let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        let room = 0.06 * (high - low);
        Self::new((low - room, high + room), positions)
    }

    /// The position of a value.
    pub(super) fn position(&self, value: f64) -> f64 {
        let share = (value - self.from.0) / (self.from.1 - self.from.0);
        self.to.0 + share * (self.to.1 - self.to.0)
    }

    /// The position of a value, at an end of the axis if it is beyond it.
    pub(super) fn inside(&self, value: f64) -> f64 {
        let (a, b) = (self.to.0.min(self.to.1), self.to.0.max(self.to.1));
        let position = self.position(value);
        if position.is_nan() { a } else { position.clamp(a, b) }
    }

    /// Three to six round numbers on the axis.
    pub(super) fn ticks(&self) -> Vec<f64> {
        let (low, high) = self.from;
        let rough = (high - low) / 4.0;
        if !(rough.is_finite() && rough > f64::MIN_POSITIVE * 1e3) {
            return Vec::new();
        }
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 2.5, 5.0, 10.0].into_iter().map(|digit| digit * power).find(|step| *step >= rough);
        let step = step.unwrap_or(rough);
        let first = (low / step - 1e-9).ceil();
        let all = (0..12).map(|number| (first + f64::from(number)) * step + 0.0);
        all.take_while(|value| *value <= high + step * 1e-9).collect()
    }

    /// Draws the grid, each line with its number below; `after` is the unit of the last one.
    pub(super) fn grid_below(&self, canvas: &mut Canvas, uprights: &Uprights, after: &str) {
        let (ticks, bottom) = (self.ticks(), uprights.bottom());
        // Lines next to each other are one path on the page.
        for value in &ticks {
            uprights.grid(canvas, self.position(*value), if *value == 0.0 { "axis" } else { "grid" });
        }
        for (at, value) in ticks.iter().enumerate() {
            let x = self.position(*value);
            let own = if at + 1 == ticks.len() && !after.is_empty() {
                format!("{} {after}", tick(*value))
            } else {
                tick(*value)
            };
            let own = typeset(&own);
            // At the edge the number moves into the picture.
            let half = 0.5 * text_width(&own, "s");
            let x = x.clamp(half, (canvas.width() - half).max(half));
            canvas.try_text((x, bottom + 14.0), Align::Middle, "s", &own);
        }
        canvas.grow(bottom + 18.0);
    }
}

/// Where the upright lines of a picture are.
#[derive(Clone, Debug)]
pub(super) enum Uprights {
    /// From the top to the bottom.
    Whole(f64, f64),
    /// Only beside the bars, as names are between them, each with its top and bottom; and the bottom of the picture.
    Beside(Vec<(f64, f64)>, f64),
}

impl Uprights {
    fn bottom(&self) -> f64 {
        let (Self::Whole(_, bottom) | Self::Beside(_, bottom)) = self;
        *bottom
    }

    /// Draws a line of the grid: a short one below, where bars have numbers beside them.
    pub(super) fn grid(&self, canvas: &mut Canvas, x: f64, class: &str) {
        match self {
            Self::Whole(..) => self.draw(canvas, x, class),
            Self::Beside(_, bottom) => canvas.line((x, *bottom), (x, bottom + 4.0), "axis"),
        }
    }

    /// Draws a line.
    pub(super) fn draw(&self, canvas: &mut Canvas, x: f64, class: &str) {
        let ends = match self {
            Self::Whole(top, bottom) => &[(*top, *bottom)],
            Self::Beside(bars, _) => bars.as_slice(),
        };
        for (top, bottom) in ends {
            canvas.line((x, *top), (x, *bottom), class);
        }
    }
}

/// A round number as text.
pub(super) fn tick(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-3..1e9).contains(&size) { number::precise(value) } else { number::rounded(value, 3) }
}

/// An axis of days.
#[derive(Clone, Copy, Debug)]
pub(super) struct Days {
    first: Day,
    last: Day,
    axis: Axis,
}

impl Days {
    /// The axis from the first to the last day.
    pub(super) fn new(first: Day, last: Day, positions: (f64, f64)) -> Self {
        let last = last.max(first);
        Self { first, last, axis: Axis::new((0.0, f64::from(first.days_until(last)).max(1.0)), positions) }
    }

    /// The position of a day, at an end of the axis if it is beyond it.
    pub(super) fn position(&self, day: Day) -> f64 {
        self.axis.inside(f64::from(self.first.days_until(day)))
    }

    /// Whether the axis contains a day.
    pub(super) fn contains(&self, day: Day) -> bool {
        (self.first..=self.last).contains(&day)
    }

    /// Draws the first days of months below `bottom`.
    pub(super) fn months_below(&self, canvas: &mut Canvas, bottom: f64) {
        let [left, right] = [self.first, self.last].map(|day| self.position(day));
        canvas.line((left, bottom), (right, bottom), "axis");
        let mut named = false;
        let months: Vec<(f64, String)> =
            self.months().into_iter().map(|(day, name)| (self.position(day), name)).collect();
        // Every month has its name, otherwise every second one, and so on: a name that is missing would look like a gap.
        let room = months.iter().map(|(_, name)| text_width(name, "s")).fold(0.0, f64::max) + 3.0;
        let fits = |every: &usize| months.iter().zip(months.iter().skip(*every)).all(|(a, b)| b.0 - a.0 >= room);
        let every = [1, 2, 3, 4, 6, 12, 24, 60, 120].into_iter().find(fits).unwrap_or(240);
        for (x, _) in months.iter().step_by(if every > 12 { every } else { 1 }) {
            canvas.line((*x, bottom), (*x, bottom + 4.0), "axis");
        }
        for (x, name) in months.iter().step_by(every) {
            named |= canvas.try_text((*x, bottom + 16.0), Align::Middle, "s", name);
        }
        if !named {
            let x = left.max(0.5 * text_width("2027-01-01", "s"));
            canvas.try_text((x, bottom + 16.0), Align::Middle, "s", &self.first.to_string());
        }
        canvas.grow(bottom + 20.0);
    }

    /// The first days of months between both days.
    fn months(&self) -> Vec<(Day, String)> {
        let mut all = Vec::new();
        let mut date = self.first.date().last_of_month();
        while let Ok(next) = date.tomorrow() {
            if Day::from(next) > self.last || all.len() > 240 {
                break;
            }
            all.push((Day::from(next), next.strftime("%b").to_string()));
            date = next.last_of_month();
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_within() {
        assert_eq!(Axis::new((197.0, 214.0), (0.0, 1.0)).ticks(), [200.0, 205.0, 210.0]);
        assert_eq!(Axis::new((0.0, 98.0), (0.0, 1.0)).ticks(), [0.0, 25.0, 50.0, 75.0]);
        assert!(!Axis::new((3.0, 3.0), (0.0, 1.0)).ticks().is_empty());
        for ends in
            [(f64::NAN, 1.0), (f64::INFINITY, f64::NEG_INFINITY), (-1e308, 1e308), (0.0, 1e-308), (1e300, 1e300)]
        {
            let axis = Axis::new(ends, (0.0, 100.0));
            assert!(axis.ticks().len() <= 12 && axis.ticks().iter().all(|tick| tick.is_finite()), "{ends:?}");
            assert!((0.0..=100.0).contains(&axis.inside(f64::NAN)) && (0.0..=100.0).contains(&axis.inside(1e300)));
        }
    }

    #[test]
    fn a_day_has_its_place() {
        let day = |text: &str| Day::parse(text).unwrap();
        let days = Days::new(day("2027-01-01"), day("2027-01-11"), (0.0, 100.0));
        assert_eq!(days.position(day("2027-01-06")), 50.0);
        assert_eq!(days.position(day("2028-01-06")), 100.0);
        assert_eq!(Days::new(day("2027-01-01"), day("2027-01-01"), (0.0, 100.0)).position(day("2027-01-01")), 0.0);
    }
}
