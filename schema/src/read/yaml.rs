//! The only file that uses the YAML parser: the events of `saphyr-parser` become a [`Tree`].

use std::borrow::Cow;

use foldhash::{HashMap, HashMapExt as _};
use saphyr_parser::{Event, Marker, Parser, ScalarStyle, Span};
use serde::de::DeserializeOwned;

use super::input::{Ahead, Bytes};
use super::position::Cursor;
use super::tree::{Node, NodeId, Stored, Tree, clip, weight};
use super::{Spot, likely};

/// The deepest nesting of collections; records need 7.
const DEEPEST: usize = 64;
/// The most nodes that a file may have with its aliases expanded; a long text counts as several.
const MOST_NODES: u64 = 1_000_000;

/// A syntax error, with its position.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SyntaxError {
    /// The position.
    pub spot: Spot,
    /// The message.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// Reads only data that is included in the tool, because `serde_yaml` has no positions and no limits.
pub fn shipped<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_yaml::from_str(text).map_err(|error| error.to_string())
}

/// A collection that has not ended.
struct Frame {
    node: NodeId,
    anchor: usize,
    is_map: bool,
    /// The start of its items in [`Builder::items`].
    first: usize,
    /// The size of the tree before it.
    before: u64,
    /// The byte after its last item.
    end: u32,
}

struct Builder<'s> {
    source: &'s str,
    cursor: Cursor<'s>,
    tree: Tree<'s>,
    open: Vec<Frame>,
    /// The items of the collections that have not ended.
    items: Vec<NodeId>,
    anchors: HashMap<usize, (NodeId, u64)>,
    /// The last byte behind which no colon was found.
    no_colon: Option<u32>,
    /// The size of the tree with its aliases expanded.
    expanded: u64,
}

impl<'s> Builder<'s> {
    fn new(source: &'s str) -> Self {
        Self {
            source,
            cursor: Cursor::new(source),
            tree: Tree::new(source),
            open: Vec::new(),
            items: Vec::new(),
            anchors: HashMap::new(),
            no_colon: None,
            expanded: 0,
        }
    }

    fn offset(&mut self, mark: Marker) -> usize {
        self.cursor.offset(mark.line(), mark.col())
    }

    /// Adds a finished node, which ends at a byte, to the collection it is in.
    fn attach(&mut self, node: NodeId, end: u32) {
        match self.open.last_mut() {
            Some(frame) => {
                frame.end = frame.end.max(end);
                self.items.push(node);
            }
            None => self.tree.set_root(Some(node)),
        }
    }

    fn anchor(&mut self, anchor: usize, node: NodeId, size: u64) {
        if anchor != 0 {
            self.anchors.insert(anchor, (node, size));
        }
    }

    fn scalar(&mut self, text: Cow<'_, str>, style: ScalarStyle, anchor: usize, span: Span) {
        let start = self.offset(span.start);
        let size = weight(&text);
        let (stored, end) = match style {
            ScalarStyle::Plain if self.source[start..].starts_with(&*text) => (Stored::Plain, start + text.len()),
            ScalarStyle::Plain => {
                let index = self.tree.push_text(text.into());
                (Stored::Text { index, plain: true }, self.offset(span.end))
            }
            ScalarStyle::SingleQuoted | ScalarStyle::DoubleQuoted => {
                let quote = if anchor == 0 { start } else { self.tree.behind_anchor(clip(start)) as usize };
                match self.quoted(&text, quote) {
                    Some(end) if quote == start => (Stored::Quoted, end),
                    end => {
                        let end = end.unwrap_or_else(|| self.quoted_end(quote));
                        (Stored::Text { index: self.tree.push_text(text.into()), plain: false }, end)
                    }
                }
            }
            ScalarStyle::Literal | ScalarStyle::Folded => {
                let end = self.offset(span.end).max(start);
                let index = self.tree.push_text(text.into());
                (Stored::Block { index }, start + self.source[start..end].trim_ascii_end().len())
            }
        };
        let node = self.tree.push(Node { start: clip(start), end: clip(end.max(start)), stored });
        self.expanded += size;
        self.anchor(anchor, node, size);
        let is_empty = start == end && matches!(stored, Stored::Plain);
        let behind = match self.open.last().map(|frame| frame.end) {
            Some(before) if is_empty => self.behind_colon(before),
            _ => clip(end),
        };
        self.attach(node, behind);
    }

    /// The byte behind a colon after an item, or the end of the item. The blanks behind an item are looked at once.
    fn behind_colon(&mut self, end: u32) -> u32 {
        if self.no_colon == Some(end) {
            return end;
        }
        let behind = self.tree.behind_colon(end);
        if behind == end {
            self.no_colon = Some(end);
        }
        behind
    }

    /// The byte after a quoted scalar whose source is its text.
    fn quoted(&self, text: &str, start: usize) -> Option<usize> {
        let (quote, inner) = self.source.as_bytes().get(start..)?.split_first()?;
        let is_same = inner.starts_with(text.as_bytes())
            && inner.get(text.len()) == Some(quote)
            && memchr::memchr(*quote, text.as_bytes()).is_none();
        is_same.then_some(start + text.len() + 2)
    }

    /// The byte after any quoted scalar.
    fn quoted_end(&self, start: usize) -> usize {
        let bytes = self.source.as_bytes();
        let Some((quote, inner)) = bytes.get(start..).and_then(<[u8]>::split_first) else { return bytes.len() };
        let mut at = 0;
        while let Some(found) = memchr::memchr2(*quote, b'\\', inner.get(at..).unwrap_or(&[])) {
            at += found;
            at += match (inner[at], inner.get(at + 1)) {
                (b'\\', _) if *quote == b'"' => 2,
                (b'\'', Some(b'\'')) if *quote == b'\'' => 2,
                (b'\\', _) => 1,
                _ => return start + at + 2,
            };
        }
        bytes.len()
    }

    /// The byte after a closing bracket that follows after blanks, comments and a comma.
    fn closing(&self, from: u32, bracket: u8) -> Option<u32> {
        let bytes = self.source.as_bytes();
        let mut at = from as usize;
        loop {
            at += match bytes.get(at)? {
                b' ' | b'\t' | b'\n' | b'\r' | b',' => 1,
                b'#' => memchr::memchr2(b'\n', b'\r', &bytes[at..])?,
                byte => return (*byte == bracket).then(|| clip(at + 1)),
            };
        }
    }

    fn start(&mut self, is_map: bool, anchor: usize, mark: Marker) {
        let start = clip(self.offset(mark));
        let node = self.tree.push(Node { start, end: start, stored: Stored::Plain });
        let before = self.expanded;
        self.expanded += 1;
        self.open.push(Frame { node, anchor, is_map, first: self.items.len(), before, end: start });
    }

    fn end(&mut self, mark: Marker) {
        let Some(frame) = self.open.pop() else { return };
        let start = self.tree.behind_anchor(self.tree.node(frame.node).start) as usize;
        let bytes = self.source.as_bytes();
        let end = match (bytes.get(start), frame.is_map) {
            (Some(b'{'), true) | (Some(b'['), false) => {
                let bracket = self.offset(mark);
                if matches!(bytes.get(bracket), Some(b'}' | b']')) && frame.end as usize <= bracket {
                    clip(bracket + 1)
                } else {
                    // Behind a comma after the last entry, the parser ends a map later. A pair in a list may begin with a
                    // map, and has no brackets of its own.
                    let closing = if frame.is_map { b'}' } else { b']' };
                    self.closing(frame.end, closing).unwrap_or(frame.end)
                }
            }
            _ => frame.end,
        };
        self.tree.close(frame.node, frame.is_map, self.items.drain(frame.first..), end);
        let size = self.expanded - frame.before;
        self.anchor(frame.anchor, frame.node, size);
        self.attach(frame.node, end);
    }
}

fn too_deep(spot: Spot) -> SyntaxError {
    let message = format!("nested more than {DEEPEST} levels deep");
    SyntaxError { spot, message, help: "records need 7 levels: check the brackets".to_owned() }
}

fn too_much(spot: Spot) -> SyntaxError {
    let message = "a pair of brackets has more than 1,000,000 values and signs up to here";
    let help = "write its first levels on lines of their own, without brackets, or split the file";
    SyntaxError { spot, message: message.to_owned(), help: help.to_owned() }
}

/// The error for invalid YAML. The column is at most the end of its line.
fn no_yaml(text: &str, spot: Spot, info: &str) -> SyntaxError {
    let text = text.replace("\r\n", "\n");
    let line = text.split(['\n', '\r']).nth(spot.line as usize - 1).unwrap_or("");
    let help = if line.contains('\t') {
        "use spaces instead of the tab on this line"
    } else {
        "correct the YAML here; the usual causes are indentation and quotes"
    };
    let last = Spot::new(spot.line as usize, line.chars().count());
    if !line.contains('\t')
        && let Some(error) = likely::of_syntax(&text, spot.min(last), info)
    {
        return error;
    }
    SyntaxError { spot: spot.min(last), message: format!("not valid YAML: {info}"), help: help.to_owned() }
}

/// A `%YAML` line that does not give a version, which the parser ignores.
fn odd_directive(text: &str) -> Option<Spot> {
    let heads = text.lines().take_while(|line| line.is_empty() || line.starts_with(['%', '#']));
    for (number, line) in heads.enumerate() {
        let Some(rest) = line.strip_prefix("%YAML") else { continue };
        let mut words = rest.split_whitespace();
        let version = words.next().and_then(|word| word.strip_prefix("1."));
        let is_version = version.is_some_and(|minor| !minor.is_empty() && minor.bytes().all(|b| b.is_ascii_digit()));
        if !is_version || words.next().is_some_and(|word| !word.starts_with('#')) {
            return Some(Spot::new(number + 1, 0));
        }
    }
    None
}

/// Reads a file into a tree with the range of every key and value.
///
/// # Errors
/// The first syntax error, or YAML that is not supported in record files.
pub fn tree(text: &str) -> Result<Tree<'_>, SyntaxError> {
    if let Some(spot) = odd_directive(text) {
        return Err(SyntaxError {
            spot,
            message: "not valid YAML: invalid directive".to_owned(),
            help: "remove the line that begins with `%`".to_owned(),
        });
    }
    // The parser's end of the file is on one more line.
    let end = || Spot::of_byte(text.as_bytes(), text.len());
    let spot_of = |mark: Marker| Spot::new(mark.line(), mark.col()).min(end());
    let ahead = Ahead::default();
    let mut parser = Parser::new(Bytes::new(text, &ahead));
    let mut documents = 0_u32;
    let mut builder = Builder::new(text);
    loop {
        let (event, span) = match parser.next_event() {
            None => break,
            Some(Ok(next)) => next,
            Some(Err(error)) => {
                let spot = spot_of(*error.marker());
                if ahead.is_over() {
                    return Err(too_much(spot));
                }
                if error.info().contains("recursion limit") {
                    return Err(too_deep(spot));
                }
                return Err(no_yaml(text, spot, error.info()));
            }
        };
        ahead.reset();
        let error = |message: &str, help: &str| SyntaxError {
            spot: spot_of(span.start),
            message: message.to_owned(),
            help: help.to_owned(),
        };
        let tag_error = || error("YAML tags (`!...`) are not supported", "remove the tag, or quote the text");
        match event {
            Event::StreamEnd => break,
            Event::DocumentStart(_) => {
                documents += 1;
                if documents > 1 {
                    return Err(error(
                        "a second document begins here",
                        "a file contains one document: remove the `---` line",
                    ));
                }
            }
            Event::Scalar(_, _, _, Some(_)) | Event::SequenceStart(_, Some(_)) | Event::MappingStart(_, Some(_)) => {
                return Err(tag_error());
            }
            Event::Scalar(text, style, anchor, None) => builder.scalar(text, style, anchor, span),
            Event::Alias(anchor) => {
                let Some(&(node, size)) = builder.anchors.get(&anchor) else {
                    return Err(error(
                        "an alias inside the value that it refers to",
                        "write the value instead of the alias",
                    ));
                };
                builder.expanded = builder.expanded.saturating_add(size);
                let end = clip(builder.offset(span.end));
                builder.attach(node, end);
            }
            Event::SequenceStart(anchor, None) => builder.start(false, anchor, span.start),
            Event::MappingStart(anchor, None) => builder.start(true, anchor, span.start),
            Event::SequenceEnd | Event::MappingEnd => builder.end(span.start),
            Event::Nothing | Event::StreamStart | Event::DocumentEnd => {}
        }
        if builder.open.len() > DEEPEST {
            return Err(too_deep(spot_of(span.start)));
        }
        if builder.expanded > MOST_NODES {
            return Err(error(
                "the file has more than 1,000,000 values with its aliases expanded",
                "split the file, or use fewer aliases",
            ));
        }
    }
    Ok(builder.tree)
}
