//! What people write in place of a quantity, and what they mean by it: the messages for texts that cannot be read.
//!
//! A text to use is suggested only if it can be read.

use super::{QuantityError, QuantityErrorKind, Unit, number_end, strict};
use crate::number;
use crate::words::shorten;

/// Words in place of a number that is not known yet.
const PLACEHOLDERS: [&str; 14] =
    ["tbd", "tba", "tbc", "todo", "n/a", "na", "none", "null", "unknown", "open", "?", "??", "xx", "-"];
/// Words and signs before a number that is not exact.
const ABOUT: [&str; 9] = ["~", "≈", "ca.", "ca ", "approx.", "approx ", "about ", "circa ", "around "];
/// Words and signs of a limit.
const LIMITS: [(&str, &str); 12] = [
    ("<=", "at-most"),
    (">=", "at-least"),
    ("=<", "at-most"),
    ("<", "at-most"),
    (">", "at-least"),
    ("≤", "at-most"),
    ("≥", "at-least"),
    ("max", "at-most"),
    ("min", "at-least"),
    ("at most", "at-most"),
    ("at least", "at-least"),
    ("up to", "at-most"),
];
const CURRENCY_SIGNS: [(char, &str); 4] = [('€', "EUR"), ('$', "USD"), ('£', "GBP"), ('¥', "JPY")];

/// The likely cause of an error in the text of a quantity.
pub(super) fn likely(text: &str) -> Option<QuantityError> {
    let short = shorten(text);
    let found = before_the_number(text, &short).or_else(|| uncertainty(text, &short)).map(QuantityError::from);
    if let Some((nominal, _)) = text.split_once('±') {
        let nominal = nominal.trim();
        return found.or_else(|| strict(nominal).is_err().then(|| likely(nominal)).flatten());
    }
    found
        .or_else(|| number_form(text, &short).map(QuantityError::from))
        .or_else(|| calculation(text, &short))
        .or_else(|| unit_form(text, &short))
}

/// A suggested text, if it can be read as a quantity.
fn readable(text: String) -> Option<String> {
    strict(&text).is_ok().then_some(text)
}

/// A number at the start of a text, its digits, and what follows without spaces around it.
fn leading(text: &str) -> Option<(f64, &str, &str)> {
    let (digits, rest) = text.split_at(number_end(text));
    Some((digits.parse().ok()?, digits, rest.trim()))
}

fn before_the_number(text: &str, short: &str) -> Option<String> {
    let lower = text.to_lowercase();
    if PLACEHOLDERS.contains(&lower.as_str()) {
        return Some(format!("`{short}` is not a number: remove the key until there is a value"));
    }
    if number_end(text) > 0 {
        return None;
    }
    if let Some((sign, key)) = LIMITS.iter().find(|(sign, _)| lower.starts_with(sign)) {
        let rest = readable(text.get(sign.len()..)?.trim().to_owned())?;
        return Some(format!(
            "`{short}` begins with a comparison, which is part of the key: use the key `{key}` with `{rest}`"
        ));
    }
    if let Some(sign) = ABOUT.iter().find(|sign| lower.starts_with(*sign)) {
        let rest = text.get(sign.len()..)?.trim();
        let found = strict(rest).ok()?;
        let spread = number::precise(found.half_of_last_digit() / found.unit().factor() * 10.0);
        let example = readable(format!("{rest} ± {spread} {}", found.unit()).trim().to_owned())?;
        return Some(format!(
            "`{short}` does not begin with a number: write how exact it is after it, for example `{example}`"
        ));
    }
    if let Some((sign, code)) = CURRENCY_SIGNS.iter().find(|(sign, _)| text.starts_with(*sign)) {
        let better = readable(format!("{} {code}", text.trim_start_matches(*sign).trim()))?;
        return Some(format!("`{short}` begins with the currency, which comes after the number: use `{better}`"));
    }
    let (unit, rest) = text.split_once(' ')?;
    let better = readable(format!("{} {unit}", rest.trim()))?;
    Some(format!("`{short}` begins with the unit, which comes after the number: use `{better}`"))
}

fn uncertainty(text: &str, short: &str) -> Option<String> {
    for sign in ["+/-", "+-", "-+", "+/−"] {
        if text.contains(sign) {
            let better = text.replacen(sign, "±", 1);
            let better = better.split('±').map(str::trim).collect::<Vec<_>>().join(" ± ");
            let better = readable(better).unwrap_or_else(|| "0.62 kg ± 0.02 kg".to_owned());
            return Some(format!("write the uncertainty with ±: use `{better}`"));
        }
    }
    let (nominal, spread) = text.split_once('±').map(|(nominal, spread)| (nominal.trim(), spread.trim()))?;
    if spread.is_empty() {
        return Some(format!("`{short}` has nothing after ±: add the uncertainty, or remove ±"));
    }
    let (value, spread_value) = (strict(nominal).ok()?, strict(spread).ok()?);
    if spread_value.value() < 0.0 {
        return Some(format!("the uncertainty in `{short}` is negative: use `{nominal} ± {}`", &spread[1..]));
    }
    let unit = value.unit();
    if unit.dimension() == spread_value.unit().dimension() {
        return None;
    }
    if *unit == Unit::dimensionless() && leading(nominal)?.2.is_empty() {
        let better = readable(format!("{nominal} {} ± {spread}", spread_value.unit()))?;
        return Some(format!("`{short}` has a unit only after ±: use `{better}`"));
    }
    if *spread_value.unit() == Unit::dimensionless() {
        let better = readable(format!("{nominal} ± {spread} {unit}"))?;
        return Some(format!("the uncertainty in `{short}` has no unit: use `{better}`"));
    }
    if spread_value.unit().dimension().is_one() && !unit.has_own_zero() {
        let part = number::precise(value.value().abs() * spread_value.si());
        let better = readable(format!("{nominal} ± {part} {unit}"))?;
        return Some(format!("the uncertainty in `{short}` is a ratio: write it in the unit of the value, `{better}`"));
    }
    None
}

/// Commas, spaces and colons inside of the number.
fn number_form(text: &str, short: &str) -> Option<String> {
    if let Some(hex) = text.strip_prefix("0x") {
        let digits: String = hex.chars().take_while(char::is_ascii_hexdigit).collect();
        let value = u32::from_str_radix(&digits, 16).ok()?;
        let better = readable(format!("{value}{}", &hex[digits.len()..]))?;
        return Some(format!("`{short}` is not a decimal number: use `{better}`"));
    }
    let (value, digits, rest) = leading(text)?;
    if let Some(rest) = text[digits.len()..].strip_prefix(':') {
        // Minutes and seconds.
        let (seconds, digits, unit) = leading(rest)?;
        let is_time = ["", "min", "s", "min:s"].contains(&unit) && seconds < 60.0 && !digits.starts_with(['+', '-']);
        let total = number::precise(value * 60.0 + seconds);
        return is_time.then(|| format!("`{short}` is not a number: give the time in seconds, `{total} s`"));
    }
    if text[digits.len()..].starts_with(',') {
        return comma(text, digits, short);
    }
    if digits.contains('.') && text[digits.len()..].starts_with('.') && !digits.ends_with('.') {
        return Some(format!("`{short}` has two decimal points: use one, and no thousands separator"));
    }
    if let Some(list) =
        text.contains(", ").then(|| text.split(", ")).filter(|list| list.clone().all(|one| strict(one).is_ok()))
    {
        return Some(format!(
            "`{short}` is a list, and one quantity is expected: keep one of them, `{}`",
            list.clone().next()?
        ));
    }
    let grouped = text[digits.len()..].starts_with([' ', '\u{a0}', '\u{202f}', '\'']);
    let groups = |group: &str| group.len() == 3 && group.bytes().all(|b| b.is_ascii_digit());
    let words: Vec<&str> = rest.trim_start_matches('\'').split([' ', '\u{a0}', '\u{202f}', '\'']).collect();
    let count = words.iter().take_while(|word| groups(word.split('.').next().unwrap_or(""))).count();
    if grouped && count > 0 && digits.len() <= 4 {
        let number: String = std::iter::once(digits).chain(words[..count].iter().copied()).collect();
        let better = readable(format!("{number} {}", words[count..].join(" ")).trim().to_owned())?;
        return Some(format!("`{short}` has a space inside the number: use `{better}`"));
    }
    None
}

/// A comma after the first digits.
fn comma(text: &str, digits: &str, short: &str) -> Option<String> {
    let after = &text[digits.len() + 1..];
    let more = after.bytes().take_while(u8::is_ascii_digit).count();
    if digits.contains('.') {
        let better = readable(format!("{}.{after}", digits.replace('.', "")))?;
        return Some(format!("`{short}` has a thousands separator and a decimal comma: use `{better}`"));
    }
    if after[more..].starts_with('.') {
        let better = readable(format!("{digits}{after}"))?;
        return Some(format!("`{short}` has a thousands separator: use `{better}`"));
    }
    // `1,500` may be a number with a thousands separator: see the strict reader.
    let better = (more != 0 && more != 3).then(|| readable(text.replacen(',', ".", 1))).flatten()?;
    Some(format!("`{short}` has a decimal comma: use a decimal point, `{better}`"))
}

/// Two numbers: a range, a product or a fraction.
fn calculation(text: &str, short: &str) -> Option<QuantityError> {
    // `4...5`: the first of the points does not belong to the number.
    let (first, digits, rest) = match text.split_once("..").filter(|(first, _)| number_end(first) == first.len()) {
        Some((first, _)) => (first.parse().ok()?, first, text[first.len()..].trim()),
        None => leading(text)?,
    };
    // Each side of a range may have the unit.
    let (own_unit, tail) = match rest.split_once(' ') {
        Some((unit, tail)) if Unit::parse(unit).is_ok() => (unit, tail.trim()),
        _ => ("", rest),
    };
    for sign in ["...", "..", "…", "–", "—", "to ", "-", "and "] {
        let Some(second) = tail.strip_prefix(sign) else { continue };
        let second = strict(second.trim()).ok()?;
        let unit =
            if second.unit() == &Unit::dimensionless() { own_unit.to_owned() } else { second.unit().to_string() };
        let low = readable(format!("{digits} {unit}").trim().to_owned())?;
        let high = readable(format!("{} {unit}", number::precise(second.value())).trim().to_owned())?;
        let (middle, half) = (number::precise((first + second.value()) / 2.0), (second.value() - first).abs() / 2.0);
        let value = format!("{middle} {unit}").trim().to_owned();
        let text = format!(
            "`{short}` is a range: use `between: [{low}, {high}]` for a limit, `{value} ± {}` for a value",
            format!("{} {unit}", number::precise(half)).trim()
        );
        return Some(text.into());
    }
    for sign in ["x", "X", "×", "*", "·", "/", "+"] {
        let Some(second) = tail.strip_prefix(sign) else { continue };
        let second = second.trim();
        let Some((other, ..)) = leading(second) else { continue };
        let result = match sign {
            "/" => first / other,
            "+" => first + other,
            _ => first * other,
        };
        let operator = if matches!(sign, "/" | "+") { sign } else { "*" };
        let unit = strict(second).map(|second| second.unit().to_string()).unwrap_or_default();
        let unit = if unit.is_empty() { own_unit } else { &unit };
        let result = readable(format!("{} {unit}", number::precise(result)).trim().to_owned())?;
        let text = format!(
            "`{short}` is a calculation, and here one number is expected: use `{result}`; in a formula, write `{operator}` \
             between the numbers"
        );
        return Some(QuantityError::new(QuantityErrorKind::Calculation, text));
    }
    None
}

/// The unit: other signs, and texts after it.
fn unit_form(text: &str, short: &str) -> Option<QuantityError> {
    let (_, digits, name) = leading(text)?;
    if name == "degrees" || name == "degree" {
        let text = format!("unknown unit `{name}`: use `deg` for an angle, or `°C` for a temperature");
        return Some(QuantityError::new(QuantityErrorKind::UnknownUnit, text));
    }
    other_unit_form(digits, name, short).map(QuantityError::from)
}

/// A unit that is there, in another form.
fn other_unit_form(digits: &str, name: &str, short: &str) -> Option<String> {
    if let Some(unit) = match name {
        "\"" | "''" | "″" => Some("in"),
        "'" | "′" => Some("ft"),
        _ => None,
    } {
        return Some(format!("`{short}` has a sign for its unit: use `{digits} {unit}`"));
    }
    if ["pcs", "pc", "pieces", "off", "times", "x"].contains(&name) {
        return Some(format!("`{short}` is a number of pieces, which has no unit: use `{digits}`"));
    }
    if CURRENCY_SIGNS.iter().any(|(sign, _)| name.strip_prefix('k').is_some_and(|name| name == sign.to_string())) {
        return Some(format!("`{short}` has a currency with a prefix: write the whole amount, for example `1200 EUR`"));
    }
    if name.contains("°C/") || name.contains("°F/") || name.contains("/°C") || name.contains("/°F") {
        let better = readable(format!("{digits} {}", name.replace("°C", "K")))?;
        return Some(format!("`{short}` has a temperature scale in a quotient: use K for a difference, `{better}`"));
    }
    let plain = name.replace("**", "^").replace('²', "^2").replace('³', "^3").replace("⁻¹", "^-1").replace('⁻', "^-");
    let plain = plain.replace(['·', '×', '⋅'], "*");
    let spread = |by: &str| plain.split_whitespace().collect::<Vec<_>>().join(by);
    let is_spaced = plain.contains(char::is_whitespace);
    let powers = with_powers(&plain);
    for unit in [plain.clone(), spread(""), spread("*"), plain.replace('.', "*"), powers] {
        // Words that happen to be units are texts more often than products.
        let is_product = !is_spaced || plain.split_whitespace().all(|word| word.len() <= 4);
        if unit != name && is_product && Unit::parse(&unit).is_ok() {
            return Some(format!(
                "`{short}` has a unit in another form: write powers with `^`, products with `*` and no spaces, \
                 `{digits} {unit}`"
            ));
        }
    }
    let (first, rest) = name.split_once(char::is_whitespace)?;
    Unit::parse(first).ok()?;
    Some(format!(
        "`{}` after the unit is not part of a quantity: use `{digits} {first}`, and put the rest in `title` or `notes`",
        shorten(rest.trim())
    ))
}

/// A unit with `^` before digits after letters: `kg/m3` becomes `kg/m^3`.
fn with_powers(unit: &str) -> String {
    let mut out = String::with_capacity(unit.len() + 2);
    for c in unit.chars() {
        if c.is_ascii_digit() && out.ends_with(char::is_alphabetic) {
            out.push('^');
        }
        out.push(c);
    }
    out
}
