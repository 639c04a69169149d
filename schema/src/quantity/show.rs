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

    /// A value in SI with its uncertainty, with enough digits to show that it does not meet a limit, if it does not:
    /// `holds` is asked with the numbers that are shown, in SI.
    pub fn show_against(&self, si: f64, uncertainty: f64, holds: impl Fn(f64, f64) -> bool) -> String {
        let (value, spread) = (self.from_si(si), uncertainty / self.factor());
        let places = match spread > 0.0 {
            true => number::decimals(spread, 2, 7),
            false => number::decimals(value, 4, 7),
        };
        let shown = |value: f64, places: usize| number::rounded(value, places).parse::<f64>().unwrap_or(value);
        let hides = |places: usize| holds(self.to_si(shown(value, places)), shown(spread, places) * self.factor());
        if !si.is_finite() || holds(si, uncertainty) || !hides(places) {
            return self.show(si, uncertainty);
        }
        let places = (places + 1..10).find(|places| !hides(*places)).unwrap_or(10);
        let value = number::rounded(value, places);
        match spread > 0.0 {
            true => self.after(&format!("{value} ± {}", number::rounded(spread, places))),
            false => self.after(&value),
        }
    }

    /// Two values in SI as texts in this unit, with the digits that show that they differ.
    pub fn show_both(&self, a: f64, b: f64) -> [String; 2] {
        let texts = [self.show(a, 0.0), self.show(b, 0.0)];
        if texts[0] != texts[1] {
            return texts;
        }
        let (a, b) = (self.from_si(a), self.from_si(b));
        let places = number::decimals_apart(a, b, number::decimals(a, 4, 7));
        [a, b].map(|value| self.after(&number::rounded(value, places)))
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
    fn digits_show_what_differs() {
        let s = Unit::parse("s").unwrap();
        let at_most = |most: f64| move |value: f64, uncertainty: f64| value + uncertainty <= most + 1e-12;
        assert_eq!(s.show_against(4.270_04, 0.0, at_most(4.27)), "4.27004 s");
        assert_eq!(s.show_against(4.31, 0.0, at_most(4.27)), "4.31 s");
        assert_eq!(s.show_against(4.26, 0.0, at_most(4.27)), "4.26 s");
        assert_eq!(s.show_against(4.250_2, 0.020_2, at_most(4.27)), "4.2502 ± 0.0202 s");
        assert_eq!(s.show_against(f64::NAN, 0.0, at_most(4.27)), s.show(f64::NAN, 0.0));
        assert_eq!(s.show_both(53.901_2, 53.901_4), ["53.9012 s", "53.9014 s"]);
        assert_eq!(s.show_both(53.9, 53.9), ["53.9 s", "53.9 s"]);
        assert_eq!(s.show_both(53.9, 54.1), ["53.9 s", "54.1 s"]);
    }

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
