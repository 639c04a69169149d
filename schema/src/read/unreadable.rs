//! A text that cannot be read as YAML: which records may be in it.

use std::ops::Range;

use foldhash::HashSet;

/// The most blanks and quotes before a word that are looked at; a word behind more of them counts as the first one.
const MOST_BLANKS: usize = 4_000;

/// A line of the text, from a word on.
struct Line {
    /// The byte of its line break.
    end: usize,
    /// The byte after its last word.
    last: usize,
    /// The last colon with a blank after it.
    pair: Option<usize>,
}

/// The words of a text in their order. What is known about a line is kept for the next words of it.
struct Words<'b> {
    bytes: &'b [u8],
    line: Option<Line>,
}

/// Whether a byte can be in an id, or in a reference.
fn is_in_id(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_')
}

impl Words<'_> {
    /// Whether a word may be the id of a record: it begins a line, or an entry of a map in braces, and is not the key of a
    /// plain text, as the id under `serves` is. Its colon may be missing.
    fn may_be_id(&mut self, word: Range<usize>) -> bool {
        let bytes = self.bytes;
        let quote = bytes.get(word.end).filter(|byte| matches!(byte, b'"' | b'\''));
        let end = word.end + usize::from(quote.is_some());
        let next = bytes.get(end);
        let is_sign = |byte: &&u8| !matches!(byte, b' ' | b'\t' | b'"' | b'\'');
        let before = bytes[..word.start].iter().rev().take(MOST_BLANKS).find(is_sign);
        let begins = before.is_none_or(|byte| match byte {
            b'\n' | b'\r' | b'{' | b',' => true,
            // A list of records, instead of a map.
            b'-' => !bytes[..word.start].ends_with(b"-") && next == Some(&b':'),
            _ => false,
        });
        begins && next.is_none_or(|byte| !is_in_id(*byte)) && !self.is_key_of_text(end)
    }

    /// Whether a plain text follows after a colon.
    fn is_key_of_text(&mut self, from: usize) -> bool {
        let bytes = self.bytes;
        let line = match &mut self.line {
            Some(line) if from <= line.end => line,
            line => line.insert(Line::from(bytes, from)),
        };
        let rest = bytes.get(from..line.last).unwrap_or_default().trim_ascii_start();
        rest.strip_prefix(b":").map(<[u8]>::trim_ascii_start).is_some_and(|value| {
            let is_map = value.first().is_none_or(|byte| matches!(byte, b'{' | b'#' | b'&'));
            // A colon in a plain text is one of the errors that make a file unreadable.
            !is_map && line.pair.is_none_or(|pair| pair < line.last - value.len())
        })
    }
}

impl Line {
    fn from(bytes: &[u8], from: usize) -> Self {
        let rest = &bytes[from..];
        let end = memchr::memchr2(b'\n', b'\r', rest).unwrap_or(rest.len());
        let text = rest[..end].trim_ascii_end();
        let pair = memchr::memmem::rfind(text, b": ").map(|pair| from + pair);
        Self { end: from + end, last: from + text.len(), pair }
    }
}

/// Whether a text that cannot be read as YAML may have a record with this id: the word begins a line, or an entry of a map
/// in braces, and is not the key of a plain text, as the id under `serves` is. Its colon may be missing.
pub(super) fn may_have_record(bytes: &[u8], id: &str) -> bool {
    let mut words = Words { bytes, line: None };
    memchr::memmem::find_iter(bytes, id.as_bytes()).any(|at| words.may_be_id(at..at + id.len()))
}

/// All words for which `may_have_record` is true, for many questions about one text.
fn ids(bytes: &[u8]) -> HashSet<&[u8]> {
    let mut words = Words { bytes, line: None };
    let mut all = HashSet::default();
    let mut at = 0;
    while let Some(first) = bytes[at..].iter().position(|byte| is_in_id(*byte)) {
        let start = at + first;
        let length = bytes[start..].iter().position(|byte| !is_in_id(*byte));
        at = length.map_or(bytes.len(), |length| start + length);
        if words.may_be_id(start..at) {
            all.insert(&bytes[start..at]);
        }
    }
    all
}

/// The ids for which `may_have_record` is true of any of some texts, for many questions.
#[derive(Default)]
pub struct PossibleIds<'t> {
    texts: Vec<&'t [u8]>,
    words: HashSet<&'t [u8]>,
}

impl<'t> PossibleIds<'t> {
    /// Adds a text.
    pub fn add(&mut self, text: &'t [u8]) {
        self.texts.push(text);
        self.words.extend(ids(text));
    }

    /// Whether one of the texts may have a record with this id.
    pub fn contains(&self, id: &str) -> bool {
        if is_word(id) {
            self.words.contains(id.as_bytes())
        } else {
            self.texts.iter().any(|text| may_have_record(text, id))
        }
    }
}

/// Whether [`ids`] has all that is to be known about a text: it is one word.
fn is_word(id: &str) -> bool {
    !id.is_empty() && id.bytes().all(is_in_id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_words_at_once_are_those_that_are_found_one_by_one() {
        let texts = [
            "parts:\n  hub: {in: x\n  'rod' : {}\n  - arm: x\n  nut {a.b: c, d: e: f}\n -- bolt:\n",
            "a-a-a: {a: b c, d_e : {f: g}\r'h'i: 1\r\"j\": {\n- - k: 2\n l\n",
            "hub: text, rod: text,x:y,hub:z: w, \"",
        ];
        for text in texts {
            let found = ids(text.as_bytes());
            for start in 0..text.len() {
                for end in start + 1..=text.len() {
                    let id = &text[start..end];
                    if is_word(id) {
                        let expected = may_have_record(text.as_bytes(), id);
                        assert_eq!(found.contains(id.as_bytes()), expected, "{id} in {text}");
                    }
                }
            }
        }
    }
}
