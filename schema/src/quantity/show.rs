//! Quantities as text for people: with the digits that the uncertainty justifies, or four.

use super::Unit;
use crate::number;

impl Unit {
    /// A value in SI as text in this unit, with its uncertainty (in SI too) if it has one.
    pub fn show(&self, si: f64, uncertainty: f64) -> String {
        let (value, spread) = (self.from_si(si), uncertainty / self.factor());
        let value = number::measured(value, spread);
        if spread > 0.0 {
            self.after(&format!("{value} ± {}", number::measured(spread, spread)))
        } else {
            self.after(&value)
        }
    }

    /// A difference in SI as text in this unit, with its sign.
    pub fn show_change(&self, si: f64) -> String {
        let change = si / self.factor();
        let digits = number::significant(change.abs(), 4);
        let sign = if number::is_zero(&digits) {
            "±"
        } else if change < 0.0 {
            "-"
        } else {
            "+"
        };
        self.after(&format!("{sign}{digits}"))
    }

    /// A number as text with this unit after it.
    pub fn after(&self, number: &str) -> String {
        let name = self.to_string();
        if name.is_empty() { number.to_owned() } else { format!("{number} {name}") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty() {
        let unit = |name: &str| Unit::parse(name).unwrap();
        assert_eq!(unit("s").show(4.278_31, 0.028), "4.278 ± 0.028 s");
        assert_eq!(unit("s").show(4.25, 0.0), "4.25 s");
        assert_eq!(unit("kg").show(205.0, 0.0), "205 kg");
        assert_eq!(Unit::dimensionless().show(2.0, 0.0), "2");
        assert_eq!(unit("kg").show_change(0.8), "+0.8 kg");
        assert_eq!(unit("°C").show_change(-2.0), "-2 °C", "a difference does not depend on the zero of the scale");
        assert_eq!(unit("kg").show_change(1e-9), "±0 kg");
        assert_eq!((unit("kg").after("2"), Unit::dimensionless().after("2")), ("2 kg".to_owned(), "2".to_owned()));
    }
}
