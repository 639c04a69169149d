//! Numbers and units as they are printed: ISO 80000-1:2022, 7 (printing rules), and the SI Brochure (9th edition), 5.4.
//!
//! Records and the terminal use what can be typed (`-0.5 m/s^2`, `12000 N*m`); pages show `−0.5 m/s²` and `12 000 N·m`.

use schema::quantity::Unit;
use serde_json::Value;

/// The space between a number and its unit, and between groups of digits: narrow, and no line ends there.
pub(crate) const NARROW: char = '\u{202f}';

/// Text with its numbers and units typeset; everything else stays as it is, also dates and ids.
///
/// - A minus before a number is a minus, not a hyphen.
/// - Digits are in groups of three, if there are more than four of them on one side of the decimal point.
/// - A space that does not break is between a number and its unit, also before `%`; none is before a degree of an angle.
/// - A product of units has a dot, a power is raised, and more than one unit below the line is in parentheses.
/// - A unit after `a ± b` applies to both, so these are in parentheses.
/// - `1.2e-5` is `1.2 × 10⁻⁵`.
pub(crate) fn typeset(text: &str) -> String {
    if let Some(unit) = unit(text) {
        return unit;
    }
    let words: Vec<&str> = text.split(' ').collect();
    let mut out = String::with_capacity(text.len() + 16);
    let mut at = 0;
    while at < words.len() {
        if at > 0 {
            out.push(' ');
        }
        at += match quantity(&words[at..], &mut out) {
            0 => {
                out.push_str(&alone(words[at]));
                1
            }
            used => used,
        };
    }
    out
}

/// A word that is not a number with a unit.
fn alone(word: &str) -> String {
    let start = word.len() - word.trim_start_matches(OPENING).len();
    match word[start..].strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("{}−{rest}", &word[..start]),
        _ => word.to_owned(),
    }
}

const OPENING: &[char] = &['(', '[', '<', '>', '~', '≈', '≤', '≥', '='];
const CLOSING: &[char] = &[')', ']', ',', ';', ':'];

/// What is before, in and after a word without its punctuation.
fn bare(word: &str) -> (&str, &str, &str) {
    let inner = word.trim_start_matches(OPENING);
    let core = inner.trim_end_matches(CLOSING);
    (&word[..word.len() - inner.len()], core, &inner[core.len()..])
}

/// Adds the number at the beginning with the unit after it, and returns how many words it used; 0 if there is no number.
fn quantity(words: &[&str], out: &mut String) -> usize {
    let (before, core, after) = bare(words[0]);
    let Some(first) = number(core) else { return 0 };
    let unit_at = |at: usize| {
        let (opening, core, closing) = bare(words.get(at)?);
        let unit = Some(core).filter(|core| opening.is_empty() && !core.starts_with(|c: char| c.is_ascii_digit()));
        Some((unit.and_then(unit_word)?, closing))
    };
    out.push_str(before);
    if after.is_empty() && words.get(1) == Some(&"±") {
        let second = words.get(2).map(|word| bare(word));
        if let Some((("", core, closing), number)) = second.and_then(|second| Some((second, number(second.1)?))) {
            let _ = core;
            let both = format!("{first}{NARROW}±{NARROW}{number}");
            match unit_at(3).filter(|_| closing.is_empty()) {
                Some((unit, end)) => {
                    out.push_str(&format!("({both}){}{unit}{end}", space(&unit)));
                    return 4;
                }
                None => {
                    out.push_str(&format!("{both}{closing}"));
                    return 3;
                }
            }
        }
    }
    match unit_at(1).filter(|_| after.is_empty()) {
        Some((unit, end)) => {
            out.push_str(&format!("{first}{}{unit}{end}", space(&unit)));
            2
        }
        None => {
            // It may be the short id of a commit, as in `6731388e06`.
            let may_be_id = core.len() == ID_LENGTH && core.bytes().all(|byte| byte.is_ascii_hexdigit());
            out.push_str(if may_be_id { core } else { &first });
            out.push_str(after);
            1
        }
    }
}

/// The number of digits of a short id of a commit.
const ID_LENGTH: usize = 10;

/// The space before a unit: none before a degree of an angle (ISO 80000-1, 7.2.2).
fn space(unit: &str) -> String {
    if unit == "°" { String::new() } else { NARROW.to_string() }
}

/// A number as it is printed; `None` for other text.
fn number(text: &str) -> Option<String> {
    let (sign, digits) = match text.chars().next()? {
        '-' | '−' => ("−", &text[text.chars().next()?.len_utf8()..]),
        '+' => ("+", &text[1..]),
        '±' => ("±", &text['±'.len_utf8()..]),
        _ => ("", text),
    };
    let (digits, power) = match digits.split_once(['e', 'E']) {
        Some((digits, power)) => (digits, Some(power.strip_prefix('+').unwrap_or(power))),
        None => (digits, None),
    };
    let (whole, fraction) = digits.split_once('.').map_or((digits, None), |(whole, rest)| (whole, Some(rest)));
    let all_digits = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    if !all_digits(whole) || !fraction.is_none_or(all_digits) {
        return None;
    }
    let mut out = sign.to_owned();
    out.push_str(&grouped(whole, whole.len() % 3));
    if let Some(fraction) = fraction {
        out.push('.');
        out.push_str(&grouped(fraction, 0));
    }
    if let Some(power) = power {
        let (minus, digits) = power.strip_prefix('-').map_or(("", power), |digits| ("⁻", digits));
        if !all_digits(digits) {
            return None;
        }
        let digits = Some(digits.trim_start_matches('0')).filter(|digits| !digits.is_empty()).unwrap_or("0");
        out.push_str(&format!("{NARROW}×{NARROW}10{minus}{}", raised(digits)));
    }
    Some(out)
}

/// Digits in groups of three, the first of which has `first` digits; four digits stay together.
fn grouped(digits: &str, first: usize) -> String {
    if digits.len() <= 4 {
        return digits.to_owned();
    }
    let mut out = String::with_capacity(2 * digits.len());
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && at % 3 == first {
            out.push(NARROW);
        }
        out.push(digit);
    }
    out
}

fn raised(text: &str) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    let raise = |c: char| c.to_digit(10).map_or(if c == '-' { '⁻' } else { c }, |digit| DIGITS[digit as usize]);
    text.chars().map(raise).collect()
}

/// A unit that is the whole text.
fn unit(text: &str) -> Option<String> {
    let is_unit = !text.is_empty() && text.len() <= 64 && !text.starts_with(|c: char| c.is_ascii_digit());
    is_unit.then(|| unit_word(text)).flatten()
}

/// A unit as it is printed; `None` for other text.
fn unit_word(text: &str) -> Option<String> {
    // Most words are no units.
    if !Unit::has_known_names(text) {
        return None;
    }
    Unit::parse(text).ok()?;
    let (mut above, mut below) = (Vec::new(), Vec::new());
    let mut is_below = false;
    for part in text.split_inclusive(['*', '/']) {
        let atom = part.trim_end_matches(['*', '/']);
        if is_below {
            below.push(atom_text(atom));
        } else {
            above.push(atom_text(atom));
        };
        is_below = part.ends_with('/');
    }
    let above = above.join("·");
    Some(match below.len() {
        0 => above,
        1 => format!("{above}/{}", below[0]),
        _ => format!("{above}/({})", below.join("·")),
    })
}

fn atom_text(atom: &str) -> String {
    let (name, power) = atom.split_once('^').map_or((atom, None), |(name, power)| (name, Some(power)));
    let name = match name {
        "deg" => "°".to_owned(),
        "degC" => "°C".to_owned(),
        "degF" => "°F".to_owned(),
        name => {
            let name = name.strip_suffix("ohm").map_or_else(|| name.to_owned(), |prefix| format!("{prefix}Ω"));
            // No unit begins with this letter, so that it is the prefix.
            name.strip_prefix('u').map_or(name.clone(), |rest| format!("µ{rest}"))
        }
    };
    match power {
        Some("1") | None => name,
        Some(power) => name + &raised(power),
    }
}

/// Typesets numbers and units in all texts of the data of a page, except those of the keys that are shown as they are typed.
pub(crate) fn typeset_all(value: &mut Value, as_typed: &[&str]) {
    match value {
        Value::String(text) if text.contains(|c: char| c.is_ascii_digit()) => *text = typeset(text),
        Value::Array(all) => all.iter_mut().for_each(|value| typeset_all(value, as_typed)),
        Value::Object(all) => {
            let shown = all.iter_mut().filter(|(key, _)| !as_typed.contains(&key.as_str()));
            shown.for_each(|(_, value)| typeset_all(value, as_typed));
        }
        Value::String(_) | Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The narrow spaces as `_`, so that they can be seen here.
    fn seen(text: &str) -> String {
        typeset(text).replace(NARROW, "_")
    }

    /// ISO 80000-1:2022, 7.2.2 (unit symbols), and the SI Brochure, 5.4.1 to 5.4.3.
    #[test]
    fn units_are_printed_as_in_the_standard() {
        assert_eq!(seen("12 N*m"), "12_N·m");
        assert_eq!(seen("9.81 m/s^2"), "9.81_m/s²");
        assert_eq!(seen("0.5 m^2"), "0.5_m²");
        assert_eq!(seen("3 s^-1"), "3_s⁻¹");
        assert_eq!(seen("5 W/m^2/K"), "5_W/(m²·K)");
        assert_eq!(seen("5 kg/m*s"), "5_kg·s/m", "what is multiplied after the line is above it");
        assert_eq!(seen("4.7 kohm"), "4.7_kΩ");
        assert_eq!(seen("8 um"), "8_µm");
        assert_eq!(seen("30 %"), "30_%");
        assert_eq!(seen("30 deg"), "30°", "no space before the degree of an angle");
        assert_eq!(seen("28.4 degC"), "28.4_°C");
        assert_eq!((seen("m/s^2"), seen("N*m"), seen("kg")), ("m/s²".into(), "N·m".into(), "kg".into()));
    }

    /// ISO 80000-1:2022, 7.3 (numbers).
    #[test]
    fn numbers_are_printed_as_in_the_standard() {
        assert_eq!(seen("-0.5"), "−0.5");
        assert_eq!(seen("+3.1 %"), "+3.1_%");
        assert_eq!(seen("±0 kg"), "±0_kg");
        assert_eq!(seen("12000 rpm"), "12_000_rpm");
        assert_eq!(seen("1234567.5 kg"), "1_234_567.5_kg");
        assert_eq!(seen("1234 kg"), "1234_kg", "four digits stay together");
        assert_eq!(seen("0.12345 m"), "0.123_45_m");
        assert_eq!(seen("1.2e-5 m"), "1.2_×_10⁻⁵_m");
        assert_eq!(seen("3e+12"), "3_×_10¹²");
    }

    /// ISO 80000-1:2022, 7.2.3: `t = (28.4 ± 0.2) °C`.
    #[test]
    fn a_unit_applies_to_the_value_and_its_uncertainty() {
        assert_eq!(seen("28.4 ± 0.2 degC"), "(28.4_±_0.2)_°C");
        assert_eq!(seen("4.278 ± 0.028 s, met"), "(4.278_±_0.028)_s, met");
        assert_eq!(seen("656.0 ± 31.2"), "656.0_±_31.2");
        assert_eq!(seen("656.0 (607.1 to 698.0)"), "656.0 (607.1 to 698.0)");
    }

    #[test]
    fn other_text_stays_as_it_is() {
        for text in [
            "",
            " ",
            "2027-05-01",
            "front-upright-2",
            "Rear upright, machined",
            "a - b",
            "e5 4.e 1.2.3 --5 -",
            "on 2027-05-01 (1234567890), 6731388e06",
            "ab12000",
            "\u{202e}<script>",
            "± ±",
            "5 ± x",
        ] {
            assert_eq!(typeset(text), text);
        }
        assert_eq!(seen("at most 205 kg (202 kg)"), "at most 205_kg (202_kg)");
        assert_eq!(seen("1 mm to 3 mm"), "1_mm to 3_mm");
        assert_eq!(seen("(-12.5 kg)"), "(−12.5_kg)");
        assert_eq!(seen("-5x"), "−5x");
        assert_eq!(seen("place 8 of 97 cars"), "place 8 of 97 cars");
        assert_eq!(seen(&typeset("-0.5 m/s^2")), seen("-0.5 m/s^2"), "twice is once");
    }
}
