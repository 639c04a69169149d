//! Numbers as text for people: only this file decides how many digits a number has.
//!
//! Quantities with units are in [`crate::quantity`]: [`crate::quantity::Unit::show`] and
//! [`crate::quantity::Unit::show_change`] use these functions.

/// The largest number of decimals of a number in a text.
const MOST_DECIMALS: usize = 7;

/// The decimals with which a number of this size has `digits` significant digits; at most `most`.
pub fn decimals(size: f64, digits: i32, most: usize) -> usize {
    if size == 0.0 || !size.is_finite() {
        return 0;
    }
    let wanted = digits.saturating_sub(1).saturating_sub(size.abs().log10().floor() as i32);
    usize::try_from(wanted).unwrap_or(0).min(most)
}

/// A decimal number without zeros at the end of its fraction.
pub fn without_zeros(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

/// A number with this many significant digits (7 decimals at most), without zeros at the end.
pub fn significant(value: f64, digits: i32) -> String {
    rounded(value, decimals(value, digits, MOST_DECIMALS))
}

/// A number with two significant digits of its uncertainty, or with four significant digits if it has none.
pub fn measured(value: f64, uncertainty: f64) -> String {
    if uncertainty > 0.0 { fixed(value, decimals(uncertainty, 2, MOST_DECIMALS)) } else { significant(value, 4) }
}

/// The decimals from `places` on with which two numbers are shown so that they differ to a reader: the shown numbers differ
/// by about as much as the numbers do, by a third to three times of it; at most ten.
pub fn decimals_apart(a: f64, b: f64, places: usize) -> usize {
    const MOST: usize = 10;
    if crate::quantity::same_number(a, b) {
        return places;
    }
    let shown = |value: f64, places: usize| format!("{value:.places$}").parse::<f64>().unwrap_or(value);
    let real = (a - b).abs();
    let differs = |places: &usize| {
        let apart = (shown(a, *places) - shown(b, *places)).abs();
        apart > real / 3.0 && apart < real * 3.0
    };
    (places..MOST).find(differs).unwrap_or(MOST.max(places))
}

/// A number rounded to this many decimals, without zeros at the end.
pub fn rounded(value: f64, places: usize) -> String {
    without_zeros(&fixed(value, places)).to_owned()
}

/// A number with this many decimals; a negative number that rounds to zero has no sign.
pub fn fixed(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(digits) if is_zero(digits) => digits.to_owned(),
        _ => text,
    }
}

/// A number with ten significant digits, without zeros at the end: reading it gives the same number to these digits. Very
/// large and very small numbers have an exponent.
pub fn precise(value: f64) -> String {
    let size = value.abs();
    if size != 0.0 && !(1e-7..1e15).contains(&size) {
        let text = format!("{value:.9e}");
        let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}e{power}", without_zeros(digits));
    }
    rounded(value, decimals(value, 10, 16))
}

/// A number with its sign and this many decimals; one that rounds to zero has no sign.
pub fn signed(value: f64, places: usize) -> String {
    let text = format!("{value:+.places$}");
    match text.strip_prefix(['+', '-']) {
        Some(digits) if is_zero(digits) => digits.to_owned(),
        _ => text,
    }
}

/// Whether a number is zero as it is shown with this many decimals.
pub fn is_shown_as_zero(value: f64, places: usize) -> bool {
    is_zero(&signed(value, places))
}

/// The difference of two numbers as they are shown with this many decimals: what a reader gets who subtracts them.
pub fn shown_change(from: f64, to: f64, places: usize) -> f64 {
    let shown = |value: f64| fixed(value, places).parse().unwrap_or(value);
    // The difference of two decimals is one again.
    let by: f64 = shown(to) - shown(from);
    shown(by)
}

/// A number with its sign and this many significant digits; 6 decimals at most.
pub fn signed_significant(value: f64, digits: i32) -> String {
    signed(value, decimals(value, digits, 6))
}

/// A number with this many decimals, and its uncertainty with as many if it has one.
pub fn with_uncertainty(value: f64, uncertainty: f64, places: usize) -> String {
    let value = fixed(value, places);
    if uncertainty > 0.0 { format!("{value} ± {uncertainty:.places$}") } else { value }
}

/// A difference with its sign and its uncertainty, each with this many decimals; `less than 0.1` (with one decimal) if
/// both round to zero.
pub fn difference(by: f64, uncertainty: f64, places: usize) -> String {
    let (by, uncertainty) = (signed(by, places), format!("{uncertainty:.places$}"));
    match (is_zero(&by), is_zero(&uncertainty)) {
        (true, true) => format!("less than {:.places$}", 10.0_f64.powi(-i32::try_from(places).unwrap_or(0))),
        (false, true) => by,
        (_, false) => format!("{by} ± {uncertainty}"),
    }
}

/// A ratio as a percentage with this many decimals.
pub fn percent(ratio: f64, places: usize) -> String {
    format!("{} %", fixed(ratio * 100.0, places))
}

/// A ratio as a percentage with its sign and this many decimals; one that rounds to zero has no sign.
pub fn signed_percent(ratio: f64, places: usize) -> String {
    format!("{} %", signed(ratio * 100.0, places))
}

/// A probability in whole percent; those that round to 0 or 100 % are `below 1 %` and `above 99 %`.
pub fn chance(probability: f64) -> String {
    match (probability * 100.0).round() {
        percent if percent < 1.0 && probability > 0.0 => "below 1 %".to_owned(),
        percent if percent > 99.0 && probability < 1.0 => "above 99 %".to_owned(),
        percent => format!("{percent:.0} %"),
    }
}

/// Parts of a total, rounded to this many decimals so that they add up to the rounded total: each is rounded down, and the
/// steps that are then missing go to those with the largest remainders.
pub fn adding_up(parts: &[f64], total: f64, places: usize) -> Vec<f64> {
    let scale = 10.0_f64.powi(i32::try_from(places).unwrap_or(0));
    let exact: Vec<f64> = parts.iter().map(|part| part * scale).collect();
    let mut steps: Vec<f64> = exact.iter().map(|part| part.floor()).collect();
    let mut order: Vec<usize> = (0..parts.len()).collect();
    let remainder = |at: &usize| exact[*at] - exact[*at].floor();
    order.sort_by(|a, b| remainder(b).total_cmp(&remainder(a)));
    let shown = format!("{total:.places$}").parse().unwrap_or(total) * scale;
    let missing = shown.round() - steps.iter().sum::<f64>();
    if missing.is_finite() && !order.is_empty() {
        for at in 0..(missing.abs() as usize).min(2 * order.len()) {
            // Steps that are too many are taken from those with the smallest remainders.
            let at = at % order.len();
            let at = if missing > 0.0 { order[at] } else { order[order.len() - 1 - at] };
            steps[at] += missing.signum();
        }
    }
    steps.into_iter().map(|steps| steps / scale).collect()
}

/// Whether the digits of a number are all zeros.
pub(crate) fn is_zero(digits: &str) -> bool {
    digits.bytes().all(|byte| matches!(byte, b'0' | b'.'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_that_of_the_numbers_as_shown() {
        assert_eq!(shown_change(652.46, 620.44, 1), -32.1);
        assert_eq!(shown_change(0.04, -0.04, 1), 0.0);
        assert!(shown_change(f64::NAN, 1.0, 1).is_nan());
    }

    #[test]
    fn significant_digits() {
        for (value, text) in [
            (0.0, "0"),
            (-0.0, "0"),
            (205.0, "205"),
            (4.278_31, "4.278"),
            (0.012_345_6, "0.01235"),
            (123_456.7, "123457"),
            (-2.5, "-2.5"),
            (1e-9, "0"),
            (f64::NAN, "NaN"),
            (f64::INFINITY, "inf"),
        ] {
            assert_eq!(significant(value, 4), text);
        }
        assert_eq!(decimals(0.028, 2, 7), 3);
        assert_eq!(decimals(1e-300, 2, 7), 7);
        assert_eq!(decimals(1e300, 2, 7), 0);
        assert_eq!((measured(4.278_31, 0.028), measured(4.25, 0.0)), ("4.278".to_owned(), "4.25".to_owned()));
        assert_eq!(measured(4.2, 0.028), "4.200", "zeros within the uncertainty stay");
        assert_eq!((measured(-0.0, 0.0), measured(-0.0, 0.1), precise(-0.0)), ("0".into(), "0.00".into(), "0".into()));
        assert_eq!((percent(-0.0, 1), with_uncertainty(-0.0, 0.0, 1)), ("0.0 %".into(), "0.0".into()));
    }

    #[test]
    fn decimals_that_are_given() {
        assert_eq!((rounded(2.50, 3), rounded(200.0, 3), rounded(-0.04, 1)), ("2.5".into(), "200".into(), "0".into()));
        assert_eq!((fixed(-0.04, 1), fixed(-0.06, 1), fixed(47.0, 2)), ("0.0".into(), "-0.1".into(), "47.00".into()));
        assert_eq!((without_zeros("100"), without_zeros("1.50"), without_zeros("0.00")), ("100", "1.5", "0"));
    }

    #[test]
    fn digits_that_differ() {
        assert_eq!(decimals_apart(47.12, 47.13, 2), 2);
        assert_eq!(decimals_apart(47.123_4, 47.123_8, 2), 3);
        assert_eq!(decimals_apart(47.123_4, 47.123_3, 2), 4);
        assert_eq!(decimals_apart(4.297_44, 4.297_54, 3), 4, "4.297 and 4.298 would show ten times the difference");
        assert_eq!(decimals_apart(172.4, 189.0, 1), 1);
        assert_eq!(decimals_apart(4.25, 4.25, 2), 2, "equal numbers");
        assert_eq!(decimals_apart(f64::NAN, 1.0, 2), 10);
        assert_eq!(decimals_apart(1e9, 1e9 + 1e-3, 0), 0, "equal to the digits of a conversion");
    }

    #[test]
    fn ten_digits() {
        for (value, text) in [
            (205.0, "205"),
            (0.1 + 0.2, "0.3"),
            (1.0 / 3.0, "0.3333333333"),
            (1e-8, "1e-8"),
            (1.5e15, "1.5e15"),
            (123_456_789_012.0, "123456789012"),
            (0.0, "0"),
        ] {
            assert_eq!(precise(value), text);
            assert!((text.parse::<f64>().unwrap() - value).abs() <= 1e-9 * value.abs(), "{text}");
        }
    }

    #[test]
    fn signs() {
        assert_eq!((signed(0.84, 1), signed(-0.84, 1)), ("+0.8".into(), "-0.8".into()));
        for zero in [0.0, -0.0, 0.04, -0.04] {
            assert_eq!((signed(zero, 1).as_str(), is_shown_as_zero(zero, 1)), ("0.0", true), "one form of zero");
        }
        assert!(!is_shown_as_zero(-0.06, 1) && !is_shown_as_zero(f64::NAN, 1));
        let worth = |points| signed_significant(points, 3);
        assert_eq!(
            (worth(-0.607_8), worth(-0.002_584), worth(1234.5)),
            ("-0.608".into(), "-0.00258".into(), "+1234".into())
        );
        assert_eq!((worth(0.0), worth(1.2e-9)), ("0".into(), "0.000000".into()));
        assert_eq!((percent(0.123_4, 1), percent(0.2, 0)), ("12.3 %".into(), "20 %".into()));
        assert_eq!((signed_percent(0.031_2, 1), signed_percent(-0.5, 1)), ("+3.1 %".into(), "-50.0 %".into()));
        assert_eq!((signed_percent(5e-7, 1), signed_percent(-6e-4, 1)), ("0.0 %".into(), "-0.1 %".into()));
    }

    #[test]
    fn probabilities() {
        let texts =
            [(0.314, "31 %"), (0.0, "0 %"), (0.001, "below 1 %"), (0.999, "above 99 %"), (1.0, "100 %"), (0.5, "50 %")];
        for (probability, text) in texts {
            assert_eq!(chance(probability), text);
        }
    }

    #[test]
    fn rounded_parts_add_up() {
        let text = |parts: &[f64]| {
            let total: f64 = parts.iter().sum();
            let shown = adding_up(parts, total, 1);
            let sum: f64 = shown.iter().sum();
            assert!((sum - format!("{total:.1}").parse::<f64>().unwrap()).abs() < 1e-9, "{parts:?}");
            shown.iter().map(|part| signed(*part, 1)).collect::<Vec<_>>().join(" ")
        };
        // Rounded alone they are 3.2 + 1.2 = 4.4, and their sum is 4.5.
        assert_eq!(text(&[3.24, 1.24, 0.0]), "+3.3 +1.2 0.0");
        assert_eq!(text(&[-0.34, -0.33, -0.33]), "-0.4 -0.3 -0.3");
        assert_eq!(text(&[22.47, 1.73, -1e-15]), "+22.5 +1.7 0.0");
        assert_eq!(text(&[0.05, 0.05, -0.05, -0.05]), "+0.1 +0.1 -0.1 -0.1");
        assert_eq!(adding_up(&[], 1.0, 1), Vec::<f64>::new());
    }

    #[test]
    fn uncertainties() {
        assert_eq!(with_uncertainty(685.94, 23.41, 1), "685.9 ± 23.4");
        assert_eq!(with_uncertainty(685.94, 0.0, 1), "685.9");
        for (by, within, text) in [
            (-21.31, 2.47, "-21.3 ± 2.5"),
            (3.0, 0.0, "+3.0"),
            (0.01, 0.02, "less than 0.1"),
            (-0.01, 0.02, "less than 0.1"),
            (-0.01, 0.5, "0.0 ± 0.5"),
            (0.01, 0.5, "0.0 ± 0.5"),
        ] {
            assert_eq!(difference(by, within, 1), text);
        }
    }
}
