//! Sheets of `.xlsx` workbooks, event by event: no number of the file decides how much memory is used.
//!
//! Of a workbook are read: the list of its sheets, its shared texts, its number formats, and the cells and merged cells of one
//! sheet (ECMA-376-1, parts of SpreadsheetML).

use foldhash::HashMap;
use schema::words::shorten;

use super::archive::Archive;
use super::formats::{self, Shown};
use super::xml::{self, Piece, Start};
use super::{Cell, Decimal, Given, MOST_COLUMNS, MOST_ROWS, MOST_TEXT, Table, chosen, damaged, room_for_sheet};
use crate::Error;

/// The kinds of relations that are used.
const KINDS: [&str; 4] = ["officeDocument", "worksheet", "sharedStrings", "styles"];

/// The longest path of a part, in bytes.
const LONGEST_PATH: usize = 500;

/// Reads a sheet.
pub(super) fn read(mut archive: Archive<'_>, given: Given<'_>) -> Result<Table, Error> {
    let of_file = relations(&mut archive, "")?;
    let workbook = of_file.into_iter().find(|own| own.kind == "officeDocument");
    let workbook = workbook.map_or_else(|| "xl/workbook.xml".to_owned(), |own| own.target);
    if workbook.ends_with(".bin") {
        let why = "it is a binary workbook (.xlsb)";
        return Err(Error::new("cannot read the spreadsheet").because(why).help("save it as .xlsx"));
    }
    let parts = relations(&mut archive, &workbook)?;
    let sheets = sheets(&archive.part(&workbook)?, &workbook, &parts)?;
    let names: Vec<String> = sheets.iter().map(|(name, _)| name.clone()).collect();
    let name = chosen(&names, given)?.to_owned();
    let path = sheets.into_iter().find(|(own, _)| *own == name).map(|(_, path)| path).unwrap_or_default();
    let part = |kind: &str| parts.iter().find(|own| own.kind == kind).map(|own| own.target.clone());
    let strings = match part("sharedStrings").filter(|path| archive.has(path)) {
        Some(path) => Strings::read(&archive.part(&path)?, &path)?,
        None => Strings::default(),
    };
    let formats = match part("styles").filter(|path| archive.has(path)) {
        Some(path) => formats::read(&archive.part(&path)?, &path)?,
        None => Vec::new(),
    };
    let content = archive.part(&path)?;
    drop(archive);
    let table = Table::default();
    let mut sheet = Sheet {
        part: &path,
        strings: &strings,
        formats: &formats,
        table,
        is_in_data: false,
        row: 0,
        column: 0,
        cell: None,
    };
    xml::read(&content, &path, |piece| match piece {
        Piece::Start(start) => sheet.start(&start),
        Piece::End(name) => sheet.end(xml::local(name)),
        Piece::Text(text) => sheet.text(text),
    })?;
    let mut table = sheet.table;
    (table.sheet, table.sheets) = (Some(name), names);
    Ok(table)
}

/// A relation of a part to another one.
struct Relation {
    id: String,
    /// The last step of its type: `worksheet`.
    kind: &'static str,
    /// The path of the other part in the archive.
    target: String,
}

/// The relations of a part; those of the file itself for `""`.
fn relations(archive: &mut Archive<'_>, of: &str) -> Result<Vec<Relation>, Error> {
    let (folder, name) = of.rsplit_once('/').unwrap_or(("", of));
    let path = if folder.is_empty() { format!("_rels/{name}.rels") } else { format!("{folder}/_rels/{name}.rels") };
    let mut all = Vec::new();
    if !archive.has(&path) {
        return Ok(all);
    }
    xml::read(&archive.part(&path)?, &path, |piece| {
        let Piece::Start(start) = piece else { return Ok(()) };
        if start.local_name() == "Relationship" && start.attribute("TargetMode")?.is_none_or(|mode| mode != "External")
        {
            let text = |key: &str| start.attribute(key).map(Option::unwrap_or_default);
            let kind = text("Type")?;
            let kind = kind.rsplit('/').next().unwrap_or_default();
            let Some(kind) = KINDS.into_iter().find(|own| *own == kind) else { return Ok(()) };
            let target = text("Target")?;
            if target.len() > LONGEST_PATH {
                return Err(damaged(format!("{path}: a path has more than {LONGEST_PATH} bytes")));
            }
            room_for_sheet(all.len())?;
            all.push(Relation { id: text("Id")?, kind, target: resolved(folder, &target) });
        }
        Ok(())
    })?;
    Ok(all)
}

/// The path of a target that is relative to a folder, or begins at the top of the archive.
fn resolved(folder: &str, target: &str) -> String {
    let target = target.replace('\\', "/");
    let start = if target.starts_with('/') { "" } else { folder };
    let mut steps: Vec<&str> = Vec::new();
    for step in start.split('/').chain(target.split('/')) {
        match step {
            "" | "." => {}
            ".." => drop(steps.pop()),
            step => steps.push(step),
        }
    }
    steps.join("/")
}

/// The names of the worksheets, each with its part.
fn sheets(workbook: &[u8], part: &str, parts: &[Relation]) -> Result<Vec<(String, String)>, Error> {
    let mut targets: HashMap<&str, &str> = HashMap::default();
    for own in parts.iter().filter(|own| own.kind == "worksheet") {
        targets.entry(&own.id).or_insert(&own.target);
    }
    let mut all = Vec::new();
    xml::read(workbook, part, |piece| {
        let Piece::Start(start) = piece else { return Ok(()) };
        if start.local_name() == "sheet" {
            let id = start.prefixed("id")?.unwrap_or_default();
            // A sheet that is a chart has no cells.
            let Some(target) = targets.get(id.as_str()) else { return Ok(()) };
            room_for_sheet(all.len())?;
            all.push((start.attribute("name")?.unwrap_or_default(), (*target).to_owned()));
        }
        Ok(())
    })?;
    Ok(all)
}

/// The texts that cells share, one after the other.
#[derive(Default)]
struct Strings {
    all: String,
    ends: Vec<usize>,
}

impl Strings {
    fn read(content: &[u8], part: &str) -> Result<Self, Error> {
        let mut own = Self::default();
        let (mut item, mut is_text, mut phonetic) = (String::new(), false, 0_usize);
        xml::read(content, part, |piece| {
            match piece {
                Piece::Start(start) => match start.local_name() {
                    "si" => item.clear(),
                    "t" => is_text = phonetic == 0,
                    "rPh" => phonetic += 1,
                    _ => {}
                },
                Piece::Text(text) if is_text => item.push_str(text),
                Piece::Text(_) => {}
                Piece::End(name) => match xml::local(name) {
                    "t" => is_text = false,
                    "rPh" => phonetic = phonetic.saturating_sub(1),
                    "si" => {
                        own.all.push_str(&without_escapes(&item));
                        own.ends.push(own.all.len());
                    }
                    _ => {}
                },
            }
            Ok(())
        })?;
        Ok(own)
    }

    fn get(&self, index: usize) -> Option<&str> {
        let end = *self.ends.get(index)?;
        let start = index.checked_sub(1).map_or(0, |before| self.ends[before]);
        self.all.get(start..end)
    }
}

/// The text with the characters that XML cannot have: `_x000A_` is a line break (ECMA-376-1, 22.9.2.19).
fn without_escapes(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find("_x") {
        let digits = rest.get(at + 2..at + 6).filter(|_| rest.as_bytes().get(at + 6) == Some(&b'_'));
        let code = digits.filter(|digits| digits.bytes().all(|b| b.is_ascii_hexdigit()));
        let c = code.and_then(|digits| char::from_u32(u32::from_str_radix(digits, 16).ok()?));
        let (kept, skipped) = if c.is_some() { (at, at + 7) } else { (at + 2, at + 2) };
        out.push_str(&rest[..kept]);
        out.extend(c);
        rest = &rest[skipped..];
    }
    out.push_str(rest);
    out
}

/// What was read of a sheet so far.
struct Sheet<'s> {
    part: &'s str,
    strings: &'s Strings,
    formats: &'s [Shown],
    table: Table,
    is_in_data: bool,
    /// The row, from 1, and the column, from 0, of the next cell that does not name its own.
    row: u32,
    column: u32,
    cell: Option<Open>,
}

/// A cell that is being read.
#[derive(Default)]
struct Open {
    kind: Option<String>,
    format: usize,
    has_formula: bool,
    value: String,
    /// The element whose text is read.
    reads: Reads,
    phonetic: usize,
}

#[derive(Default, PartialEq, Eq)]
enum Reads {
    #[default]
    Nothing,
    Value,
    Text,
}

impl Sheet<'_> {
    fn start(&mut self, start: &Start<'_>) -> Result<(), Error> {
        match (start.local_name(), &mut self.cell) {
            ("sheetData", _) => self.is_in_data = true,
            ("row", None) if self.is_in_data => {
                let row = start.number("r")?.unwrap_or_else(|| self.row.saturating_add(1));
                if !(1..=MOST_ROWS).contains(&row) {
                    return Err(damaged(format!("{}: a row has the number {row}", self.part)));
                }
                (self.row, self.column) = (row, 0);
            }
            ("c", None) if self.is_in_data => {
                if let Some(place) = start.attribute("r")? {
                    (self.row, self.column) = self.place(&place)?;
                }
                // A format that the workbook does not have shows nothing.
                let format = start.number("s")?.map_or(0, |number| number as usize);
                self.cell = Some(Open { kind: start.attribute("t")?, format, ..Open::default() });
            }
            ("v", Some(cell)) => cell.reads = Reads::Value,
            ("f", Some(cell)) => (cell.has_formula, cell.reads) = (true, Reads::Nothing),
            ("t", Some(cell)) if cell.phonetic == 0 => cell.reads = Reads::Text,
            ("rPh", Some(cell)) => cell.phonetic += 1,
            ("mergeCell", None) => {
                if let Some(area) = start.attribute("ref")? {
                    let (from, to) = area.split_once(':').unwrap_or((&area, &area));
                    let (from, to) = (self.place(from)?, self.place(to)?);
                    let order = |a: u32, b: u32| (a.min(b), a.max(b));
                    self.table.merge(order(from.0, to.0), order(from.1, to.1))?;
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn text(&mut self, text: &str) -> Result<(), Error> {
        let Some(cell) = self.cell.as_mut().filter(|cell| cell.reads != Reads::Nothing) else { return Ok(()) };
        if cell.value.len() + text.len() > MOST_TEXT {
            return Err(damaged(format!("a cell of row {} has too much text", self.row)));
        }
        cell.value.push_str(text);
        Ok(())
    }

    fn end(&mut self, name: &str) -> Result<(), Error> {
        match (name, &mut self.cell) {
            ("sheetData", _) => self.is_in_data = false,
            ("v" | "f" | "t", Some(cell)) => cell.reads = Reads::Nothing,
            ("rPh", Some(cell)) => cell.phonetic = cell.phonetic.saturating_sub(1),
            ("c", Some(_)) => {
                let cell = self.cell.take().unwrap_or_default();
                let shown = self.formats.get(cell.format);
                if let Some(content) = cell.content(self.strings, shown, self.part)? {
                    let unit = shown.and_then(|shown| shown.unit.clone());
                    let unit = unit.filter(|_| matches!(content, Cell::Number(_)));
                    self.table.add(self.row, self.column, content)?;
                    self.table.units.extend(unit.map(|unit| ((self.row, self.column), unit)));
                }
                self.column = self.column.saturating_add(1);
            }
            _ => {}
        }
        Ok(())
    }

    /// The row and the column of a place such as `B12`.
    fn place(&self, text: &str) -> Result<(u32, u32), Error> {
        place(text).ok_or_else(|| damaged(format!("{}: `{}` is not a cell", self.part, shorten(text))))
    }
}

fn place(text: &str) -> Option<(u32, u32)> {
    let text = text.trim();
    let digits = text.find(|c: char| c.is_ascii_digit())?;
    let (letters, row) = (text[..digits].trim_matches('$'), &text[digits..]);
    if letters.is_empty() || letters.len() > 3 || !letters.bytes().all(|b| b.is_ascii_alphabetic()) {
        return None;
    }
    let column = letters.bytes().fold(0, |sum, b| sum * 26 + u32::from(b.to_ascii_uppercase() - b'A') + 1) - 1;
    let row = row.parse::<u32>().ok().filter(|row| (1..=MOST_ROWS).contains(row))?;
    (column < MOST_COLUMNS).then_some((row, column))
}

impl Open {
    fn content(self, strings: &Strings, shown: Option<&Shown>, part: &str) -> Result<Option<Cell>, Error> {
        let kind = self.kind.as_deref();
        let wrong = |what: &str| damaged(format!("{part}: `{}` is not {what}", shorten(&self.value)));
        let text = |text: &str| match (text.is_empty(), self.has_formula) {
            (true, true) => Some(Cell::NoValue),
            (true, false) => None,
            (false, _) => Some(Cell::Text(text.to_owned())),
        };
        if matches!(kind, Some("str" | "inlineStr")) {
            return Ok(text(&without_escapes(&self.value)));
        }
        let value = self.value.trim();
        if value.is_empty() {
            return Ok(self.has_formula.then_some(Cell::NoValue));
        }
        Ok(match kind {
            Some("s") => {
                let shared = value.parse().ok().and_then(|index| strings.get(index));
                text(shared.ok_or_else(|| wrong("the number of a shared text"))?)
            }
            Some("b") => match value {
                "0" | "false" => Some(Cell::Flag(false)),
                "1" | "true" => Some(Cell::Flag(true)),
                _ => return Err(wrong("true or false")),
            },
            Some("e") => Some(Cell::Error(value.to_owned())),
            Some("d") => Some(Cell::Date),
            Some("n") | None => match value.parse::<f64>() {
                Ok(_) if shown.is_some_and(|shown| shown.is_date) => Some(Cell::Date),
                Ok(number) => Some(match Decimal::from_f64(number) {
                    Some(own) if shown.is_some_and(|shown| shown.is_percent) => Cell::Percent(own),
                    Some(own) => Cell::Number(own),
                    None => Cell::Error(format!("{number:e}")),
                }),
                // Without a type it can be a text.
                Err(_) if kind.is_none() => text(value),
                Err(_) => return Err(wrong("a number")),
            },
            Some(kind) => return Err(damaged(format!("{part}: a cell has the type `{}`", shorten(kind)))),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_of_cells() {
        assert_eq!(place("A1"), Some((1, 0)));
        assert_eq!(place("$xfd$1048576"), Some((1_048_576, 16_383)));
        assert_eq!(place("XFD1048576"), Some((1_048_576, 16_383)));
        for text in ["", "A", "1", "A0", "XFE1", "AAAA1", "A1048577", "A99999999999999999999", "Ä1", "A1B"] {
            assert_eq!(place(text), None, "{text}");
        }
    }

    #[test]
    fn escapes_in_texts() {
        for (text, expected) in [
            ("a_x000A_b", "a\nb"),
            ("_x005F_x000A_", "_x000A_"),
            ("_x00", "_x00"),
            ("_xé0A_", "_xé0A_"),
            ("_xD800_", "_xD800_"),
            ("part_x1", "part_x1"),
            ("_x_x0041_", "_xA"),
        ] {
            assert_eq!(without_escapes(text), expected, "{text}");
        }
    }

    #[test]
    fn targets_are_relative_or_from_the_top() {
        assert_eq!(resolved("xl", "worksheets/sheet1.xml"), "xl/worksheets/sheet1.xml");
        assert_eq!(resolved("xl", "/xl/styles.xml"), "xl/styles.xml");
        assert_eq!(resolved("xl", "..\\..\\..\\other/./a.xml"), "other/a.xml");
    }
}
