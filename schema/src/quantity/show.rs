//! Quantities as text for people: with the digits that the uncertainty justifies, or four.

use super::Unit;
use crate::number;

impl Unit {
    /// A value in SI as text in this unit, with its uncertainty (in SI too) if it has one.
    pub fn show(&self, si: f64, uncertainty: f64) -> String {
        self.after(&self.show_number(si, uncertainty))
    }

    /// The same without the unit.
    pub fn show_number(&self, si: f64, uncertainty: f64) -> String {
        let (value, spread) = (self.from_si(si), uncertainty / self.factor());
        let value = number::measured(value, spread);
        if spread > 0.0 { format!("{value} ± {}", number::measured(spread, spread)) } else { value }
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

    /// Two values in SI as texts in this unit, with the digits in which they differ, the same number for both.
    pub fn show_both(&self, a: f64, b: f64) -> [String; 2] {
        self.show_both_with([a, b], [0.0, 0.0])
    }

    /// The same with their uncertainties (in SI too), which decide the digits if there are any.
    pub fn show_both_with(&self, si: [f64; 2], uncertainties: [f64; 2]) -> [String; 2] {
        let values = si.map(|si| self.from_si(si));
        let spreads = uncertainties.map(|own| own / self.factor());
        let places = self.decimals_of_both(si, uncertainties);
        let certain = spreads.iter().all(|own| *own <= 0.0);
        let mut texts = values.map(|value| number::fixed(value, places));
        // A zero at the end is left out only if it is at the end of both.
        while certain && texts[0].contains('.') && texts.iter().all(|text| text.ends_with(['0', '.'])) {
            let whole = texts.iter().all(|text| text.ends_with('.'));
            for text in &mut texts {
                text.pop();
            }
            if whole {
                break;
            }
        }
        let [a, b] = texts;
        [(a, spreads[0]), (b, spreads[1])].map(|(text, spread)| match spread > 0.0 {
            true => self.after(&format!("{text} ± {}", number::fixed(spread, places))),
            false => self.after(&text),
        })
    }

    /// The decimals with which two values in SI are shown in this unit.
    pub fn decimals_of_both(&self, si: [f64; 2], uncertainties: [f64; 2]) -> usize {
        let [a, b] = si.map(|si| self.from_si(si));
        let spread = uncertainties.map(|own| own / self.factor()).into_iter().filter(|own| *own > 0.0).reduce(f64::min);
        let places = match spread {
            Some(spread) => number::decimals(spread, 2, 7),
            None => number::decimals(if a.abs() > b.abs() { a } else { b }, 4, 7),
        };
        number::decimals_apart(a, b, places)
    }

    /// A difference of two values that are shown with this many decimals, as text in this unit with its sign: one decimal
    /// more at most, and one significant digit at least.
    pub fn show_change_with(&self, si: f64, places: usize) -> String {
        let change = si / self.factor();
        let places = (places + 1).min(number::decimals(change, 4, 7)).max(number::decimals(change, 1, 10));
        self.after(&with_sign(change, &number::rounded(change.abs(), places)))
    }

    /// A difference in SI as text in this unit, with its sign.
    pub fn show_change(&self, si: f64) -> String {
        let change = si / self.factor();
        self.after(&with_sign(change, &number::significant(change.abs(), 4)))
    }

    /// A number as text with this unit after it.
    pub fn after(&self, number: &str) -> String {
        let name = self.to_string();
        if name.is_empty() { number.to_owned() } else { format!("{number} {name}") }
    }
}

/// The digits of a difference with its sign; zero has none.
fn with_sign(change: f64, digits: &str) -> String {
    let sign = if number::is_zero(digits) {
        ""
    } else if change < 0.0 {
        "-"
    } else {
        "+"
    };
    format!("{sign}{digits}")
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
        assert_eq!(s.show_both(4.297_44, 4.297_54), ["4.2974 s", "4.2975 s"]);
        assert_eq!(s.show_both(172.44, 189.0), ["172.4 s", "189.0 s"], "the same digits on both sides");
        assert_eq!(s.show_both(200.0, 100.0), ["200 s", "100 s"]);
        assert_eq!(s.show_both_with([200.6, 199.6], [0.82, 0.0]), ["200.60 ± 0.82 s", "199.60 s"]);
        assert_eq!(
            (s.show_change_with(0.000_1, 4), s.show_change_with(-1.024, 1)),
            ("+0.0001 s".into(), "-1.02 s".into())
        );
        assert_eq!(s.show_change_with(1e-9, 2), "+0.000000001 s", "a difference is never shown as zero");
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
        assert_eq!(unit("kg").show_change(1e-9), "0 kg");
        assert_eq!((unit("kg").after("2"), Unit::dimensionless().after("2")), ("2 kg".to_owned(), "2".to_owned()));
    }
}
