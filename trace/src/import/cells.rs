//! Cells as numbers: with the decimal mark that the texts of the sheet prove, and in the unit of their column.

use schema::quantity::Unit;
use schema::settings::imports::{DecimalMark, Delimiter};
use schema::words::shorten;

use crate::Error;
use crate::spreadsheet::number::{Written, clean};
use crate::spreadsheet::{Cell, Decimal, Row, Table, column_name};

/// The decimal mark of a sheet; `None` if no number needs one.
pub(super) fn decimal_mark<'t>(
    table: &'t Table,
    rows: impl Iterator<Item = &'t Row> + Clone,
    columns: &[u32],
) -> Result<Option<DecimalMark>, Error> {
    let mut proofs: [Option<String>; 2] = [None, None];
    let mut open = None;
    let mut has_comma = false;
    for row in rows {
        for &column in columns {
            let Some(Cell::Text(text)) = row.cell(column) else { continue };
            let Some(written) = Written::read(text) else { continue };
            has_comma |= text.contains(',');
            let place = || format!("`{}` in row {}, column {}", shorten(&clean(text)), row.number, column_name(column));
            match written.proves() {
                Some(mark) => {
                    proofs[usize::from(mark == DecimalMark::Comma)].get_or_insert_with(place);
                }
                None if written.either().is_none() => {
                    open.get_or_insert_with(place);
                }
                None => {}
            }
        }
    }
    match proofs {
        [Some(point), Some(comma)] => Err(Error::new("the sheet has two decimal marks")
            .because(format!("{point} has a decimal point, {comma} a decimal comma"))
            .help("correct one of them, or set `decimal: point` or `decimal: comma`")),
        [Some(_), None] => Ok(Some(DecimalMark::Point)),
        [None, Some(_)] => Ok(Some(DecimalMark::Comma)),
        [None, None] => match open {
            None => Ok(None),
            // Where commas separate cells, numbers without any comma have decimal points.
            Some(_) if !has_comma && table.format.is_some_and(|format| format.delimiter == Delimiter::Comma) => {
                Ok(Some(DecimalMark::Point))
            }
            Some(place) => Err(Error::new("the decimal mark of the sheet is not known")
                .because(format!("{place} can be a number with thousands, or one with decimals"))
                .help("set `decimal: point` or `decimal: comma`")),
        },
    }
}

/// Reads a number; `None` for an empty cell, and for a dash.
///
/// # Errors
/// Why it is not a number, for a person.
pub(super) fn number(
    cell: Option<&Cell>,
    unit: Option<&Unit>,
    mark: Option<DecimalMark>,
) -> Result<Option<Decimal>, String> {
    let is_percent_unit = unit.is_some_and(|unit| unit.to_string() == "%");
    match cell {
        None => Ok(None),
        Some(Cell::Number(number)) => Ok(Some(*number)),
        Some(Cell::Percent(number)) if is_percent_unit => Ok(number.times(Decimal::whole(100))),
        Some(Cell::Percent(_)) => Err("it is a percentage".to_owned()),
        Some(Cell::Date) => Err("it is a date".to_owned()),
        Some(Cell::Flag(_)) => Err("it is true or false, not a number".to_owned()),
        Some(Cell::Error(error)) => Err(format!("its formula has the error `{}`", shorten(error))),
        Some(Cell::NoValue) => {
            Err("its formula has no value: open the file in a spreadsheet program and save it".to_owned())
        }
        Some(Cell::Text(text)) => {
            let text = clean(text);
            if ["-", "\u{2013}", "\u{2014}"].contains(&text.as_str()) {
                return Ok(None);
            }
            let not_a_number = || format!("`{}` is not a number", shorten(&text));
            let written = Written::read(&text).ok_or_else(not_a_number)?;
            let number = match mark {
                Some(mark) => written.with(mark),
                None => written.either(),
            };
            let number = number.ok_or_else(not_a_number)?;
            if !written.unit.is_empty() && !is_same_unit(&written.unit, unit) {
                let expected = unit.map_or_else(|| "a number without a unit".to_owned(), |unit| format!("`{unit}`"));
                return Err(format!("its unit is `{}`, expected {expected}", shorten(&written.unit)));
            }
            Ok(Some(number))
        }
    }
}

/// A unit as sheets write it, with signs of currencies.
pub(super) fn unit_of(text: &str) -> Option<Unit> {
    let text = text.trim().trim_end_matches('.');
    let name = match text {
        "£" => "GBP",
        "$" => "USD",
        "¥" => "JPY",
        "Fr" | "SFr" => "CHF",
        name => name,
    };
    let parsed = Unit::parse(name).or_else(|error| match name.to_ascii_lowercase().as_str() {
        // As people type them.
        "kg" | "kgs" => Unit::parse("kg"),
        "g" | "gr" | "grams" => Unit::parse("g"),
        "lb" | "lbs" => Unit::parse("lb"),
        _ => Err(error),
    });
    parsed.ok().filter(|_| !name.is_empty())
}

/// The unit in the name of a column, if it is none that can be meant by this one: that in brackets, or the last word.
pub(super) fn other_unit(name: &str, unit: &Unit) -> Option<Unit> {
    let mut others = Vec::new();
    let mut rest = name;
    while let Some(start) = rest.find(['[', '(']) {
        let is_square = rest[start..].starts_with('[');
        let inside = &rest[start + 1..];
        let end = inside.find([']', ')']).unwrap_or(inside.len());
        // A letter in round brackets can be the symbol of a quantity.
        others.extend(unit_of(&inside[..end]).filter(|own| is_square || is_alike(own, unit)));
        rest = &inside[end..];
    }
    if others.is_empty() {
        let word = name.split([' ', ',', '/', '\u{a0}']).next_back().and_then(unit_of);
        others.extend(word.filter(|own| !own.is_currency() && is_alike(own, unit)));
    }
    let is_meant = others.iter().any(|own| own.to_string() == unit.to_string());
    others.into_iter().next().filter(|_| !is_meant)
}

/// The unit that is written in a cell, or that its format shows, if it is not this one.
pub(super) fn own_unit(cell: Option<&Cell>, format: Option<&str>, unit: &Unit) -> Option<Unit> {
    let own = match cell {
        Some(Cell::Text(text)) => Written::read(&clean(text)).and_then(|written| unit_of(&written.unit))?,
        _ => format.and_then(unit_of).filter(|own| is_alike(own, unit))?,
    };
    (own.to_string() != unit.to_string()).then_some(own)
}

/// Whether two units are of one quantity: of the same dimension, or both of money.
fn is_alike(a: &Unit, b: &Unit) -> bool {
    a.dimension() == b.dimension() || (a.is_currency() && b.is_currency())
}

fn is_same_unit(written: &str, unit: Option<&Unit>) -> bool {
    let Some(unit) = unit else { return false };
    unit_of(written).is_some_and(|written| written.to_string() == unit.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_in_a_name_can_contradict() {
        let other = |name: &str, unit: &str| other_unit(name, &Unit::parse(unit).unwrap()).map(|unit| unit.to_string());
        for (name, unit, expected) in [
            ("each [kg]", "g", "kg"),
            ("Mass / each [kg]", "g", "kg"),
            ("Masse (kg)", "g", "kg"),
            ("Mass [KG]", "g", "kg"),
            ("Mass in kg", "g", "kg"),
            ("Masse/kg", "g", "kg"),
            ("Length [mm]", "g", "mm"),
            ("Price [$]", "EUR", "USD"),
            ("Price (€)", "CHF", "EUR"),
        ] {
            assert_eq!(other(name, unit).as_deref(), Some(expected), "{name} {unit}");
        }
        for (name, unit) in [
            ("each [g]", "g"),
            ("Mass (m) [g]", "g"),
            ("Mass (m)", "g"),
            ("Mass [total]", "g"),
            ("Price [€]", "EUR"),
            ("Mass", "kg"),
            ("Mass [kg] or [g]", "g"),
            ("Mass [", "g"),
        ] {
            assert_eq!(other(name, unit), None, "{name} {unit}");
        }
    }
}
