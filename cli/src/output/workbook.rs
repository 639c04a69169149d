//! Tables as a workbook of Excel (.xlsx): one table a sheet, the same bytes for the same records and date.

use std::collections::HashMap;

use rust_xlsxwriter::{
    DocProperties, ExcelDateTime, Format, FormatAlign, Table, TableColumn, TableStyle, Url, Workbook, Worksheet,
    XlsxError,
};
use schema::Day;

use super::csv::twelve_digits;
use super::grid::{Cell, Grid};
use crate::screen::clean;

/// A sheet: its name, and its table.
pub(crate) struct Sheet {
    pub(crate) name: &'static str,
    pub(crate) grid: Grid,
}

/// The columns with the id of a record; those that are in a sheet as `id` are linked to their row there.
const REFERENCES: [&str; 5] = ["of", "budget", "goal", "system", "input"];
/// The number of links that a sheet may have.
const MOST_LINKS: usize = 65_000;
/// The number of characters that a cell may have.
const MOST_TEXT: usize = 32_000;
/// The number of rows that a sheet may have below its head.
const MOST_ROWS: usize = 1_048_575;
/// The width of the widest column, in pixels.
const WIDEST: u32 = 420;

/// The bytes of a workbook; its date is that of the records.
pub(crate) fn bytes(sheets: &[Sheet], title: &str, day: Day) -> Result<Vec<u8>, trace::Error> {
    let failed = |error: XlsxError| trace::Error::new("cannot make the workbook").because(error);
    if let Some(sheet) = sheets.iter().find(|sheet| sheet.grid.rows.len() > MOST_ROWS) {
        let rows = sheet.grid.rows.len();
        return Err(trace::Error::new(format!("{rows} rows are too many for the sheet {}", sheet.name)).help(
            "a sheet has at most 1,048,576 rows: use `--format csv` of `values`, `budget`, `points` or `check`",
        ));
    }
    let places = places(sheets);
    let mut workbook = Workbook::new();
    let date = excel_date(day).map_err(failed)?;
    workbook.set_properties(&DocProperties::new().set_title(clean(title)).set_creation_datetime(&date));
    for sheet in sheets {
        fill(workbook.add_worksheet(), sheet, &places).map_err(failed)?;
    }
    workbook.save_to_buffer().map_err(failed)
}

/// Where the row of each id is: the sheet, and the number of the row that a person sees.
fn places(sheets: &[Sheet]) -> HashMap<&str, (&'static str, usize)> {
    let mut places = HashMap::new();
    for sheet in sheets.iter().filter(|sheet| sheet.grid.heads.first().is_some_and(|head| head == "id")) {
        for (at, row) in sheet.grid.rows.iter().enumerate() {
            if let Some(Cell::Text(id)) = row.first() {
                places.entry(id.as_str()).or_insert((sheet.name, at + 2));
            }
        }
    }
    places
}

fn excel_date(day: Day) -> Result<ExcelDateTime, XlsxError> {
    let date = day.date();
    let number = |number: i8| u8::try_from(number).unwrap_or(1);
    ExcelDateTime::from_ymd(u16::try_from(date.year()).unwrap_or(2000), number(date.month()), number(date.day()))
}

fn fill(
    worksheet: &mut Worksheet,
    sheet: &Sheet,
    places: &HashMap<&str, (&'static str, usize)>,
) -> Result<(), XlsxError> {
    let Grid { heads, rows } = &sheet.grid;
    worksheet.set_name(sheet.name)?;
    let iso = Format::new().set_num_format("yyyy-mm-dd");
    let top = Format::new().set_align(FormatAlign::Left);
    let mut links = 0;
    for (at, row) in (1..).zip(rows) {
        for ((column, cell), head) in (0..).zip(row).zip(heads) {
            match cell {
                Cell::Empty => {}
                Cell::Number(number) => {
                    worksheet.write_number(at, column, twelve_digits(*number))?;
                }
                Cell::Whole(number) => {
                    worksheet.write_number(at, column, *number as f64)?;
                }
                Cell::Day(day) => {
                    worksheet.write_datetime_with_format(at, column, &excel_date(*day)?, &iso)?;
                }
                Cell::Flag(flag) => {
                    worksheet.write_boolean(at, column, *flag)?;
                }
                Cell::Text(text) => {
                    let place = REFERENCES.contains(&head.as_str()).then(|| places.get(text.as_str())).flatten();
                    match place.filter(|_| links < MOST_LINKS) {
                        Some((name, row)) => {
                            links += 1;
                            let url = Url::new(format!("internal:'{name}'!A{row}")).set_text(shortened(text));
                            worksheet.write_url(at, column, url)?;
                        }
                        None => {
                            worksheet.write_string(at, column, shortened(text))?;
                        }
                    }
                }
            }
        }
    }
    let columns: Vec<TableColumn> =
        heads.iter().map(|head| TableColumn::new().set_header(head.as_str()).set_header_format(&top)).collect();
    let table = Table::new().set_name(sheet.name).set_style(TableStyle::Light9).set_columns(&columns);
    // A table has at least one row below its head.
    let last_row = u32::try_from(rows.len().max(1)).unwrap_or(u32::MAX);
    worksheet.add_table(0, 0, last_row, u16::try_from(heads.len().saturating_sub(1)).unwrap_or(0), &table)?;
    worksheet.set_freeze_panes(1, u16::from(heads.first().is_some_and(|head| head == "id")))?;
    worksheet.set_autofit_max_row(2000);
    worksheet.set_autofit_max_width(WIDEST).autofit();
    Ok(())
}

/// A text as a cell can hold it, without control characters. It is never a formula.
fn shortened(text: &str) -> String {
    let cleaned = clean(text);
    match cleaned.char_indices().nth(MOST_TEXT) {
        Some((end, _)) => format!("{}…", &cleaned[..end]),
        None => cleaned,
    }
}
