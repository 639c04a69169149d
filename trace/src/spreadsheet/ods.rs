//! Sheets of `.ods` workbooks.
//!
//! One attribute can repeat a row a million times, or a space four thousand million times: the limits apply before that.

use super::archive::Archive;
use super::xml::{self, Piece, Start};
use super::{Cell, Decimal, Given, MOST_COLUMNS, MOST_ROWS, MOST_TEXT, Table, chosen, damaged, number, room_for_sheet};
use crate::Error;

/// Reads a sheet.
pub(super) fn read(mut archive: Archive<'_>, given: Given<'_>) -> Result<Table, Error> {
    if archive.has("META-INF/manifest.xml") {
        let manifest = archive.part("META-INF/manifest.xml")?;
        if memchr::memmem::find(&manifest, b"encryption-data").is_some() {
            return Err(Error::new("the workbook has a password").help("save it without a password"));
        }
    }
    let content = archive.part("content.xml")?;
    drop(archive);
    let mut sheet = Sheet { given, ..Sheet::default() };
    xml::read(&content, "content.xml", |piece| match piece {
        Piece::Start(start) => sheet.start(&start),
        Piece::End(name) => sheet.end(name),
        Piece::Text(text) => sheet.text(text),
    })?;
    let mut table = sheet.table;
    chosen(&sheet.names, given)?;
    table.sheets = sheet.names;
    Ok(table)
}

/// What was read of the file so far.
#[derive(Default)]
struct Sheet<'g> {
    given: Given<'g>,
    names: Vec<String>,
    table: Table,
    /// The number of tables around the current position, and whether the outermost is the one to read.
    depth: usize,
    wanted: bool,
    /// The row, from 1, how often it comes, and its cells.
    row: u32,
    rows: u32,
    cells: Vec<(u32, Cell)>,
    column: u32,
    /// The bytes of text in these cells.
    text: usize,
    /// The cell that is open.
    cell: Option<Open>,
    /// The depth of notes in the cell, whose text is not its value.
    notes: usize,
}

/// A cell that is being read.
#[derive(Default)]
struct Open {
    kind: String,
    value: Option<String>,
    has_formula: bool,
    is_error: bool,
    columns: u32,
    /// The rows and columns that a merged cell covers.
    spans: (u32, u32),
    text: String,
    paragraphs: usize,
}

impl Sheet<'_> {
    fn start(&mut self, start: &Start<'_>) -> Result<(), Error> {
        match start.name() {
            "table:table" => {
                self.depth += 1;
                if self.depth == 1 {
                    let name = start.attribute("table:name")?.unwrap_or_default();
                    self.wanted = match self.given.sheet {
                        Some(wanted) => number::clean(wanted) == number::clean(&name),
                        None => self.names.is_empty(),
                    } && self.table.sheet.is_none();
                    if self.wanted {
                        self.table.sheet = Some(name.clone());
                    }
                    room_for_sheet(self.names.len())?;
                    self.names.push(name);
                    self.row = 1;
                }
            }
            "table:table-row" if self.depth == 1 => {
                self.rows = count(start, "table:number-rows-repeated")?;
                (self.column, self.text, self.cells) = (0, 0, Vec::new());
            }
            "table:table-cell" | "table:covered-table-cell" if self.depth == 1 && self.wanted => {
                let mut open = Open {
                    columns: count(start, "table:number-columns-repeated")?,
                    spans: (count(start, "table:number-rows-spanned")?, count(start, "table:number-columns-spanned")?),
                    has_formula: start.attribute("table:formula")?.is_some(),
                    is_error: start.attribute("calcext:value-type")?.is_some_and(|kind| kind == "error"),
                    kind: start.attribute("office:value-type")?.unwrap_or_default(),
                    ..Open::default()
                };
                for key in ["office:value", "office:string-value", "office:boolean-value"] {
                    open.value = open.value.or(start.attribute(key)?);
                }
                self.cell = Some(open);
            }
            "office:annotation" => self.notes += 1,
            "text:p" => {
                if let Some(cell) = self.cell.as_mut().filter(|_| self.notes == 0) {
                    cell.paragraphs += 1;
                    if cell.paragraphs > 1 {
                        cell.text.push('\n');
                    }
                }
            }
            // Several spaces mean the same as one in every text that is used.
            "text:s" | "text:tab" | "text:line-break" => self.text(" ")?,
            _ => {}
        }
        Ok(())
    }

    fn end(&mut self, name: &str) -> Result<(), Error> {
        match name {
            "table:table" => self.depth = self.depth.saturating_sub(1),
            "table:table-row" if self.depth == 1 => {
                if self.wanted {
                    let cells = std::mem::take(&mut self.cells);
                    let last = if cells.is_empty() { self.row } else { self.row.saturating_add(self.rows) };
                    for row in self.row..last {
                        for (column, cell) in &cells {
                            self.table.add(row, *column, cell.clone())?;
                        }
                    }
                }
                self.row = self.row.saturating_add(self.rows).min(MOST_ROWS + 1);
            }
            "table:table-cell" | "table:covered-table-cell" => {
                if let Some(cell) = self.cell.take() {
                    self.close(cell)?;
                }
            }
            "office:annotation" => self.notes = self.notes.saturating_sub(1),
            _ => {}
        }
        Ok(())
    }

    fn close(&mut self, cell: Open) -> Result<(), Error> {
        let columns = cell.columns;
        if cell.spans != (1, 1) {
            let (rows, spanned) = cell.spans;
            let last = (self.row.saturating_add(rows - 1), self.column.saturating_add(spanned - 1));
            self.table.merge((self.row, last.0), (self.column, last.1))?;
        }
        // A blank cell can come in a row that is repeated thousands of millions of times.
        if let Some(content) = cell.content().filter(|content| !content.is_blank()) {
            self.text = self.text.saturating_add(content.own_text().saturating_mul(columns as usize));
            self.table.room_for(self.text)?;
            for column in self.column..self.column.saturating_add(columns) {
                if column >= MOST_COLUMNS {
                    return Err(damaged(format!("row {} has more than {MOST_COLUMNS} columns", self.row)));
                }
                self.cells.push((column, content.clone()));
            }
        }
        self.column = self.column.saturating_add(columns);
        Ok(())
    }

    fn text(&mut self, text: &str) -> Result<(), Error> {
        let Some(cell) = self.cell.as_mut().filter(|_| self.notes == 0) else { return Ok(()) };
        if cell.text.len() + text.len() > MOST_TEXT {
            return Err(damaged(format!("a cell of row {} has too much text", self.row)));
        }
        cell.text.push_str(text);
        Ok(())
    }
}

impl Open {
    fn content(self) -> Option<Cell> {
        if self.is_error {
            let text = if self.text.is_empty() { "an error".to_owned() } else { self.text };
            return Some(Cell::Error(text));
        }
        let number = || {
            let value = self.value.as_deref().unwrap_or_default();
            value.parse::<f64>().ok().and_then(Decimal::from_f64)
        };
        match self.kind.as_str() {
            "float" | "currency" => Some(number().map_or(Cell::NoValue, Cell::Number)),
            "percentage" => Some(number().map_or(Cell::NoValue, Cell::Percent)),
            "date" | "time" => Some(Cell::Date),
            "boolean" => Some(Cell::Flag(self.value.as_deref() == Some("true"))),
            _ => {
                let text = self.value.filter(|value| !value.is_empty()).unwrap_or(self.text);
                match (text.is_empty(), self.has_formula) {
                    (true, true) => Some(Cell::NoValue),
                    (true, false) => None,
                    (false, _) => Some(Cell::Text(text)),
                }
            }
        }
    }
}

/// A number of repetitions: 1 without the attribute.
fn count(start: &Start<'_>, key: &str) -> Result<u32, Error> {
    let Some(text) = start.attribute(key)? else { return Ok(1) };
    let number = text.parse::<u32>().ok().filter(|number| *number > 0);
    number.ok_or_else(|| damaged(format!("content.xml: `{key}` is `{}`", schema::words::shorten(&text))))
}
