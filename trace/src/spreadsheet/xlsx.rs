//! Sheets of `.xlsx` workbooks, cell by cell: a range of all cells would have the size that the file claims.

use std::collections::BTreeSet;
use std::io::Cursor;

use calamine::{DataRef, Reader as _, SheetType, Xlsx, XlsxError};

use super::archive::Archive;
use super::{Cell, Decimal, Given, MOST_CELLS, Table, chosen, damaged};
use crate::Error;

/// Reads a sheet. `_archive` shows that the bytes decompress to a bounded size.
pub(super) fn read(_archive: &Archive<'_>, bytes: &[u8], given: Given<'_>) -> Result<Table, Error> {
    let mut workbook: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(|error| wrong(&error))?;
    let sheets = workbook.sheets_metadata().iter().filter(|sheet| sheet.typ == SheetType::WorkSheet);
    let names: Vec<String> = sheets.map(|sheet| sheet.name.clone()).collect();
    let sheet = chosen(&names, given)?.to_owned();
    let formulas = formulas_without_value(&mut workbook, &sheet)?;
    let mut table = Table { sheet: Some(sheet.clone()), ..Table::default() };
    {
        let mut reader = workbook.worksheet_cells_reader(&sheet).map_err(|error| wrong(&error))?;
        let percent: Vec<bool> = reader.styles().iter().map(is_percent).collect();
        let units: Vec<Option<String>> = reader.styles().iter().map(unit_of_format).collect();
        let mut seen = 0_usize;
        while let Some((cell, style)) = reader.next_cell_with_style_id().map_err(|error| wrong(&error))? {
            seen += 1;
            if seen > 10 * MOST_CELLS {
                return Err(damaged("it has millions of empty cells"));
            }
            let (row, column) = cell.get_position();
            let is_percent = percent.get(style).copied().unwrap_or(false);
            let content = if formulas.contains(&(row, column)) {
                Some(Cell::NoValue)
            } else {
                content(cell.get_value(), is_percent)
            };
            if let Some(content) = content {
                let unit = units.get(style).and_then(Option::as_ref).filter(|_| matches!(content, Cell::Number(_)));
                table.add(row.saturating_add(1), column, content)?;
                table.units.extend(unit.map(|unit| ((row.saturating_add(1), column), unit.clone())));
            }
        }
    }
    // A sheet without merged cells has none to report, whatever the reason.
    if let Ok(merged) = workbook.merge_cells_by_sheet_name(&sheet) {
        for area in merged {
            let rows = (area.start.0.saturating_add(1), area.end.0.saturating_add(1));
            table.merge(rows, (area.start.1, area.end.1));
        }
    }
    table.sheets = names;
    Ok(table)
}

/// The cells that have a formula but no value, in the order of the file.
fn formulas_without_value(workbook: &mut Xlsx<Cursor<&[u8]>>, sheet: &str) -> Result<BTreeSet<(u32, u32)>, Error> {
    let mut out = BTreeSet::new();
    let mut reader = workbook.worksheet_cells_reader(sheet).map_err(|error| wrong(&error))?;
    let mut seen = 0_usize;
    while let Some(cell) = reader.next_cell_with_formula_metadata().map_err(|error| wrong(&error))? {
        seen += 1;
        if seen > 10 * MOST_CELLS || out.len() > MOST_CELLS {
            return Err(damaged("it has millions of cells"));
        }
        let is_empty = match &cell.value {
            DataRef::Empty => true,
            DataRef::String(text) => text.is_empty(),
            DataRef::SharedString(text) => text.is_empty(),
            _ => false,
        };
        if is_empty && cell.formula.is_some() {
            out.insert(cell.pos);
        }
    }
    Ok(out)
}

fn content(value: &DataRef<'_>, is_percent: bool) -> Option<Cell> {
    let number = |value: f64| match Decimal::from_f64(value) {
        Some(number) if is_percent => Cell::Percent(number),
        Some(number) => Cell::Number(number),
        None => Cell::Error(format!("{value:e}")),
    };
    match value {
        DataRef::Empty => None,
        DataRef::Int(value) if is_percent => Some(Cell::Percent(Decimal::whole(*value))),
        DataRef::Int(value) => Some(Cell::Number(Decimal::whole(*value))),
        DataRef::Float(value) => Some(number(*value)),
        DataRef::String(text) => Some(Cell::Text(text.clone())),
        DataRef::SharedString(text) => Some(Cell::Text((*text).to_owned())),
        DataRef::Bool(flag) => Some(Cell::Flag(*flag)),
        DataRef::DateTime(_) | DataRef::DateTimeIso(_) | DataRef::DurationIso(_) => Some(Cell::Date),
        DataRef::Error(error) => Some(Cell::Error(error.to_string())),
    }
}

/// Whether a format shows 0.12 as 12 %: a `%` outside of quoted text.
fn is_percent(style: &calamine::Style) -> bool {
    let Some(format) = &style.number_format else { return false };
    format.format_code.split('"').step_by(2).any(|code| code.contains('%') && !code.contains("\\%"))
}

/// The text that a format shows beside a number, as in `0.0" kg"` and `#,##0.00 [$€-407]`; that of positive numbers.
fn unit_of_format(style: &calamine::Style) -> Option<String> {
    text_of_format(&style.number_format.as_ref()?.format_code)
}

fn text_of_format(code: &str) -> Option<String> {
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

fn wrong(error: &XlsxError) -> Error {
    if matches!(error, XlsxError::Password) {
        return Error::new("the workbook has a password").help("save it without a password");
    }
    damaged(schema::words::shorten(&error.to_string()))
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
            assert_eq!(text_of_format(code).as_deref(), text, "{code}");
        }
    }
}
