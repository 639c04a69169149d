//! The number formats of an `.xlsx` workbook: whether a number is shown as a date or a percentage, or beside a unit.

use std::collections::BTreeMap;

use super::xml::{self, Piece};
use crate::Error;

/// What a format shows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Shown {
    pub(super) is_date: bool,
    pub(super) is_percent: bool,
    /// The text beside a positive number: `kg` of `0.0" kg"`.
    pub(super) unit: Option<String>,
}

impl Shown {
    fn of(code: &str) -> Self {
        Self { is_date: is_date(code), is_percent: is_percent(code), unit: text_beside(code) }
    }

    /// A format that files name by its number only (ECMA-376-1, 18.8.30); those of East Asian locales are dates.
    fn built_in(number: u32) -> Self {
        Self {
            is_date: matches!(number, 14..=22 | 27..=36 | 45..=47 | 50..=58),
            is_percent: matches!(number, 9 | 10),
            unit: None,
        }
    }
}

/// Reads the formats of cells, in the order in which cells count them.
pub(super) fn read(styles: &[u8], part: &str) -> Result<Vec<Shown>, Error> {
    let mut own: BTreeMap<u32, Shown> = BTreeMap::new();
    let mut all = Vec::new();
    let mut is_of_cells = false;
    xml::read(styles, part, |piece| {
        match piece {
            Piece::Start(start) => match start.local_name() {
                "numFmt" => {
                    if let (Some(number), Some(code)) = (start.number("numFmtId")?, start.attribute("formatCode")?) {
                        own.entry(number).or_insert_with(|| Shown::of(&code));
                    }
                }
                "cellXfs" => is_of_cells = true,
                "xf" if is_of_cells => {
                    let number = start.number("numFmtId")?.unwrap_or(0);
                    all.push(own.get(&number).cloned().unwrap_or_else(|| Shown::built_in(number)));
                }
                _ => {}
            },
            Piece::End(name) => is_of_cells &= xml::local(name) != "cellXfs",
            Piece::Text(_) => {}
        }
        Ok(())
    })?;
    Ok(all)
}

/// Whether a format shows 0.12 as 12 %: a `%` outside of quoted text.
fn is_percent(code: &str) -> bool {
    code.split('"').step_by(2).any(|code| code.contains('%') && !code.contains("\\%"))
}

/// Whether a format shows a date or a time: it has a letter of a day, month, year, hour, minute or second.
fn is_date(code: &str) -> bool {
    let mut chars = code.chars();
    let mut is_quoted = false;
    while let Some(c) = chars.next() {
        match c {
            '"' => is_quoted = !is_quoted,
            _ if is_quoted => {}
            ';' => return false,
            '\\' | '_' | '*' => {
                chars.next();
            }
            '[' => {
                // A time that goes on above 24 hours: `[h]:mm`. Others are colours, conditions and currencies.
                let inside: String = chars.by_ref().take_while(|c| *c != ']').collect();
                let letter = inside.chars().next().map(|c| c.to_ascii_lowercase());
                if letter.is_some_and(|own| "hms".contains(own) && inside.chars().all(|c| c.eq_ignore_ascii_case(&own)))
                {
                    return true;
                }
            }
            c if "dmyhs".contains(c.to_ascii_lowercase()) => return true,
            _ => {}
        }
    }
    false
}

/// The text that a format shows beside a number, as in `0.0" kg"` and `#,##0.00 [$€-407]`; that of positive numbers.
fn text_beside(code: &str) -> Option<String> {
    const LONGEST: usize = 12;
    let mut text = String::new();
    let mut chars = code.chars();
    let mut is_quoted = false;
    while let Some(c) = chars.next() {
        match c {
            '"' => is_quoted = !is_quoted,
            c if is_quoted => text.push(c),
            ';' => break,
            '\\' => text.extend(chars.next()),
            // The width of a character, and one that fills the cell.
            '_' | '*' => {
                chars.next();
            }
            '[' => {
                let inside: String = chars.by_ref().take_while(|c| *c != ']').collect();
                text.extend(inside.strip_prefix('$').and_then(|money| money.split('-').next()));
            }
            '€' | '£' => text.push(c),
            _ => {}
        }
    }
    let text = text.trim();
    (!text.is_empty() && text.len() <= LONGEST).then(|| text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formats_show_units() {
        for (code, text) in [
            ("0.0\" kg\"", Some("kg")),
            ("#,##0.00\\ \"g\"", Some("g")),
            ("_-* #,##0.00\\ [$€-407]_-;-* #,##0.00\\ [$CHF]", Some("€")),
            ("0.00;\"minus \"0.00", None),
            ("General", None),
            ("yyyy\\-mm", Some("-")),
            ("[Red]0.0", None),
            ("0\"", None),
        ] {
            assert_eq!(text_beside(code).as_deref(), text, "{code}");
        }
    }

    #[test]
    fn formats_show_dates() {
        for code in ["yyyy-mm-dd", "DD/MM/YY", "[h]:mm", "[$-407]d. mmmm", "h:mm AM/PM", "[ss].000", "m\"M\"d\"D\";@"] {
            assert!(is_date(code), "{code}");
        }
        for code in
            ["General", "0.00", "0.0\" mm\"", "#,##0\\ [$USD]", "[Red]0", "0_d", "\\Y000", "0.00E+00", "[>=100]0"]
        {
            assert!(!is_date(code), "{code}");
        }
    }

    #[test]
    fn cells_count_the_formats_of_cells_only() {
        let styles = "<s:styleSheet xmlns:s=\"m\"><s:numFmts><s:numFmt numFmtId=\"164\" formatCode=\"0.0&quot; kg&quot;\"/>\
                      </s:numFmts><s:cellStyleXfs><s:xf numFmtId=\"14\"/></s:cellStyleXfs><s:cellXfs><s:xf/><s:xf \
                      numFmtId=\"164\"/><s:xf numFmtId=\"10\"/><s:xf numFmtId=\"14\"/></s:cellXfs></s:styleSheet>";
        let all = read(styles.as_bytes(), "styles").unwrap();
        assert_eq!(all.len(), 4);
        assert_eq!(all[0], Shown::default());
        assert_eq!(all[1].unit.as_deref(), Some("kg"));
        assert!(all[2].is_percent && all[3].is_date);
    }
}
