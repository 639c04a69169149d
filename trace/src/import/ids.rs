//! Part numbers as ids, and those that a spreadsheet has changed.

use schema::words::to_kebab_case;

use crate::spreadsheet::{Cell, Row};

/// A part number as an id.
pub(super) fn id_of(text: &str) -> Option<String> {
    let prefixed = format!("p-{text}");
    to_kebab_case(text).or_else(|| text.contains(|c: char| c.is_ascii_digit()).then(|| to_kebab_case(&prefixed))?)
}

/// Whether most cells of a column are texts that are not numbers.
pub(super) fn has_texts<'t>(rows: impl Iterator<Item = &'t Row>, column: u32) -> bool {
    let (mut texts, mut numbers) = (0_usize, 0_usize);
    for row in rows {
        match row.cell(column) {
            Some(Cell::Text(_)) => texts += 1,
            Some(Cell::Number(_)) => numbers += 1,
            _ => {}
        }
    }
    texts > numbers
}

/// Whether a text is a part number that a spreadsheet has changed into a number: `1.2E+05`.
pub(super) fn has_become_number(text: &str) -> bool {
    let Some((mantissa, power)) = text.split_once(['E', 'e']) else { return false };
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let mantissa_is_number = digits(&mantissa.replace([',', '.'], "")) && mantissa.contains([',', '.']);
    let power_is_number = power.strip_prefix(['+', '-']).is_some_and(digits);
    power_is_number && (mantissa_is_number || digits(mantissa))
}

/// Whether a text is a part number that a spreadsheet has changed into a date: `2027-03-05`, `05.03.2027`, `5-Mar`.
pub(super) fn has_become_date(text: &str) -> bool {
    const MONTHS: &str = "jan feb mar apr may jun jul aug sep oct nov dec mrz mai okt dez";
    let date = text.split(' ').next().unwrap_or_default();
    let parts: Vec<&str> = date.split(['-', '.', '/']).filter(|part| !part.is_empty()).collect();
    let number = |text: &str, from: u32, to: u32| {
        let is_short = text.len() <= 4 && text.bytes().all(|b| b.is_ascii_digit());
        is_short && text.parse::<u32>().is_ok_and(|number| (from..=to).contains(&number))
    };
    let day = |text: &str| text.len() <= 2 && number(text, 1, 31);
    let month = |text: &str| text.len() <= 2 && number(text, 1, 12);
    let year = |text: &str| text.len() == 4 && number(text, 1900, 2100);
    let word = |text: &str| text.len() == 3 && MONTHS.split(' ').any(|month| month.eq_ignore_ascii_case(text));
    match parts[..] {
        [a, b, c] => (year(a) && month(b) && day(c)) || (year(c) && (day(a) && day(b))) || (day(a) && word(b)),
        [a, b] => (day(a) && word(b)) || (word(a) && (day(b) || year(b))),
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn part_numbers_become_ids() {
        let ids = [("BR-0001", "br-0001"), ("1001", "p-1001"), ("FU 01/L", "fu-01-l"), ("Ölfilter 3", "lfilter-3")];
        for (text, id) in ids {
            assert_eq!(id_of(text).as_deref(), Some(id), "{text}");
        }
        assert_eq!(id_of("–"), None);
    }

    #[test]
    fn part_numbers_that_a_spreadsheet_has_changed() {
        for text in ["1.2E+05", "1,00E+12", "3E-05"] {
            assert!(has_become_number(text), "{text}");
        }
        for text in ["E-12", "3E5", "1E", "BE-12", "12"] {
            assert!(!has_become_number(text), "{text}");
        }
        for text in ["2027-03-05", "05.03.2027", "3/5/2027", "05-Mar", "Mar-05", "5-Mar-27", "2027-03-05 00:00:00"] {
            assert!(has_become_date(text), "{text}");
        }
        for text in ["12-345", "1-2-3", "A-03-05", "10.20.30", "mar", "2027-13-05", "MAR-1234"] {
            assert!(!has_become_date(text), "{text}");
        }
    }
}
