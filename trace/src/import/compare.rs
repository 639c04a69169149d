//! The amounts and counts of a part that the records have, changed to those of the sheet.

use schema::edit::{Change, Value};
use schema::quantity::Unit;
use schema::records::Part;
use schema::{Kind, Quantity};

use super::rows::{Item, ItemAmount};
use super::{ChangedValue, Plan};
use crate::RecordId;
use crate::load::Loaded;
use crate::spreadsheet::Decimal;

impl Plan<'_> {
    /// Adds the changes of a part that the records have. `units` are those of the columns of the entry.
    pub(super) fn compare(&mut self, loaded: &Loaded, id: RecordId, part: &Part, item: &Item, units: &[Unit]) {
        let record = loaded.record(id).id.to_string();
        let path = loaded.path(loaded.entries[id].file).to_owned();
        let before = self.changed.len();
        let set = |plan: &mut Self, keys: &[&str], before: Option<String>, after: String, value: Value| {
            let route = [Kind::Part.plural(), record.as_str()].into_iter().chain(keys.iter().copied());
            plan.changes.push((path.clone(), Change::set(route, value)));
            let field = if keys.last() == Some(&"value") { &keys[..keys.len() - 1] } else { keys };
            plan.changed.push(ChangedValue { id: record.clone(), field: field.join("."), before, after });
        };
        if let Some(count) = item.count.filter(|count| part.count.unwrap_or(1) != *count) {
            let before = part.count.map(|count| count.to_string());
            set(self, &["count"], before, count.to_string(), Value::plain(count.to_string()));
        }
        let import = self.import;
        for (((name, _), unit), amount) in import.parts.columns().zip(units).zip(&item.amounts) {
            let Some(amount) = amount else { continue };
            let key = ["amounts", name.as_str()];
            let Some(own) = part.amounts.get(name.as_str()) else {
                let text = text_of(amount, unit);
                set(self, &key, None, text.clone(), long_amount(amount, &text));
                continue;
            };
            // A number that is read from an evidence file is not typed here.
            let Some(number) = own.value.quantity().filter(|_| own.value.reading().is_none()) else {
                self.compare_read(&record, name, own.value.quantity(), (item, amount), unit);
                continue;
            };
            let is_other = !is_same(number, amount.value, unit) || has_other_uncertainty(number, amount, unit);
            let basis = amount.basis.as_ref().filter(|basis| own.basis.as_ref() != Some(*basis));
            let text = changed_text(number, amount, unit);
            match (is_other, basis, &own.basis) {
                (false, None, _) => {}
                // Without a basis the amount is one text; with one it becomes a map.
                (_, Some(_), None) => {
                    let text = if is_other { text } else { number.text().to_owned() };
                    let after = long_amount(amount, &text);
                    set(self, &key, Some(number.text().to_owned()), text, after);
                }
                (true, None, None) => {
                    set(self, &key, Some(number.text().to_owned()), text.clone(), Value::plain(text));
                }
                (_, basis, Some(before)) => {
                    if is_other {
                        let at = [key[0], key[1], "value"];
                        set(self, &at, Some(number.text().to_owned()), text.clone(), Value::plain(text));
                    }
                    if let Some(basis) = basis {
                        let at = [key[0], key[1], "basis"];
                        set(self, &at, Some(before.to_string()), basis.to_string(), Value::plain(basis.as_str()));
                    }
                }
            }
        }
        if self.changed.len() == before {
            self.unchanged += 1;
        }
    }
}

/// An amount as a map if it has a basis, otherwise as a text.
pub(super) fn long_amount(amount: &ItemAmount, text: &str) -> Value {
    match &amount.basis {
        Some(basis) => Value::Map(vec![
            ("value".to_owned(), Value::plain(text)),
            ("basis".to_owned(), Value::plain(basis.as_str())),
        ]),
        None => Value::plain(text),
    }
}

/// An amount as it is written.
pub(super) fn text_of(amount: &ItemAmount, unit: &Unit) -> String {
    let number = unit.after(&amount.value.to_string());
    match amount.uncertainty {
        Some(uncertainty) => format!("{number} ± {}", unit.after(&uncertainty.without_zeros().to_string())),
        None => number,
    }
}

/// A quantity with another number; its uncertainty stays as it was typed by hand, unless the sheet has one.
fn changed_text(before: &Quantity, amount: &ItemAmount, unit: &Unit) -> String {
    match before.text().split_once('±').filter(|_| amount.uncertainty.is_none()) {
        Some((_, uncertainty)) => format!("{} ± {}", text_of(amount, unit), uncertainty.trim()),
        None => text_of(amount, unit),
    }
}

/// Whether the sheet has an uncertainty that is not that of the records.
fn has_other_uncertainty(own: &Quantity, amount: &ItemAmount, unit: &Unit) -> bool {
    let Some(uncertainty) = amount.uncertainty.map(Decimal::as_f64) else { return false };
    let own = own.uncertainty().map(|size| size * own.unit().factor() / unit.factor());
    // The factors of units are not exact in binary.
    own.is_none_or(|own| (own - uncertainty).abs() > 1e-9 * uncertainty)
}

/// Whether a quantity of the records is a number of the sheet, in any unit.
pub(super) fn is_same(own: &Quantity, value: Decimal, unit: &Unit) -> bool {
    if own.unit().to_string() == unit.to_string() {
        return digits_of(own) == Some(value);
    }
    let text = unit.after(&value.to_string());
    Quantity::parse(&text).is_ok_and(|value| own.same_value(&value))
}

/// The number of a quantity, with the digits that it is written with.
pub(super) fn digits_of(quantity: &Quantity) -> Option<Decimal> {
    let text = quantity.text().trim_start_matches('+');
    let end = text.find([' ', '%', '°', '±']).unwrap_or(text.len());
    Decimal::parse(&text[..end])
}
