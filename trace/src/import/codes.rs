//! Part numbers by their look: codes, each once.

use foldhash::HashSet;

use crate::spreadsheet::{Cell, Name};

/// The longest part number, in characters.
const LONGEST: usize = 30;

/// Whether the cells of a column are part numbers: all are codes, and none comes twice.
pub(super) fn are_codes<'t>(cells: impl Iterator<Item = &'t Cell>) -> bool {
    let mut known = HashSet::default();
    for cell in cells {
        let text = match cell {
            Cell::Text(text) => Name::of(text).folded,
            Cell::Number(_) => cell.shown(),
            Cell::Percent(_) | Cell::Date | Cell::Flag(_) | Cell::Error(_) | Cell::NoValue => return false,
        };
        if !is_code(&text) || !known.insert(text) {
            return false;
        }
    }
    known.len() > 1
}

/// Whether a text is a code such as `BR-0001`, `1001` or `FU 01/L`: it has a digit, and no word without one that is longer than
/// three letters.
fn is_code(text: &str) -> bool {
    let has_digit = |text: &str| text.bytes().any(|b| b.is_ascii_digit());
    let is_short = |word: &str| word.chars().count() <= 3;
    has_digit(text)
        && text.chars().count() <= LONGEST
        && text.split_whitespace().all(|word| has_digit(word) || is_short(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn part_numbers_look_like_codes() {
        for code in ["BR-0001", "1001", "FU 01/L", "p2", "su-upright-01"] {
            assert!(is_code(code), "{code}");
        }
        for name in ["Brake disc", "Upright left 2", "M8 bolt", "hub", "-", ""] {
            assert!(!is_code(name), "{name}");
        }
        let cells = |texts: &[&str]| texts.iter().map(|text| Cell::Text((*text).to_owned())).collect::<Vec<Cell>>();
        assert!(are_codes(cells(&["A-1", "A-2"]).iter()));
        assert!(!are_codes(cells(&["A-1", "a-1"]).iter()), "one comes twice");
        assert!(!are_codes(cells(&["A-1"]).iter()), "one alone proves nothing");
        assert!(!are_codes(cells(&["A-1", "Bolt"]).iter()));
    }
}
