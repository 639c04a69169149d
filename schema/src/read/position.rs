//! Positions in a file: line, column and byte offset.

use std::sync::OnceLock;

use super::Spot;

/// A position in a file. Lines and columns count from 1, columns in characters, bytes from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position {
    /// The line.
    pub line: u32,
    /// The column.
    pub column: u32,
    /// The byte offset from the start of the file.
    pub offset: u32,
}

impl Position {
    /// The position without its byte offset.
    pub fn spot(self) -> Spot {
        Spot { line: self.line, column: self.column }
    }
}

/// Finds the byte offset of a line and column; fast if they increase, as they do from event to event.
pub(super) struct Cursor<'s> {
    text: &'s [u8],
    line: usize,
    line_start: usize,
    column: usize,
    offset: usize,
}

const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

fn is_inside_character(byte: u8) -> bool {
    byte & 0xc0 == 0x80
}

impl<'s> Cursor<'s> {
    pub(super) fn new(text: &'s str) -> Self {
        let mut cursor = Self { text: text.as_bytes(), line: 1, line_start: 0, column: 0, offset: 0 };
        cursor.start_line(0);
        cursor
    }

    /// Moves to the start of a line; a byte order mark there is not a column.
    fn start_line(&mut self, start: usize) {
        self.line_start = start;
        self.column = 0;
        self.offset =
            if self.text[start..].starts_with(BYTE_ORDER_MARK) { start + BYTE_ORDER_MARK.len() } else { start };
    }

    /// The byte offset of a line that counts from 1 and a column that counts from 0; at most the end of the text.
    pub(super) fn offset(&mut self, line: usize, column: usize) -> usize {
        while self.line < line {
            let rest = &self.text[self.offset..];
            let Some(end) = memchr::memchr2(b'\n', b'\r', rest) else { return self.text.len() };
            let length = if rest[end..].starts_with(b"\r\n") { 2 } else { 1 };
            self.line += 1;
            self.start_line(self.offset + end + length);
        }
        while self.line > line {
            let before = &self.text[..self.line_start];
            let ended = before.strip_suffix(b"\n").unwrap_or(before);
            let ended = if ended.len() == before.len() || ended.ends_with(b"\r") {
                ended.strip_suffix(b"\r").unwrap_or(ended)
            } else {
                ended
            };
            self.line -= 1;
            self.start_line(memchr::memrchr2(b'\n', b'\r', ended).map_or(0, |at| at + 1));
        }
        if self.column > column && column < self.column / 2 {
            self.start_line(self.line_start);
        }
        while self.column > column {
            self.offset -= 1;
            if !is_inside_character(self.text[self.offset]) {
                self.column -= 1;
            }
        }
        let ahead = column - self.column;
        if self.text.get(self.offset..self.offset + ahead).is_some_and(<[u8]>::is_ascii) {
            self.offset += ahead;
        } else {
            for _ in 0..ahead {
                let Some(rest) = self.text.get(self.offset + 1..) else { break };
                self.offset += 1 + rest.iter().take_while(|byte| is_inside_character(**byte)).count();
            }
        }
        self.column = column;
        self.offset
    }
}

/// Lines and columns of a text at every [`STEP`] bytes, counted at the first request.
#[derive(Debug, Default)]
pub(super) struct Lines(OnceLock<Box<[(u32, u32)]>>);

/// The bytes from one known position to the next.
const STEP: usize = 128;

impl Lines {
    /// The line and column of a byte offset, both counted from 1.
    pub(super) fn spot(&self, text: &str, offset: usize) -> Spot {
        let bytes = text.as_bytes();
        let offset = offset.min(bytes.len());
        let known = self.0.get_or_init(|| {
            let mut all = Vec::with_capacity(bytes.len() / STEP + 1);
            let mut place = (1, 1);
            for start in (0..=bytes.len()).step_by(STEP) {
                all.push(place);
                place = advance(bytes, start, (start + STEP).min(bytes.len()), place);
            }
            all.into()
        });
        let start = offset / STEP * STEP;
        let (line, column) = advance(bytes, start, offset, known.get(offset / STEP).copied().unwrap_or((1, 1)));
        Spot { line, column }
    }
}

/// From the line and column of one byte to those of another. A line ends with LF, CR LF or CR.
fn advance(bytes: &[u8], from: usize, to: usize, (mut line, mut column): (u32, u32)) -> (u32, u32) {
    for at in from..to {
        match bytes[at] {
            b'\n' => (line, column) = (line.saturating_add(1), 1),
            b'\r' if bytes.get(at + 1) != Some(&b'\n') => (line, column) = (line.saturating_add(1), 1),
            byte if is_inside_character(byte) => {}
            // Not a column at the start of a line, as in editors.
            0xef if column == 1 && bytes[at..].starts_with(BYTE_ORDER_MARK) => {}
            _ => column = column.saturating_add(1),
        }
    }
    (line, column)
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "a: é\r\n± b\rc\n\n\u{feff}x: y\n";

    #[test]
    fn offsets_and_lines_are_each_others_opposite() {
        let lines = Lines::default();
        let mut cursor = Cursor::new(TEXT);
        let places: Vec<_> = TEXT.char_indices().filter(|(_, c)| *c != '\u{feff}').map(|(at, _)| at).collect();
        for &at in places.iter().chain(places.iter().rev()) {
            let spot = lines.spot(TEXT, at);
            assert_eq!(cursor.offset(spot.line as usize, spot.column as usize - 1), at, "{spot:?}");
            assert_eq!(Cursor::new(TEXT).offset(spot.line as usize, spot.column as usize - 1), at, "{spot:?}");
        }
        assert_eq!(lines.spot(TEXT, TEXT.len()), Spot { line: 6, column: 1 });
        assert_eq!(lines.spot(TEXT, 16), Spot { line: 5, column: 1 });
        assert_eq!(cursor.offset(9, 0), TEXT.len());
    }

    #[test]
    fn a_long_text_is_counted_in_steps() {
        let text = "é\n".repeat(300) + &"±".repeat(300);
        let lines = Lines::default();
        for (at, _) in text.char_indices() {
            let spot = Spot::of_byte(text.as_bytes(), at);
            assert_eq!(lines.spot(&text, at), spot, "{at}");
        }
    }
}
