//! Quantities as text for people: as many digits as the uncertainty bears, or four.

use super::Unit;

/// A number with so many decimals that `size` shows `digits` digits that count; seven at the most.
fn decimals(size: f64, digits: i32) -> usize {
    if size == 0.0 || !size.is_finite() {
        return 0;
    }
    (digits - 1 - size.abs().log10().floor() as i32).clamp(0, 7) as usize
}

/// A number with two digits of its uncertainty, or with four of its own and no zeros behind where it has none.
fn number(value: f64, uncertainty: f64) -> String {
    if uncertainty > 0.0 {
        return format!("{value:.0$}", decimals(uncertainty, 2));
    }
    let text = format!("{value:.0$}", decimals(value, 4));
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

impl Unit {
    /// A value in SI as text in this unit, with its uncertainty (in SI too) where there is one.
    pub fn show(&self, si: f64, uncertainty: f64) -> String {
        let (value, spread) = (self.from_si(si), uncertainty / self.factor());
        let gap = if self.to_string().is_empty() { "" } else { " " };
        if spread > 0.0 {
            format!("{} ± {}{gap}{self}", number(value, spread), number(spread, spread))
        } else {
            format!("{}{gap}{self}", number(value, 0.0))
        }
    }

    /// A difference in SI as text in this unit, with its sign.
    pub fn show_change(&self, si: f64) -> String {
        let change = si / self.factor();
        let gap = if self.to_string().is_empty() { "" } else { " " };
        let digits = number(change.abs(), 0.0);
        let sign = if digits.bytes().all(|b| matches!(b, b'0' | b'.')) {
            "±"
        } else if change < 0.0 {
            "-"
        } else {
            "+"
        };
        format!("{sign}{digits}{gap}{self}")
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
        assert_eq!(Unit::one().show(2.0, 0.0), "2");
        assert_eq!(unit("kg").show_change(0.8), "+0.8 kg");
        assert_eq!(unit("°C").show_change(-2.0), "-2 °C", "a difference knows no zero of a scale");
    }
}
