//! Tables that are text: encoding and delimiter are found, unless they are given.

use schema::settings::imports::{Delimiter, Encoding};

use super::{Cell, Given, Table, damaged};
use crate::Error;

/// What was found out about a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    /// What separates its cells.
    pub delimiter: Delimiter,
    /// Its encoding.
    pub encoding: Encoding,
}

/// The longest line that is read, in bytes: a row of 16,000 cells has less.
const LONGEST_LINE: usize = 256 * 1024;

/// The bytes in which the delimiter is looked for.
const SAMPLE: usize = 64 * 1024;

/// Reads a table.
pub(super) fn read(bytes: &[u8], given: Given<'_>) -> Result<Table, Error> {
    if given.sheet.is_some() {
        return Err(Error::new("a text table has no sheets").help("remove `sheet:`"));
    }
    let encoding = given.encoding.unwrap_or_else(|| encoding_of(bytes));
    let text = decoded(bytes, encoding)?;
    if text.contains('\0') {
        let why = "it has NUL characters";
        return Err(Error::new("the file is not a spreadsheet").because(why).help("save it as .xlsx, .ods or .csv"));
    }
    if let Some(line) = text.split(['\n', '\r']).position(|line| line.len() > LONGEST_LINE) {
        return Err(damaged(format!("line {} has more than {} KiB", line + 1, LONGEST_LINE >> 10)));
    }
    // Some programs name the delimiter in a first line of its own.
    let (named, skipped, rest) = match text.strip_prefix("sep=") {
        Some(rest) => {
            let end = rest.find('\n').map_or(rest.len(), |at| at + 1);
            let named = Delimiter::ALL.into_iter().find(|delimiter| rest.as_bytes().first() == Some(&delimiter.byte()));
            (named, 1, &rest[end..])
        }
        None => (None, 0, text.as_str()),
    };
    let delimiter = given.delimiter.or(named).unwrap_or_else(|| delimiter_of(rest));
    let mut table = Table { format: Some(Format { delimiter, encoding }), ..Table::default() };
    for record in reader(rest, delimiter).into_records() {
        let record = record.map_err(damaged)?;
        let line = record.position().map_or(0, |start| start.line() + blank_lines(rest, start.byte()));
        let line = u32::try_from(line).unwrap_or(u32::MAX).saturating_add(skipped);
        for (column, cell) in record.iter().enumerate() {
            let column = u32::try_from(column).unwrap_or(u32::MAX);
            table.add(line, column, Cell::Text(cell.to_owned()))?;
        }
    }
    Ok(table)
}

/// The number of empty lines at a position, which belong to the row after them.
fn blank_lines(text: &str, at: u64) -> u64 {
    let rest = text.as_bytes().get(usize::try_from(at).unwrap_or(usize::MAX)..).unwrap_or_default();
    rest.iter().take_while(|byte| matches!(byte, b'\n' | b'\r')).filter(|byte| **byte == b'\n').count() as u64
}

fn reader(text: &str, delimiter: Delimiter) -> csv::Reader<&[u8]> {
    let mut builder = csv::ReaderBuilder::new();
    builder.has_headers(false).flexible(true).delimiter(delimiter.byte()).from_reader(text.as_bytes())
}

/// The encoding of a text: by its byte order mark, by zero bytes between its characters, as UTF-8 if it is valid, otherwise
/// Windows-1252.
fn encoding_of(bytes: &[u8]) -> Encoding {
    let has_mark = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
    let start = &bytes[..bytes.len().min(1000)];
    let zeros = start.iter().filter(|byte| **byte == 0).count();
    if has_mark || (zeros > 0 && zeros * 3 > start.len()) {
        Encoding::Utf16
    } else if std::str::from_utf8(bytes).is_ok() {
        Encoding::Utf8
    } else {
        Encoding::Windows1252
    }
}

fn decoded(bytes: &[u8], encoding: Encoding) -> Result<String, Error> {
    let big = bytes.starts_with(&[0xfe, 0xff]) || (bytes.first() == Some(&0) && bytes.get(1).is_some_and(|b| *b != 0));
    let known = match encoding {
        Encoding::Utf8 => encoding_rs::UTF_8,
        Encoding::Utf16 if big => encoding_rs::UTF_16BE,
        Encoding::Utf16 => encoding_rs::UTF_16LE,
        Encoding::Windows1252 => encoding_rs::WINDOWS_1252,
        Encoding::Latin9 => encoding_rs::ISO_8859_15,
        Encoding::Windows1250 => encoding_rs::WINDOWS_1250,
        Encoding::Macintosh => encoding_rs::MACINTOSH,
    };
    let (text, wrong) = known.decode_with_bom_removal(bytes);
    if !wrong {
        return Ok(text.into_owned());
    }
    let valid = text.split('\u{fffd}').next().unwrap_or_default();
    let line = valid.matches('\n').count() + 1;
    let why = format!("line {line} is not {}", encoding.word());
    Err(Error::new("cannot read the text").because(why).help("give its `encoding:`, or save it as UTF-8"))
}

/// The delimiter that cuts most rows into the same number of cells, of those that cut at all.
fn delimiter_of(text: &str) -> Delimiter {
    const ROWS: usize = 60;
    let end = (0..=SAMPLE.min(text.len())).rev().find(|end| text.is_char_boundary(*end)).unwrap_or(0);
    let text = &text[..end];
    let score = |delimiter: &Delimiter| {
        let mut widths: Vec<usize> = Vec::new();
        for record in reader(text, *delimiter).into_records().take(ROWS).map_while(Result::ok) {
            widths.push(record.len());
        }
        widths.sort_unstable();
        let runs = widths.chunk_by(|a, b| a == b).filter(|run| run[0] > 1);
        // Rows that agree, and among equals more cells.
        runs.map(|run| (run.len(), run[0])).max().unwrap_or((0, 0))
    };
    let best = Delimiter::ALL.into_iter().map(|delimiter| (score(&delimiter), delimiter));
    // Of equals the first: a comma between semicolons is a decimal mark.
    best.rev().max_by_key(|(score, _)| *score).map_or(Delimiter::Comma, |(_, delimiter)| delimiter)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(bytes: &[u8]) -> Table {
        read(bytes, Given::default()).unwrap()
    }

    fn texts(table: &Table) -> Vec<Vec<String>> {
        table.rows.iter().map(|row| row.cells.iter().map(|(_, cell)| cell.shown()).collect()).collect()
    }

    #[test]
    fn the_delimiter_cuts_rows_alike() {
        for (text, delimiter) in [
            ("a;b;c\n1,5;2;3\n1,5;2,5;3\n", Delimiter::Semicolon),
            ("a,b,c\n1.5,2,3\n\"x, y\",2,3\n", Delimiter::Comma),
            ("a\tb\n1,5\t2\n", Delimiter::Tab),
            ("a|b\n1,5|2\n", Delimiter::Bar),
            ("sep=;\na;b\n1;2\n", Delimiter::Semicolon),
            ("Bill of materials\n\nNo;Name;Mass [g]\n1;Hub, left;1,5\n2;Hub, right;1,5\n", Delimiter::Semicolon),
        ] {
            assert_eq!(table(text.as_bytes()).format.unwrap().delimiter, delimiter, "{text}");
        }
    }

    #[test]
    fn the_encoding_is_found() {
        let text = "Nr;Größe €\n1;2\n";
        let utf16 = |big: bool, mark: bool| -> Vec<u8> {
            let units = mark.then_some(0xfeff).into_iter().chain(text.encode_utf16());
            units.flat_map(|unit: u16| if big { unit.to_be_bytes() } else { unit.to_le_bytes() }).collect()
        };
        let windows: Vec<u8> = "Nr;Gr".bytes().chain([0xf6, 0xdf, b'e', b' ', 0x80]).chain("\n1;2\n".bytes()).collect();
        let marked = [b"\xef\xbb\xbf", text.as_bytes()].concat();
        for (bytes, encoding) in [
            (text.as_bytes().to_vec(), Encoding::Utf8),
            (marked, Encoding::Utf8),
            (utf16(false, true), Encoding::Utf16),
            (utf16(true, true), Encoding::Utf16),
            (utf16(false, false), Encoding::Utf16),
            (utf16(true, false), Encoding::Utf16),
            (windows, Encoding::Windows1252),
        ] {
            let table = table(&bytes);
            assert_eq!(table.format.unwrap().encoding, encoding);
            assert_eq!(texts(&table)[0], ["Nr", "Größe €"], "{encoding:?}");
        }
        let wrong = read(b"a;b\n1;\xff\n", Given { encoding: Some(Encoding::Utf8), ..Given::default() }).unwrap_err();
        assert_eq!(wrong.cause.as_deref(), Some("line 2 is not utf-8"));
    }

    #[test]
    fn rows_have_the_numbers_of_their_lines() {
        let table = table(b"a;b\n\n\"x\ny\";2\n;\n3;4\n");
        let numbers: Vec<u32> = table.rows.iter().map(|row| row.number).collect();
        assert_eq!(numbers, [1, 3, 6]);
    }
}
