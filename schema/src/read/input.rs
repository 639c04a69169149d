//! The text of a file as the input of `saphyr-parser`, read by bytes.
//!
//! The parser reads one character at a time. Most characters of record files are ASCII, so one byte is enough for most
//! calls. The results are the same as those of the parser's own input for strings.
//!
//! A collection in brackets may be the key of a map, so the parser keeps all tokens of the outermost one before it makes the
//! first event of them. [`Ahead`] bounds them.

use std::cell::{Cell, RefCell};
use std::sync::{Mutex, MutexGuard, PoisonError};

use saphyr_parser::input::{Input, SkipTabs};

/// The most tokens that the parser may keep for one event: they take about 110 bytes each.
const MOST_TOKENS: usize = 1_000_000;
/// From this number of tokens on, one thread at a time reads ahead.
const MANY_TOKENS: usize = 100_000;

static TURN: Mutex<()> = Mutex::new(());

/// The tokens that the parser has read ahead since its last event.
#[derive(Default)]
pub(super) struct Ahead {
    tokens: Cell<usize>,
    turn: RefCell<Option<MutexGuard<'static, ()>>>,
}

impl Ahead {
    /// Counts a token; whether they are too many.
    #[inline]
    fn count(&self) -> bool {
        let tokens = self.tokens.get() + 1;
        self.tokens.set(tokens);
        if tokens == MANY_TOKENS {
            self.turn.borrow_mut().get_or_insert_with(|| TURN.lock().unwrap_or_else(PoisonError::into_inner));
        }
        tokens > MOST_TOKENS
    }

    /// Counts from zero, at an event.
    #[inline]
    pub(super) fn reset(&self) {
        self.tokens.set(0);
    }

    /// Whether the parser was stopped because they were too many.
    pub(super) fn is_over(&self) -> bool {
        self.tokens.get() > MOST_TOKENS
    }
}

/// The rest of a text.
#[derive(Clone, Copy)]
pub(super) struct Bytes<'s> {
    rest: &'s [u8],
    asked: usize,
    ahead: &'s Ahead,
}

const BLANK: u8 = 1;
/// A line break or the end of the text, which the parser sees as NUL.
const BREAK: u8 = 2;
const FLOW: u8 = 4;
const WORD: u8 = 8;

/// The classes of a byte.
const CLASS: [u8; 256] = {
    let mut table = [0; 256];
    let mut byte = 0;
    while byte < 128 {
        table[byte] = match byte as u8 {
            b' ' | b'\t' => BLANK,
            b'\n' | b'\r' | 0 => BREAK,
            b',' | b'[' | b']' | b'{' | b'}' => FLOW,
            b'0'..=b'9' | b'a'..=b'z' | b'A'..=b'Z' | b'_' | b'-' => WORD,
            _ => 0,
        };
        byte += 1;
    }
    table
};

const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// The first character of a text that is not ASCII, and its length in bytes.
#[cold]
fn wide(bytes: &[u8]) -> (char, usize) {
    let length = match bytes.first() {
        None => return ('\0', 0),
        Some(0xf0..) => 4,
        Some(0xe0..) => 3,
        Some(0xc0..) => 2,
        Some(_) => 1,
    };
    let text = bytes.get(..length).and_then(|bytes| std::str::from_utf8(bytes).ok());
    (text.and_then(|text| text.chars().next()).unwrap_or(char::REPLACEMENT_CHARACTER), length.min(bytes.len()))
}

impl<'s> Bytes<'s> {
    pub(super) fn new(text: &'s str, ahead: &'s Ahead) -> Self {
        Self { rest: text.as_bytes(), asked: 0, ahead }
    }

    /// The first character and its length; NUL and 0 at the end.
    #[inline]
    fn first(&self) -> (char, usize) {
        match self.rest.first() {
            Some(&byte) if byte < 128 => (char::from(byte), 1),
            _ => wide(self.rest),
        }
    }

    /// The classes of the first character; those of a line break at the end.
    #[inline]
    fn class(&self) -> u8 {
        self.rest.first().map_or(BREAK, |byte| CLASS[usize::from(*byte)])
    }

    /// Whether a line can continue with the first character.
    #[inline]
    fn continues_line(&self) -> bool {
        self.class() & BREAK == 0 && !self.rest.starts_with(BYTE_ORDER_MARK)
    }
}

impl Input for Bytes<'_> {
    #[inline]
    fn lookahead(&mut self, count: usize) {
        self.asked = self.asked.max(count);
    }

    #[inline]
    fn buflen(&self) -> usize {
        self.asked
    }

    /// The parser reserves this many bytes for each word: few, so that a short text is allocated once.
    #[inline]
    fn bufmaxlen(&self) -> usize {
        16
    }

    #[inline]
    fn raw_read_ch(&mut self) -> char {
        let (first, length) = self.first();
        self.rest = &self.rest[length..];
        first
    }

    #[inline]
    fn raw_read_non_breakz_ch(&mut self) -> Option<char> {
        self.continues_line().then(|| self.raw_read_ch())
    }

    #[inline]
    fn skip(&mut self) {
        let (_, length) = self.first();
        self.rest = &self.rest[length..];
    }

    #[inline]
    fn skip_n(&mut self, count: usize) {
        (0..count).for_each(|_| self.skip());
    }

    #[inline]
    fn peek(&self) -> char {
        self.first().0
    }

    /// Before each token the parser asks for a byte order mark, and for it only there. One inside a collection in brackets
    /// is an error, which ends the reading of too many tokens.
    #[inline]
    fn next_char_is(&self, c: char) -> bool {
        (c == '\u{feff}' && self.ahead.count()) || self.peek() == c
    }

    #[inline]
    fn peek_nth(&self, n: usize) -> char {
        let mut ahead = *self;
        ahead.skip_n(n);
        ahead.peek()
    }

    #[inline]
    fn peek_opt(&self) -> Option<char> {
        (!self.rest.is_empty()).then(|| self.peek())
    }

    #[inline]
    fn next_2_are(&self, first: char, second: char) -> bool {
        self.peek() == first && self.rest.len() > 1 && self.peek_nth(1) == second
    }

    #[inline]
    fn next_3_are(&self, first: char, second: char, third: char) -> bool {
        self.next_2_are(first, second) && self.peek_opt().is_some() && self.peek_nth(2) == third
    }

    #[inline]
    fn next_is_document_indicator(&self) -> bool {
        self.next_is_document_start() || self.next_is_document_end()
    }

    #[inline]
    fn next_is_document_start(&self) -> bool {
        self.rest.starts_with(b"---") && self.rest.get(3).is_none_or(|b| CLASS[usize::from(*b)] & (BLANK | BREAK) != 0)
    }

    #[inline]
    fn next_is_document_end(&self) -> bool {
        self.rest.starts_with(b"...") && self.rest.get(3).is_none_or(|b| CLASS[usize::from(*b)] & (BLANK | BREAK) != 0)
    }

    fn skip_ws_to_eol(&mut self, skip_tabs: SkipTabs) -> (usize, Result<SkipTabs, &'static str>) {
        let (mut spaces, mut tabs, mut count) = (false, false, 0);
        while let Some(byte @ (b' ' | b'\t')) = self.rest.first() {
            if *byte == b' ' {
                spaces = true;
            } else if skip_tabs == SkipTabs::Yes {
                tabs = true;
            } else {
                break;
            }
            self.rest = &self.rest[1..];
            count += 1;
        }
        if self.rest.first() == Some(&b'#') {
            if !tabs && !spaces {
                return (count, Err("comments must be separated from other tokens by whitespace"));
            }
            count += self.skip_while_non_breakz();
        }
        (count, Ok(SkipTabs::Result(tabs, spaces)))
    }

    #[inline]
    fn next_can_be_plain_scalar(&self, in_flow: bool) -> bool {
        match self.rest.first() {
            Some(b':') => {
                let next = self.rest.get(1).map_or(BREAK, |byte| CLASS[usize::from(*byte)]);
                next & (BLANK | BREAK) == 0 && !(in_flow && next & FLOW != 0)
            }
            Some(0xef) => !self.rest.starts_with(BYTE_ORDER_MARK),
            Some(byte) => !(in_flow && CLASS[usize::from(*byte)] & FLOW != 0),
            None => true,
        }
    }

    #[inline]
    fn next_is_blank_or_break(&self) -> bool {
        matches!(self.rest.first(), Some(b' ' | b'\t' | b'\n' | b'\r'))
    }

    #[inline]
    fn next_is_blank_or_breakz(&self) -> bool {
        self.class() & (BLANK | BREAK) != 0
    }

    #[inline]
    fn next_is_blank(&self) -> bool {
        self.class() & BLANK != 0
    }

    #[inline]
    fn next_is_break(&self) -> bool {
        matches!(self.rest.first(), Some(b'\n' | b'\r'))
    }

    #[inline]
    fn next_is_breakz(&self) -> bool {
        self.class() & BREAK != 0
    }

    #[inline]
    fn next_is_z(&self) -> bool {
        matches!(self.rest.first(), None | Some(0))
    }

    #[inline]
    fn next_is_flow(&self) -> bool {
        self.class() & FLOW != 0
    }

    #[inline]
    fn next_is_digit(&self) -> bool {
        self.rest.first().is_some_and(u8::is_ascii_digit)
    }

    #[inline]
    fn next_is_alpha(&self) -> bool {
        self.class() & WORD != 0
    }

    fn skip_while_non_breakz(&mut self) -> usize {
        let mut count = 0;
        while self.continues_line() {
            self.skip();
            count += 1;
        }
        count
    }

    fn skip_while_blank(&mut self) -> usize {
        let count = self.rest.iter().take_while(|byte| CLASS[usize::from(**byte)] & BLANK != 0).count();
        self.rest = &self.rest[count..];
        count
    }

    fn fetch_while_is_alpha(&mut self, out: &mut String) -> usize {
        let mut count = 0;
        while self.next_is_alpha() {
            out.push(self.raw_read_ch());
            count += 1;
        }
        count
    }

    fn fetch_while_is_yaml_non_space(&mut self, out: &mut String) -> usize {
        let mut count = 0;
        while self.class() & BLANK == 0 && self.continues_line() {
            out.push(self.raw_read_ch());
            count += 1;
        }
        count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use saphyr_parser::{Parser, StrInput};

    /// The events of a text, to the first error.
    fn events<'s>(input: impl Input + 's) -> Vec<String> {
        let mut parser = Parser::new(input);
        let mut all = Vec::new();
        while let Some(event) = parser.next_event() {
            let ended = event.is_err();
            all.push(format!("{event:?}"));
            if ended {
                break;
            }
        }
        all
    }

    /// The parser's own input counts the bytes of a `%` line as columns.
    fn assert_same_events(text: &str) {
        if text.is_ascii() || !text.contains('%') {
            let ahead = Ahead::default();
            assert_eq!(events(Bytes::new(text, &ahead)), events(StrInput::new(text)), "{text:?}");
        }
    }

    #[test]
    fn the_events_are_those_of_the_parsers_own_input() {
        for text in [
            "parts:\n  a: {in: b, title: 'it''s', notes: \"\\u00e9\\n\"}\n",
            "é: ±\n# µ\nb: |\n                      deep\n\n                       er\n  \n",
            "a: >2+\r\n   x\r\n\r\n- \u{feff}b\n",
            "--- a\n...\n---\n? [x, y]\n: &n z # c\n",
            "k:\tv\n\tw\n",
            "a: ---\n---x: ...y\n",
            "\u{10ffff}: \u{85}\u{2028}\n",
            "%YAML 1.2 # c\n%TAG ! tag:example.org,2000:\n%other a b\n--- x\n",
        ] {
            assert_same_events(text);
        }
    }

    /// The count relies on what the parser asks for: another version of it may ask differently.
    #[test]
    fn each_token_is_counted_once() {
        let counted = |text: &str| {
            let ahead = Ahead::default();
            let all = events(Bytes::new(text, &ahead));
            assert!(all.last().is_some_and(|event| event.starts_with("Ok")), "{all:?}");
            ahead.tokens.get()
        };
        for (text, tokens) in [
            ("a", 1),
            ("a: b", 3),
            ("{a, b}", 5),
            ("{a: [x, y]}", 9),
            ("- one two three four\n- 'five six seven'\n", 4),
            ("a: |\n  one\n\n  two\n  three\nb: \"x\n\n  y z\"\n", 6),
        ] {
            // At the end there are one or two more.
            assert!((tokens..tokens + 3).contains(&counted(text)), "{text:?}: {}", counted(text));
        }
        let many = |words: usize| counted(&format!("a: {}\nb: '{}'", "w ".repeat(words), "w\n ".repeat(words)));
        assert_eq!(many(2), many(1000));
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn the_events_are_the_same_for_any_text(
            text in "([ \n\t]|\r\n|[a-c0-2]|é|\u{feff}|: |- |[\\[\\]{},:%?&*!|>'\"#\\\\-]|\n      ){0,60}",
        ) {
            assert_same_events(&text);
        }
    }
}
