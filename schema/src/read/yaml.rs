//! The one file that knows the readers of YAML: `serde_yaml` for speed, `saphyr-parser` for places.
//!
//! A file that is right is read by the first alone. Only a file with something wrong in it, or with a
//! finding whose place must be shown, is read again into a [`Tree`] that knows where everything stands.

use foldhash::{HashMap, HashMapExt as _};
use saphyr_parser::{Event, Parser, ScalarStyle, StrInput};
use serde::de::DeserializeOwned;

use super::Spot;
use super::tree::{Content, Node, NodeId, Tree};

/// How deep collections may nest; records need 7.
const DEEPEST: usize = 64;
/// How many nodes a file may stand for once its aliases are written out; a long text weighs as many.
const MOST_NODES: u64 = 1_000_000;
/// The bytes of text that weigh as much as a node.
const NODE_BYTES: usize = 32;

/// What makes a file unreadable as YAML, with its place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SyntaxError {
    /// Where.
    pub spot: Spot,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// Reads a whole file at once; `None` when anything at all is wrong with it, or may be.
pub fn typed<T: DeserializeOwned>(text: &str) -> Option<T> {
    if !is_simple(text) {
        return None;
    }
    serde_yaml::from_str(text).ok()
}

/// Reads a file that ships with the tool, which nobody hostile wrote.
pub fn shipped<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    serde_yaml::from_str(text).map_err(|error| error.to_string())
}

/// Is there nothing in the text that `serde_yaml` would pass over in silence, read otherwise or more kindly
/// than [`tree`] does, or take long over? What is called simple here may still be wrong, to both.
///
/// Not simple are tags; anchors, whose aliases could write a text out a million times; directives; characters
/// that ended a line in YAML 1.1; tabs; keys behind a `?`; blocks with a number, a comment or nothing behind
/// their sign; a dash at the end of something in brackets; brackets and quotes that go on over a line, which
/// `serde_yaml` reads at any indentation; comments right behind them; brackets very deep or so many that they may be: it takes
/// time square in them, and one in quotes may hide another one from the count.
fn is_simple(text: &str) -> bool {
    const DEEPEST_ON_A_LINE: usize = 64;
    const MOST_STEPS: usize = 2_000_000_000;
    const ODD: [&str; 4] = ["\u{85}", "\u{2028}", "\u{2029}", "\u{feff}"];
    let opens = |before: u8| matches!(before, b' ' | b'\t' | b'\n' | b'\r' | b'[' | b'{' | b',' | b':' | b'(');
    let bytes = text.as_bytes();
    let mut opened = 0_usize;
    let (mut depth, mut doubles, mut singles, mut single_opens) = (0_usize, 0_usize, 0_usize, false);
    let marks = bytes.iter().enumerate().filter(|(_, byte)| IS_MARK[usize::from(**byte)]);
    for (i, &byte) in marks.chain([(bytes.len(), &b'\n')]) {
        let before = if i > 0 { bytes[i - 1] } else { b'\n' };
        match byte {
            // What ends in a dash within brackets, as in `{title: left -}`.
            b',' | b'[' | b']' | b'{' | b'}' if before == b'-' && depth > 0 => return false,
            b',' => {}
            b'[' | b'{' => {
                (depth, opened) = (depth + 1, opened + 1);
                if depth > DEEPEST_ON_A_LINE {
                    return false;
                }
            }
            b']' | b'}' if depth == 0 => return false,
            b']' | b'}' => depth -= 1,
            b'"' if before == b'\\' => return false,
            b'"' => doubles += 1,
            b'\'' => (singles, single_opens) = (singles + 1, single_opens || opens(before)),
            b'#' if matches!(before, b'[' | b']' | b'{' | b'}' | b',' | b'"' | b'\'') => return false,
            b'!' if opens(before) => return false,
            b'&' if opens(before) && bytes.get(i + 1).is_some_and(|b| !b.is_ascii_whitespace()) => return false,
            b'%' if matches!(before, b'\n' | b'\r') => return false,
            b'\t' => return false,
            b'?' if opens(before) || matches!(before, b'"' | b'\'') => return false,
            b'|' | b'>' if !is_plain_block(bytes, i) => return false,
            0xc2 | 0xe2 | 0xef if ODD.iter().any(|odd| bytes[i..].starts_with(odd.as_bytes())) => return false,
            b'\n' | b'\r' => {
                if depth > 0 || doubles % 2 == 1 || (single_opens && singles % 2 == 1) {
                    return false;
                }
                (doubles, singles, single_opens) = (0, 0, false);
            }
            _ => {}
        }
    }
    // A block that the end of the file cuts off is read with a line break at its end, or without.
    let cut_off = !text.ends_with('\n') && memchr::memchr2(b'|', b'>', bytes).is_some();
    !cut_off && opened.saturating_mul(bytes.len()) <= MOST_STEPS
}

/// Is the mark a part of a text, or the sign of a block as it is commonly written: behind a key and before a
/// line with something on it?
fn is_plain_block(bytes: &[u8], at: usize) -> bool {
    let before = bytes[..at].trim_ascii_end();
    let blanks = &bytes[before.len()..at];
    if blanks.iter().any(|b| matches!(b, b'\n' | b'\r')) {
        return false;
    }
    let Some(b':') = before.last() else {
        return before.last().is_some_and(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b')'));
    };
    let rest = &bytes[at + 1..];
    let rest = rest.strip_prefix(b"-").or_else(|| rest.strip_prefix(b"+")).unwrap_or(rest);
    let rest = rest.strip_prefix(b"\r").unwrap_or(rest);
    let first = rest.strip_prefix(b"\n").and_then(|next| next.iter().find(|b| **b != b' '));
    !blanks.is_empty() && first.is_some_and(|b| !matches!(b, b'\n' | b'\r'))
}

/// The bytes that [`is_simple`] must look at: few of a file.
const IS_MARK: [bool; 256] = {
    let marks = b",[]{}\"'#!&%?|>\t\n\r\xc2\xe2\xef";
    let (mut table, mut at) = ([false; 256], 0);
    while at < marks.len() {
        table[marks[at] as usize] = true;
        at += 1;
    }
    table
};

struct Frame {
    node: NodeId,
    anchor: usize,
    /// The key that waits for its value; none in a sequence and before a key.
    key: Option<NodeId>,
    is_map: bool,
}

fn weight(content: &Content) -> u64 {
    match content {
        Content::Scalar { text, .. } => 1 + (text.len() / NODE_BYTES) as u64,
        Content::List(_) | Content::Map(_) => 1,
    }
}

struct Builder {
    tree: Tree,
    open: Vec<Frame>,
    anchors: HashMap<usize, (NodeId, u64)>,
    root: Option<NodeId>,
    /// What the tree holds with its aliases written out.
    expanded: u64,
    started: Vec<u64>,
}

impl Builder {
    fn add(&mut self, content: Content, spot: Spot) -> NodeId {
        self.expanded += weight(&content);
        self.tree.push(Node { content, spot })
    }

    fn attach(&mut self, node: NodeId) {
        let Some(frame) = self.open.last_mut() else {
            self.root = Some(node);
            return;
        };
        if !frame.is_map {
            self.tree.append_item(frame.node, node);
        } else if let Some(key) = frame.key.take() {
            self.tree.append_entry(frame.node, key, node);
        } else {
            frame.key = Some(node);
        }
    }

    fn anchor(&mut self, anchor: usize, node: NodeId, size: u64) {
        if anchor != 0 {
            self.anchors.insert(anchor, (node, size));
        }
    }
}

fn too_deep(spot: Spot) -> SyntaxError {
    let message = format!("nested more than {DEEPEST} levels deep");
    SyntaxError { spot, message, help: "records need 7 levels: check the brackets".to_owned() }
}

/// What the parser cannot go on from. The column is held to its line: some characters of a directive are
/// counted twice.
fn no_yaml(text: &str, spot: Spot, info: &str) -> SyntaxError {
    let text = text.replace("\r\n", "\n");
    let line = text.split(['\n', '\r']).nth(spot.line as usize - 1).unwrap_or("");
    let help = if line.contains('\t') {
        "there is a tab on this line: write spaces in its place"
    } else {
        "mend the YAML at this place; indentation and quotes are the usual causes"
    };
    let last = Spot::new(spot.line as usize, line.chars().count());
    SyntaxError { spot: spot.min(last), message: format!("not valid YAML: {info}"), help: help.to_owned() }
}

/// A `%YAML` line that does not give a version, which the parser passes over.
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

/// Reads a file into a tree that keeps the place of every key and value.
///
/// # Errors
/// The first thing that makes the text no YAML, or YAML that record files do not use.
pub fn tree(text: &str) -> Result<Tree, SyntaxError> {
    if let Some(spot) = odd_directive(text) {
        return Err(SyntaxError {
            spot,
            message: "not valid YAML: a directive that is none".to_owned(),
            help: "remove the line that begins with `%`".to_owned(),
        });
    }
    // The parser tells of the end as if one more line stood there.
    let end = Spot::of_byte(text.as_bytes(), text.len());
    let mut parser = Parser::new(StrInput::new(text));
    let mut documents = 0_u32;
    let mut builder = Builder {
        tree: Tree::default(),
        open: Vec::new(),
        anchors: HashMap::new(),
        root: None,
        expanded: 0,
        started: Vec::new(),
    };
    loop {
        let (event, span) = match parser.next_event() {
            None => break,
            Some(Ok(next)) => next,
            Some(Err(error)) => {
                let mark = error.marker();
                let spot = Spot::new(mark.line(), mark.col()).min(end);
                if error.info().contains("recursion limit") {
                    return Err(too_deep(spot));
                }
                return Err(no_yaml(text, spot, error.info()));
            }
        };
        let spot = Spot::new(span.start.line(), span.start.col()).min(end);
        let error =
            |message: &str, help: &str| SyntaxError { spot, message: message.to_owned(), help: help.to_owned() };
        let tagged = |tag: bool| {
            if tag {
                Err(error("a YAML tag (`!...`) is not read", "remove the tag, or quote the text"))
            } else {
                Ok(())
            }
        };
        match event {
            Event::StreamEnd => break,
            Event::DocumentStart(_) => {
                documents += 1;
                if documents > 1 {
                    return Err(error(
                        "a second document begins here",
                        "keep one document in a file: remove the `---` line",
                    ));
                }
            }
            Event::Scalar(value, style, anchor, tag) => {
                tagged(tag.is_some())?;
                let plain = style == ScalarStyle::Plain;
                let content = Content::Scalar { text: value.into(), plain };
                let size = weight(&content);
                let node = builder.add(content, spot);
                builder.anchor(anchor, node, size);
                builder.attach(node);
            }
            Event::Alias(anchor) => {
                let Some(&(node, size)) = builder.anchors.get(&anchor) else {
                    return Err(error("an alias inside the value it stands for", "write the value out"));
                };
                builder.expanded = builder.expanded.saturating_add(size);
                builder.attach(node);
            }
            Event::SequenceStart(anchor, tag) => {
                tagged(tag.is_some())?;
                builder.started.push(builder.expanded);
                let node = builder.add(Content::List(Vec::new()), spot);
                builder.open.push(Frame { node, anchor, key: None, is_map: false });
            }
            Event::MappingStart(anchor, tag) => {
                tagged(tag.is_some())?;
                builder.started.push(builder.expanded);
                let node = builder.add(Content::Map(Vec::new()), spot);
                builder.open.push(Frame { node, anchor, key: None, is_map: true });
            }
            Event::SequenceEnd | Event::MappingEnd => {
                if let Some(frame) = builder.open.pop() {
                    let size = builder.expanded - builder.started.pop().unwrap_or(0);
                    builder.anchor(frame.anchor, frame.node, size);
                    builder.attach(frame.node);
                }
            }
            Event::Nothing | Event::StreamStart | Event::DocumentEnd => {}
        }
        if builder.open.len() > DEEPEST {
            return Err(too_deep(spot));
        }
        if builder.expanded > MOST_NODES {
            return Err(error(
                "the file holds more than 1,000,000 values once its aliases are written out",
                "split the file, or write fewer aliases",
            ));
        }
    }
    builder.tree.finish(builder.root);
    Ok(builder.tree)
}
