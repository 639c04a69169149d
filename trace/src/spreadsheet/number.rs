//! Numbers that are text: `1.234,5`, `1 234,5`, `1'234.5` and `1,234.5`, with or without a unit.

use schema::settings::imports::DecimalMark;

use super::decimal::Decimal;

/// A number in a text, by what its decimal mark is.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Written {
    /// The number if the decimal mark is a point.
    pub(crate) point: Option<Decimal>,
    /// The number if the decimal mark is a comma.
    pub(crate) comma: Option<Decimal>,
    /// What is written before or after the digits, for example `kg` or `€`.
    pub(crate) unit: String,
}

impl Written {
    /// Reads a text; `None` if it is not a number with either mark.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let text = clean(text);
        let start = text.find(|c: char| c.is_ascii_digit())?;
        // The sign and a mark without digits before it belong to the number: `-,5`.
        let start = text[..start].trim_end_matches(['-', '+', '.', ',', ' ']).len();
        let end = text.rfind(|c: char| c.is_ascii_digit())? + 1;
        let end = if text[end..].starts_with(['.', ',']) { end + 1 } else { end };
        let (before, body, after) = (text[..start].trim(), text[start..end].trim(), text[end..].trim());
        if !before.is_empty() && !after.is_empty() {
            return None;
        }
        let written = Self {
            point: with_mark(body, '.', ','),
            comma: with_mark(body, ',', '.'),
            unit: format!("{before}{after}"),
        };
        (written.point.is_some() || written.comma.is_some()).then_some(written)
    }

    /// The number with this decimal mark.
    pub(crate) fn with(&self, mark: DecimalMark) -> Option<Decimal> {
        match mark {
            DecimalMark::Point => self.point,
            DecimalMark::Comma => self.comma,
        }
    }

    /// The number, if it is the same with either mark.
    pub(crate) fn either(&self) -> Option<Decimal> {
        self.point.filter(|point| self.comma == Some(*point))
    }

    /// The only decimal mark with which it is a number.
    pub(crate) fn proves(&self) -> Option<DecimalMark> {
        match (&self.point, &self.comma) {
            (Some(_), None) => Some(DecimalMark::Point),
            (None, Some(_)) => Some(DecimalMark::Comma),
            _ => None,
        }
    }
}

/// The text without characters that cannot be seen, with one kind of space, apostrophe and minus sign.
pub(crate) fn clean(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\u{200b}'..='\u{200f}' | '\u{2060}' | '\u{feff}' | '\u{00ad}' | '\u{202a}'..='\u{202e}' => {}
            '\u{2019}' | '\u{2018}' | '\u{02bc}' => out.push('\''),
            '\u{2212}' => out.push('-'),
            c if c.is_whitespace() || c.is_control() => {
                if !out.is_empty() && !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            c => out.push(c),
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// Reads digits with a decimal mark, and with thousands that are separated by `other`, a space or an apostrophe.
fn with_mark(body: &str, mark: char, other: char) -> Option<Decimal> {
    let (body, power) = match body.find(['e', 'E']) {
        Some(at) => (&body[..at], &body[at..]),
        None => (body, ""),
    };
    let (sign, digits) = match body.strip_prefix('-') {
        Some(rest) => ("-", rest.trim_start()),
        None => ("", body.strip_prefix('+').unwrap_or(body)),
    };
    let (whole, fraction) = digits.split_once(mark).unwrap_or((digits, ""));
    if !fraction.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    let whole = match whole.chars().find(|c| !c.is_ascii_digit()) {
        None => whole.to_owned(),
        Some(separator) if [other, ' ', '\''].contains(&separator) => {
            let groups: Vec<&str> = whole.split(separator).collect();
            let is_group = |group: &&str| group.len() == 3 && group.bytes().all(|b| b.is_ascii_digit());
            let first = groups[0];
            let is_first =
                (1..=3).contains(&first.len()) && !first.starts_with('0') && first.bytes().all(|b| b.is_ascii_digit());
            if !is_first || !groups[1..].iter().all(is_group) {
                return None;
            }
            groups.concat()
        }
        Some(_) => return None,
    };
    let fraction = if fraction.is_empty() { String::new() } else { format!(".{fraction}") };
    Decimal::parse(&format!("{sign}{whole}{fraction}{power}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> [Option<String>; 2] {
        let written = Written::read(text).unwrap_or_else(|| panic!("{text}"));
        [written.point, written.comma].map(|number| number.map(|n| n.to_string()))
    }

    #[test]
    fn thousands_and_decimal_marks_of_many_countries() {
        for (text, point, comma) in [
            ("1.234,5", None, Some("1234.5")),
            ("1 234,5", None, Some("1234.5")),
            ("1\u{202f}234,5", None, Some("1234.5")),
            ("1\u{a0}234,50", None, Some("1234.50")),
            ("1'234.5", Some("1234.5"), None),
            ("1\u{2019}234.5", Some("1234.5"), None),
            ("1,234.5", Some("1234.5"), None),
            ("1,234,567", Some("1234567"), None),
            ("1.234.567", None, Some("1234567")),
            ("1,234", Some("1234"), Some("1.234")),
            ("1.234", Some("1.234"), Some("1234")),
            ("0,234", None, Some("0.234")),
            ("0.62", Some("0.62"), None),
            ("1 234", Some("1234"), Some("1234")),
            ("620", Some("620"), Some("620")),
            ("-,5", None, Some("-0.5")),
            ("\u{2212}3", Some("-3"), Some("-3")),
            ("\u{feff}12\u{200b},5 ", None, Some("12.5")),
            ("1.5E-3", Some("0.0015"), None),
        ] {
            assert_eq!(read(text), [point.map(str::to_owned), comma.map(str::to_owned)], "{text}");
        }
        for bad in ["", "abc", "12,34,56", "1 23", "1.2.3,4,5", "12 of 34", "1'23", "--3", "3-4", "A-3"] {
            let number = Written::read(bad).filter(|written| written.unit.is_empty());
            assert_eq!(number, None, "{bad}");
        }
    }

    #[test]
    fn a_unit_before_or_after_the_number() {
        for (text, unit) in [("€ 12.50", "€"), ("12,50 €", "€"), ("620 g", "g"), ("£1,234.50", "£"), ("12 %", "%")]
        {
            assert_eq!(Written::read(text).unwrap().unit, unit, "{text}");
        }
        assert_eq!(Written::read("about 12 kg"), None);
    }
}
