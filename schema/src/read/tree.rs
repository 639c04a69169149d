//! A YAML file as a tree in which every key and value has its range in the source.
//!
//! Nodes are kept in one list, and the items of all collections in another one. A scalar whose text is written in the
//! source as it is read has no copy of it.

use std::ops::Range;
use std::sync::OnceLock;

use foldhash::{HashMap, HashMapExt as _};

use super::likely::{Bracket, open_brackets};
use super::position::{Lines, Position};
use super::{Aim, Spot};

/// The index of a node in its tree. An alias is the same node again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NodeId(u32);

/// The content of a node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content<'t> {
    /// A text; `plain` if it has no quotes, so that it may also be a number, a truth value or an empty value.
    Scalar {
        /// The text without quotes.
        text: &'t str,
        /// Whether it has no quotes.
        plain: bool,
    },
    /// A list.
    List(&'t [NodeId]),
    /// A map of keys and values; a key may appear twice.
    Map(&'t [[NodeId; 2]]),
}

/// A node as it is stored.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    /// The first byte. For a block scalar that is the start of its first line below the sign.
    pub(super) start: u32,
    /// The byte after it.
    pub(super) end: u32,
    pub(super) stored: Stored,
}

/// The content of a node, as it is stored.
#[derive(Clone, Copy, Debug)]
pub(super) enum Stored {
    /// A plain scalar with the text of its range.
    Plain,
    /// A quoted scalar with the text of its range without the quotes.
    Quoted,
    /// A scalar with its own copy of the text.
    Text { index: u32, plain: bool },
    /// A block scalar.
    Block { index: u32 },
    /// A list, with its items at a range of [`Tree::items`].
    List { first: u32, len: u32 },
    /// A map, with its keys and values in turn at a range of [`Tree::items`].
    Map { first: u32, len: u32 },
}

/// All nodes of a file.
#[derive(Debug, Default)]
pub struct Tree<'s> {
    source: &'s str,
    /// The bytes of the file before the source: those of a byte order mark.
    skipped: u32,
    nodes: Vec<Node>,
    items: Vec<NodeId>,
    texts: Vec<Box<str>>,
    root: Option<NodeId>,
    lines: Lines,
    /// The positions in large collections, calculated at their first search.
    sorted: OnceLock<HashMap<NodeId, Vec<u32>>>,
    /// The innermost open bracket after each bracket, calculated when one is first asked for.
    brackets: OnceLock<Vec<(usize, Option<Bracket>)>>,
}

/// A number that fits, because files are at most 8 MiB.
pub(super) fn clip(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

/// How much a text counts, in nodes: a long one counts as several.
pub(super) fn weight(text: &str) -> u64 {
    /// The bytes of text that count as one node.
    const NODE_BYTES: usize = 32;
    1 + (text.len() / NODE_BYTES) as u64
}

impl<'s> Tree<'s> {
    pub(super) fn new(source: &'s str) -> Self {
        // Records have at most one node per 15 bytes.
        let nodes = Vec::with_capacity(source.len() / 16);
        let items = Vec::with_capacity(source.len() / 16);
        Self { source, nodes, items, ..Self::default() }
    }

    /// Sets how many bytes of the file come before the source.
    pub(super) fn skip(mut self, bytes: usize) -> Self {
        self.skipped = clip(bytes);
        self
    }

    pub(super) fn push(&mut self, node: Node) -> NodeId {
        let id = NodeId(clip(self.nodes.len()));
        self.nodes.push(node);
        id
    }

    /// Adds the text of a scalar that differs from its source.
    pub(super) fn push_text(&mut self, text: Box<str>) -> u32 {
        self.texts.push(text);
        clip(self.texts.len() - 1)
    }

    /// Ends a collection with its items, for a map keys and values in turn.
    pub(super) fn close(&mut self, id: NodeId, is_map: bool, items: impl Iterator<Item = NodeId>, end: u32) {
        let first = self.items.len();
        self.items.extend(items);
        let (len, first) = (clip(self.items.len() - first), clip(first));
        let node = &mut self.nodes[id.0 as usize];
        node.end = node.start.max(end);
        node.stored = if is_map { Stored::Map { first, len } } else { Stored::List { first, len } };
    }

    pub(super) fn set_root(&mut self, root: Option<NodeId>) {
        self.root = root;
    }

    pub(super) fn node(&self, id: NodeId) -> Node {
        self.nodes[id.0 as usize]
    }

    /// The node of the document; `None` in an empty file.
    pub fn root(&self) -> Option<NodeId> {
        self.root
    }

    /// The source before and after a node.
    pub(super) fn around(&self, id: NodeId) -> (&str, &str) {
        let node = self.node(id);
        (self.slice(0, node.start), self.slice(node.end, clip(self.source.len())))
    }

    /// The innermost bracket that is open before a byte.
    pub(super) fn open_bracket(&self, byte: usize) -> Option<Bracket> {
        let all = self.brackets.get_or_init(|| open_brackets(self.source));
        all[all.partition_point(|(end, _)| *end <= byte).checked_sub(1)?].1
    }

    fn slice(&self, start: u32, end: u32) -> &str {
        self.source.get(start as usize..end as usize).unwrap_or("")
    }

    fn own_text(&self, index: u32) -> &str {
        self.texts.get(index as usize).map_or("", |text| text)
    }

    fn children(&self, first: u32, len: u32) -> &[NodeId] {
        self.items.get(first as usize..first as usize + len as usize).unwrap_or(&[])
    }

    /// The content of a node.
    pub fn content(&self, id: NodeId) -> Content<'_> {
        let node = self.node(id);
        match node.stored {
            Stored::Plain => Content::Scalar { text: self.slice(node.start, node.end), plain: true },
            Stored::Quoted => Content::Scalar { text: self.slice(node.start + 1, node.end - 1), plain: false },
            Stored::Text { index, plain } => Content::Scalar { text: self.own_text(index), plain },
            Stored::Block { index } => Content::Scalar { text: self.own_text(index), plain: false },
            Stored::List { first, len } => Content::List(self.children(first, len)),
            Stored::Map { first, len } => Content::Map(self.children(first, len).as_chunks().0),
        }
    }

    /// Whether a node is a scalar.
    pub fn is_scalar(&self, id: NodeId) -> bool {
        !matches!(self.node(id).stored, Stored::List { .. } | Stored::Map { .. })
    }

    /// The position of a byte of the source.
    fn position(&self, offset: u32) -> Position {
        let Spot { line, column } = self.lines.spot(self.source, offset as usize);
        Position { line, column, offset: offset + self.skipped }
    }

    /// The position of the start of a node.
    pub fn spot(&self, id: NodeId) -> Spot {
        self.lines.spot(self.source, self.node(id).start as usize)
    }

    /// The text of a scalar; `None` for a list or map.
    pub fn text(&self, id: NodeId) -> Option<&str> {
        match self.content(id) {
            Content::Scalar { text, .. } => Some(text),
            Content::List(_) | Content::Map(_) => None,
        }
    }

    /// Returns whether it is an empty value: an empty plain scalar, `~` or `null`.
    pub fn is_null(&self, id: NodeId) -> bool {
        match self.content(id) {
            Content::Scalar { text, plain: true } => matches!(text, "" | "~" | "null" | "Null" | "NULL"),
            _ => false,
        }
    }

    /// The keys and values of a map; empty for anything else.
    pub fn entries(&self, id: NodeId) -> &[[NodeId; 2]] {
        match self.content(id) {
            Content::Map(entries) => entries,
            Content::Scalar { .. } | Content::List(_) => &[],
        }
    }

    /// The number of nodes at and below a node, with aliases expanded.
    pub(super) fn size(&self, id: NodeId) -> usize {
        match self.content(id) {
            Content::Scalar { .. } => 1,
            Content::List(items) => 1 + items.iter().map(|item| self.size(*item)).sum::<usize>(),
            Content::Map(entries) => 1 + entries.as_flattened().iter().map(|node| self.size(*node)).sum::<usize>(),
        }
    }

    /// The values at and below a node, with aliases expanded; a long text counts as several.
    pub(super) fn values(&self, id: NodeId) -> u64 {
        match self.content(id) {
            Content::Scalar { text, .. } => weight(text),
            Content::List(items) => 1 + items.iter().map(|item| self.values(*item)).sum::<u64>(),
            Content::Map(entries) => 1 + entries.as_flattened().iter().map(|node| self.values(*node)).sum::<u64>(),
        }
    }

    /// The text of a list's item or a map's key.
    fn text_at(&self, collection: NodeId, index: usize) -> Option<&str> {
        match self.content(collection) {
            Content::Map(entries) => self.text(entries.get(index)?[0]),
            Content::List(items) => self.text(*items.get(index)?),
            Content::Scalar { .. } => None,
        }
    }

    /// For each large collection, the indices of its texts, sorted by text.
    fn sort_large_collections(&self) -> HashMap<NodeId, Vec<u32>> {
        let mut all = HashMap::new();
        for number in 0..self.nodes.len() {
            let id = NodeId(clip(number));
            let len = self.len(id);
            if len > SMALL {
                let mut order: Vec<u32> = (0..clip(len)).collect();
                order.sort_by_key(|index| self.text_at(id, *index as usize));
                all.insert(id, order);
            }
        }
        all
    }

    /// The number of items or entries of a collection.
    fn len(&self, id: NodeId) -> usize {
        match self.node(id).stored {
            Stored::List { len, .. } => len as usize,
            Stored::Map { len, .. } => len as usize / 2,
            Stored::Plain | Stored::Quoted | Stored::Text { .. } | Stored::Block { .. } => 0,
        }
    }

    /// The index of the first item or key with a text.
    pub(crate) fn index_of(&self, collection: NodeId, text: &str) -> Option<usize> {
        let len = self.len(collection);
        if len <= SMALL {
            return (0..len).find(|index| self.text_at(collection, *index) == Some(text));
        }
        let order = self.sorted.get_or_init(|| self.sort_large_collections()).get(&collection)?;
        let first = order.partition_point(|index| self.text_at(collection, *index as usize) < Some(text));
        let index = *order.get(first)? as usize;
        (self.text_at(collection, index) == Some(text)).then_some(index)
    }

    /// The key and value nodes of a key in a map.
    pub fn entry(&self, map: NodeId, key: &str) -> Option<[NodeId; 2]> {
        self.entries(map).get(self.index_of(map, key)?).copied()
    }

    /// Follows a route of keys from the root as far as possible: the position of the value at its end (or of its key,
    /// depending on `aim`), or of the last key that was found.
    ///
    /// A step in a list is the text of the item.
    pub fn locate<'a>(&self, route: impl IntoIterator<Item = &'a str>, aim: Aim) -> Spot {
        let Some(mut node) = self.root else { return Spot::START };
        let mut key = node;
        for step in route {
            let Some([next_key, next]) = self.step(node, step) else { return self.spot(key) };
            (key, node) = (next_key, next);
        }
        // An empty value has no position of its own, and an alias is shown where it is used, not at its anchor.
        let is_value = aim == Aim::Value && !self.is_null(node) && self.node(node).start > self.node(key).start;
        self.spot(if is_value { node } else { key })
    }

    /// The key and value of one step of a route; in a list the item is both.
    fn step(&self, node: NodeId, step: &str) -> Option<[NodeId; 2]> {
        let index = self.index_of(node, step)?;
        match self.content(node) {
            Content::Map(entries) => entries.get(index).copied(),
            Content::List(items) => items.get(index).map(|item| [*item, *item]),
            Content::Scalar { .. } => None,
        }
    }

    /// The range in the file of the key or the value at the end of a route; `None` if there is none.
    ///
    /// A range includes quotes, brackets and the sign of a block scalar, but no anchor, and ends before comments and line
    /// breaks. The range of an empty value is empty, after the colon of its key. An alias has the range of its key, because
    /// the value itself is elsewhere. The route and its steps are as in [`Tree::locate`].
    pub fn range_of<'a>(&self, route: impl IntoIterator<Item = &'a str>, aim: Aim) -> Option<Range<Position>> {
        let mut node = self.root?;
        let mut last = None;
        for step in route {
            let index = self.index_of(node, step)?;
            last = Some((node, index));
            node = match self.content(node) {
                Content::Map(entries) => entries.get(index)?[1],
                Content::List(items) => *items.get(index)?,
                Content::Scalar { .. } => return None,
            };
        }
        let Range { start, end } = match last {
            Some((collection, index)) => self.range_at(collection, index, aim)?,
            None => self.range_after(0, None, node, aim),
        };
        Some(self.position(start)..self.position(end))
    }

    /// The range in the source of the key or the value at an index of a collection, like [`Tree::range_of`].
    pub(crate) fn range_at(&self, collection: NodeId, index: usize, aim: Aim) -> Option<Range<u32>> {
        match self.content(collection) {
            Content::Map(entries) => {
                let [key, value] = *entries.get(index)?;
                Some(self.range_after(self.node(key).end, Some(key), value, aim))
            }
            Content::List(items) => {
                let item = *items.get(index)?;
                // The nodes of aliases are elsewhere.
                let start = self.node(item).start;
                let ends = items.iter().take(index).map(|item| self.node(*item).end);
                let last = ends.filter(|end| *end <= start).max();
                // A list that is not indented begins after its first dash.
                let first = self.node(collection).start;
                let has_dash = first < start && self.source.as_bytes().get(first as usize) == Some(&b'-');
                Some(self.range_after(last.unwrap_or(first + u32::from(has_dash)), None, item, aim))
            }
            Content::Scalar { .. } => None,
        }
    }

    /// The range of a key or its value, or of an item, given the byte after what comes before it.
    fn range_after(&self, before: u32, key: Option<NodeId>, node: NodeId, aim: Aim) -> Range<u32> {
        let Node { start, end, stored } = self.node(node);
        match key.map(|key| self.node(key)) {
            Some(key) if aim == Aim::Key || start < key.start => key.start..key.end,
            Some(key) if start == end && self.is_null(node) => {
                let behind = self.behind_colon(key.end);
                behind..behind
            }
            _ => match stored {
                Stored::Block { .. } => {
                    // One with an anchor begins at the anchor.
                    let sign =
                        self.sign(b"|>", before, start).or_else(|| self.sign(b"|>", start, end)).unwrap_or(start);
                    sign..sign + clip(self.slice(sign, end).trim_ascii_end().len())
                }
                // One that is not indented begins after its first dash.
                Stored::List { .. } if before > 0 && !self.has_bracket(node) => {
                    self.sign(b"-", before, start).unwrap_or(self.without_anchor(node))..end
                }
                _ => self.without_anchor(node)..end,
            },
        }
    }

    /// Whether a list is in brackets: one on lines begins with its first item or with the dash before it.
    fn has_bracket(&self, list: NodeId) -> bool {
        let start = self.behind_anchor(self.node(list).start);
        let first = match self.content(list) {
            Content::List(items) => items.first().map(|item| self.behind_anchor(self.node(*item).start)),
            Content::Map(_) | Content::Scalar { .. } => None,
        };
        self.source.as_bytes().get(start as usize) == Some(&b'[') && first != Some(start)
    }

    /// The range of a node in the source, without its anchor.
    pub(crate) fn range(&self, id: NodeId) -> Range<usize> {
        self.without_anchor(id) as usize..self.node(id).end as usize
    }

    /// The start of a node after its anchor; its end, if the anchor belongs to an empty key that it begins with.
    fn without_anchor(&self, id: NodeId) -> u32 {
        let Node { start, end, .. } = self.node(id);
        self.behind_anchor(start).min(end)
    }

    /// The first byte of a node in the source: that of its anchor, if it has one.
    pub(crate) fn start(&self, id: NodeId) -> usize {
        self.node(id).start as usize
    }

    /// Whether a node is a block scalar.
    pub(crate) fn is_block_scalar(&self, id: NodeId) -> bool {
        matches!(self.node(id).stored, Stored::Block { .. })
    }

    /// The source.
    pub(crate) fn source(&self) -> &'s str {
        self.source
    }

    /// The byte after the colon of a key that ends at a byte, if the colon is on the same line.
    pub(crate) fn behind_colon(&self, end: u32) -> u32 {
        let rest = self.source.as_bytes().get(end as usize..).unwrap_or(&[]);
        let blanks = rest.iter().take_while(|byte| matches!(byte, b' ' | b'\t')).count();
        if rest.get(blanks) == Some(&b':') { end + clip(blanks) + 1 } else { end }
    }

    /// The first of some signs in a range, after blanks, colons, dashes, comments and anchors.
    fn sign(&self, signs: &[u8], from: u32, to: u32) -> Option<u32> {
        let bytes = self.source.as_bytes().get(..to as usize)?;
        let mut at = from as usize;
        while let Some(byte) = bytes.get(at) {
            let rest = &bytes[at..];
            at += match byte {
                _ if signs.contains(byte) => return Some(clip(at)),
                b'#' => memchr::memchr2(b'\n', b'\r', rest)?,
                b'&' => rest.iter().position(u8::is_ascii_whitespace)?,
                _ => 1,
            };
        }
        None
    }

    /// The start of a node after its anchor, if it has one.
    pub(super) fn behind_anchor(&self, start: u32) -> u32 {
        let bytes = self.source.as_bytes();
        let mut at = start as usize;
        if bytes.get(at) != Some(&b'&') {
            return start;
        }
        while let Some(rest) = bytes.get(at..) {
            at += match rest.first() {
                Some(b'&') => rest.iter().position(u8::is_ascii_whitespace).unwrap_or(rest.len()),
                Some(b'#') => memchr::memchr2(b'\n', b'\r', rest).unwrap_or(rest.len()),
                Some(byte) if byte.is_ascii_whitespace() => 1,
                _ => break,
            };
        }
        clip(at)
    }

    /// The text of the scalar at the end of a route of keys.
    pub fn text_of_route<'a>(&self, route: impl IntoIterator<Item = &'a str>) -> Option<&str> {
        let mut node = self.root?;
        for step in route {
            node = self.entry(node, step)?[1];
        }
        self.text(node)
    }
}

/// Up to this many items a scan is as fast as a search.
const SMALL: usize = 32;
