//! The one file that knows the readers of YAML: `serde_yaml` for speed, `saphyr-parser` for places.
//!
//! A file that is right is read by the first alone. Only a file with something wrong in it, or with a
//! finding whose place must be shown, is read again into a [`Tree`] that knows where everything stands.

use std::collections::HashMap;

use saphyr_parser::{Event, Parser, ScalarStyle, StrInput};
use serde::de::DeserializeOwned;

use super::Spot;
use super::tree::{Content, Node, NodeId, Tree};

/// How deep collections may nest; records need 7.
const DEEPEST: usize = 64;
/// How many nodes a file may stand for once its aliases are written out.
const MOST_NODES: u64 = 1_000_000;

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

/// Reads a whole file at once; `None` when anything at all is wrong with it.
///
/// Tags would be passed over in silence here, so a file that may hold one is left to [`tree`].
pub fn typed<T: DeserializeOwned>(text: &str) -> Option<T> {
    if may_hold_tag(text) || nests_deeply(text) {
        return None;
    }
    serde_yaml::from_str(text).ok()
}

/// A tag begins with `!` where a value may begin.
fn may_hold_tag(text: &str) -> bool {
    let bytes = text.as_bytes();
    let opens = |i: usize| i == 0 || matches!(bytes[i - 1], b' ' | b'\t' | b'\n' | b'\r' | b'[' | b'{' | b',' | b':');
    text.match_indices('!').any(|(i, _)| opens(i))
}

/// More open brackets than any record file has: `serde_yaml` takes time square in them.
fn nests_deeply(text: &str) -> bool {
    let mut depth = 0_i32;
    for byte in text.bytes() {
        match byte {
            b'[' | b'{' => depth += 1,
            b']' | b'}' => depth -= 1,
            b'\n' if depth < 0 => depth = 0,
            _ => {}
        }
        if depth > 4 * DEEPEST as i32 {
            return true;
        }
    }
    false
}

struct Frame {
    node: NodeId,
    anchor: usize,
    /// The key that waits for its value; none in a sequence and before a key.
    key: Option<NodeId>,
    is_map: bool,
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
        self.expanded += 1;
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

/// Reads a file into a tree that keeps the place of every key and value.
///
/// # Errors
/// The first thing that makes the text no YAML, or YAML that record files do not use.
pub fn tree(text: &str) -> Result<Tree, SyntaxError> {
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
                let spot = Spot::new(mark.line(), mark.col());
                return Err(SyntaxError {
                    spot,
                    message: format!("not valid YAML: {}", error.info()),
                    help: "mend the YAML at this place; indentation and quotes are the usual causes".to_owned(),
                });
            }
        };
        let spot = Spot::new(span.start.line(), span.start.col());
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
                let node = builder.add(Content::Scalar { text: value.into(), plain }, spot);
                builder.anchor(anchor, node, 1);
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
            return Err(error("nested more than 64 levels deep", "records need 7 levels: check the brackets"));
        }
        if builder.expanded > MOST_NODES {
            return Err(error("the file holds more than 1,000,000 values", "split the file, or write fewer aliases"));
        }
    }
    builder.tree.set_root(builder.root);
    Ok(builder.tree)
}
