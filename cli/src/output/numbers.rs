//! Numbers for people: as many digits as the uncertainty bears, or four.

use schema::quantity::Unit;

/// A number with so many digits that its uncertainty has two, or with four where it has none.
pub(crate) fn number(value: f64, uncertainty: f64) -> String {
    let digits = |size: f64, keep: i32| -> usize {
        if size == 0.0 || !size.is_finite() {
            return 0;
        }
        // Seven decimals at the most: what is smaller is not shown here.
        (keep - 1 - size.abs().log10().floor() as i32).clamp(0, 7) as usize
    };
    let places = if uncertainty > 0.0 { digits(uncertainty, 2) } else { digits(value, 4) };
    let text = format!("{value:.places$}");
    // Nothing is gained by zeros behind a number that is given without uncertainty.
    if uncertainty > 0.0 || !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A value in SI as text in its unit, with its uncertainty where there is one.
pub(crate) fn quantity(si: f64, uncertainty: f64, unit: &Unit) -> String {
    let (value, spread) = (unit.from_si(si), uncertainty / unit.factor());
    let name = unit.to_string();
    let gap = if name.is_empty() { "" } else { " " };
    if spread > 0.0 {
        format!("{} ± {}{gap}{name}", number(value, spread), number(spread, spread))
    } else {
        format!("{}{gap}{name}", number(value, 0.0))
    }
}

/// A ratio as a percentage with its sign.
pub(crate) fn percent(ratio: f64) -> String {
    format!("{:+.1} %", ratio * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty() {
        let unit = Unit::parse("s").unwrap();
        assert_eq!(quantity(4.278_31, 0.028, &unit), "4.278 ± 0.028 s");
        assert_eq!(quantity(4.25, 0.0, &unit), "4.25 s");
        assert_eq!(quantity(205.0, 0.0, &Unit::parse("kg").unwrap()), "205 kg");
        assert_eq!(quantity(2.0, 0.0, &Unit::one()), "2");
        assert_eq!(percent(0.0312), "+3.1 %");
        assert_eq!(percent(-0.5), "-50.0 %");
    }
}
