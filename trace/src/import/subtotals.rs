//! Rows that are sums of the rows above them.

use crate::spreadsheet::number::clean;
use crate::spreadsheet::{Cell, Decimal};

/// Words with which a row of sums begins, in several languages.
const WORDS: &[&str] = &[
    "total",
    "totals",
    "subtotal",
    "sub-total",
    "sub total",
    "grand total",
    "sum",
    "summe",
    "zwischensumme",
    "gesamtsumme",
    "gesamt",
    "endsumme",
    "somme",
    "total général",
    "sous-total",
    "sous total",
    "totale",
    "subtotale",
    "suma",
    "subtotaal",
    "totaal",
    "total general",
];

/// The text of a cell that begins with such a word.
pub(super) fn word_of_total(cell: &Cell) -> Option<String> {
    let Cell::Text(text) = cell else { return None };
    let text = clean(text);
    let lower = text.to_lowercase();
    let is_word = |word: &&&str| {
        lower.strip_prefix(**word).is_some_and(|rest| rest.is_empty() || rest.starts_with([':', ' ', '(', ',']))
    };
    // The longest word counts: `sum` is not `summe`.
    WORDS.iter().filter(is_word).max_by_key(|word| word.len())?;
    (text.chars().count() <= 60).then_some(text)
}

/// The sums of the rows since the last subtotal, and of all rows: of the pieces, of one piece each, and with margins.
pub(super) struct Subtotals {
    /// One list per amount.
    sums: Vec<[Decimal; 6]>,
    any: bool,
    any_in_block: bool,
}

impl Subtotals {
    pub(super) fn new(amounts: usize) -> Self {
        Self { sums: vec![[Decimal::ZERO; 6]; amounts], any: false, any_in_block: false }
    }

    /// Adds a row.
    pub(super) fn add(&mut self, raw: &[Option<Decimal>], with_margins: &[Option<Decimal>], pieces: Decimal) {
        (self.any, self.any_in_block) = (true, true);
        for ((sums, raw), full) in self.sums.iter_mut().zip(raw).zip(with_margins) {
            let own = [raw.and_then(|raw| raw.times(pieces)), *raw, full.and_then(|full| full.times(pieces))];
            for (at, sum) in sums.iter_mut().enumerate() {
                if let Some(more) = own[at % 3] {
                    *sum = sum.plus(more).unwrap_or(*sum);
                }
            }
        }
    }

    /// Ends the block of rows that a subtotal is of.
    pub(super) fn close(&mut self) {
        self.any_in_block = false;
        for sums in &mut self.sums {
            sums[..3].fill(Decimal::ZERO);
        }
    }

    /// Whether the amounts of a row are sums of the rows above it: all that it has.
    pub(super) fn is_sum(&self, raw: &[Option<Decimal>]) -> bool {
        let has = raw.iter().any(|raw| raw.is_some_and(|raw| !raw.is_zero()));
        self.any && has && (0..raw.len()).all(|at| raw[at].is_none_or(|raw| self.matches(at, raw)))
    }

    fn matches(&self, amount: usize, value: Decimal) -> bool {
        let value = value.as_f64();
        let same = |sum: &Decimal| (sum.as_f64() - value).abs() <= 1e-9 * value.abs();
        self.sums[amount].iter().any(same)
    }

    /// Why a row of sums is skipped; with the difference if it is not the sum of the rows above it.
    pub(super) fn reason(&self, word: Option<&str>, raw: &[Option<Decimal>], names: &[&str]) -> String {
        let Some(word) = word else {
            let first = raw.iter().position(Option::is_some).unwrap_or(0);
            let name = names.get(first).copied().unwrap_or_default();
            return format!("subtotal: no part number, and `{name}` is the sum of the rows above");
        };
        let mut reason = format!("subtotal: `{}`", schema::words::shorten(word));
        for (at, name) in names.iter().enumerate() {
            if let Some(value) = raw[at].filter(|value| self.any && !self.matches(at, *value)) {
                let sum = if self.any_in_block { self.sums[at][0] } else { self.sums[at][3] };
                reason += &format!("; its `{name}` is {value}, the rows above add up to {}", sum.without_zeros());
            }
        }
        reason
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_totals() {
        for text in ["Total", "SUMME", "Zwischensumme Bremsen", "Sum:", "Sous-total (freins)", "Grand total"] {
            assert!(word_of_total(&Cell::Text(text.to_owned())).is_some(), "{text}");
        }
        for text in ["Summer tyre", "Totaliser", "Sump", "Assembly total"] {
            assert!(word_of_total(&Cell::Text(text.to_owned())).is_none(), "{text}");
        }
    }
}
