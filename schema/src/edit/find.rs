//! Finding a route in the tree, and the lines around a node.

use std::ops::Range;

use super::value::Style;
use super::{EditError, Route};
use crate::read::Aim;
use crate::read::tree::{Content, NodeId, Tree};

/// The position of a value: the collection it is in, and its index there.
#[derive(Clone, Copy, Debug)]
pub(super) struct Slot {
    pub(super) collection: NodeId,
    pub(super) index: usize,
    pub(super) node: NodeId,
}

/// How far a route leads.
#[derive(Clone, Debug)]
pub(super) struct Found {
    /// The steps that exist.
    pub(super) slots: Vec<Slot>,
    /// The last node.
    pub(super) node: NodeId,
}

impl Found {
    /// The last step.
    pub(super) fn last(&self) -> Option<Slot> {
        self.slots.last().copied()
    }
}

/// The style of a collection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Layout {
    /// On lines.
    Block,
    /// In brackets.
    Flow,
    /// A pair in a list in brackets: `[a: b]`.
    Pair,
}

/// The index of a step in a collection: the text of a key or an item, or the number of an item from 1.
pub(super) fn index_of(tree: &Tree<'_>, collection: NodeId, step: &str) -> Option<usize> {
    let by_number = |len: usize| step.parse::<usize>().ok().filter(|at| (1..=len).contains(at)).map(|at| at - 1);
    match tree.content(collection) {
        Content::Map(_) => tree.index_of(collection, step),
        Content::List(items) => tree.index_of(collection, step).or_else(|| by_number(items.len())),
        Content::Scalar { .. } => None,
    }
}

/// Follows a route as far as it leads; `None` in an empty file.
pub(super) fn follow(tree: &Tree<'_>, at: &[String]) -> Option<Found> {
    let mut node = tree.root()?;
    let mut slots = Vec::new();
    for step in at {
        let Some(index) = index_of(tree, node, step) else { break };
        let collection = node;
        node = match tree.content(collection) {
            Content::Map(entries) => entries.get(index)?[1],
            Content::List(items) => *items.get(index)?,
            Content::Scalar { .. } => return None,
        };
        slots.push(Slot { collection, index, node });
    }
    Some(Found { slots, node })
}

/// Follows a route to its end.
pub(super) fn whole(tree: &Tree<'_>, at: &Route) -> Result<(Found, Slot), EditError> {
    let found = follow(tree, at).filter(|found| found.slots.len() == at.len());
    let found = found.ok_or_else(|| EditError::Missing(at.clone()))?;
    let slot = found.last().ok_or_else(|| EditError::Missing(at.clone()))?;
    Ok((found, slot))
}

/// The layout of the collections on the way, the last one included: flow if any is.
pub(super) fn in_flow(tree: &Tree<'_>, found: &Found) -> bool {
    found.slots.iter().any(|slot| layout(tree, slot.collection) != Layout::Block)
}

pub(super) fn layout(tree: &Tree<'_>, collection: NodeId) -> Layout {
    let range = tree.range(collection);
    let source = tree.source().as_bytes();
    match (source.get(range.start), range.end.checked_sub(1).and_then(|last| source.get(last))) {
        (Some(b'{'), Some(b'}')) | (Some(b'['), Some(b']')) => Layout::Flow,
        _ if range.start > 0 && is_pair(tree, &range) => Layout::Pair,
        _ => Layout::Block,
    }
}

/// Whether a map without brackets is an item of a list in brackets.
fn is_pair(tree: &Tree<'_>, range: &Range<usize>) -> bool {
    let before = tree.source()[..range.start].trim_end_matches([' ', '\t', '\n', '\r']);
    before.ends_with(['[', ',']) && {
        let rest = tree.source().get(range.end..).unwrap_or("").trim_start();
        rest.starts_with([',', ']', '#'])
    }
}

/// Whether the value in a slot is an alias, whose node is elsewhere; if so, the range of the alias.
pub(super) fn alias(tree: &Tree<'_>, slot: Slot) -> Option<Range<usize>> {
    let from = match tree.content(slot.collection) {
        Content::Map(entries) => {
            let key = tree.range(entries.get(slot.index)?[0]);
            if tree.range(slot.node).start >= key.start {
                return None;
            }
            tree.behind_colon(u32::try_from(key.end).ok()?) as usize
        }
        Content::List(items) => {
            let start = tree.range(slot.collection).start;
            if tree.range(slot.node).start >= start {
                let ends = (0..slot.index).map(|index| end_at(tree, Slot { index, node: items[index], ..slot }));
                if ends.max().unwrap_or(start) <= tree.range(slot.node).start {
                    return None;
                }
            }
            match slot.index.checked_sub(1) {
                Some(index) => end_at(tree, Slot { index, node: items[index], ..slot }),
                None => start,
            }
        }
        Content::Scalar { .. } => return None,
    };
    let bytes = tree.source().as_bytes();
    let mut at = from;
    loop {
        at += match bytes.get(at)? {
            b'*' => break,
            b'#' => memchr::memchr2(b'\n', b'\r', &bytes[at..])?,
            b' ' | b'\t' | b'\n' | b'\r' | b'-' | b',' | b'[' => 1,
            _ => return None,
        };
    }
    let ends = |b: &u8| b.is_ascii_whitespace() || matches!(b, b',' | b'[' | b']' | b'{' | b'}');
    let length = bytes[at..].iter().position(ends).unwrap_or(bytes.len() - at);
    Some(at..at + length)
}

/// The byte after the content of the value in a slot, without what follows on its line.
pub(super) fn end_at(tree: &Tree<'_>, slot: Slot) -> usize {
    if let Content::Map(_) = tree.content(slot.collection)
        && let Some(alias) = alias(tree, slot)
    {
        return alias.end;
    }
    match tree.content(slot.node) {
        Content::List(items) if !items.is_empty() && layout(tree, slot.node) == Layout::Block => {
            let index = items.len() - 1;
            end_at(tree, Slot { collection: slot.node, index, node: items[index] })
        }
        Content::Map(entries) if !entries.is_empty() && layout(tree, slot.node) == Layout::Block => {
            let index = entries.len() - 1;
            end_at(tree, Slot { collection: slot.node, index, node: entries[index][1] })
        }
        _ => {
            let range = value_range(tree, slot).unwrap_or_else(|| tree.range(slot.node));
            if tree.is_block_scalar(slot.node) { block_end(tree.source(), &range) } else { range.end }
        }
    }
}

/// The end of a block scalar: with the blank lines after it if it keeps them.
fn block_end(source: &str, range: &Range<usize>) -> usize {
    let head = source[range.clone()].lines().next().unwrap_or("");
    let head = head.split('#').next().unwrap_or("");
    if !head.contains('+') {
        return range.end;
    }
    let rest = &source[range.end..];
    let blank = rest.len() - rest.trim_start_matches([' ', '\n', '\r']).len();
    // Without the indentation of what follows.
    let kept = rest[..blank].rfind(['\n', '\r']).unwrap_or(0);
    let kept =
        if kept > 0 && rest.as_bytes()[kept - 1] == b'\r' && rest.as_bytes()[kept] == b'\n' { kept - 1 } else { kept };
    range.end + kept
}

/// The range of the value in a slot; empty after the colon for an empty one.
pub(super) fn value_range(tree: &Tree<'_>, slot: Slot) -> Option<Range<usize>> {
    let range = tree.range_at(slot.collection, slot.index, Aim::Value)?;
    Some(range.start as usize..range.end as usize)
}

/// The range of the key in a slot of a map.
pub(super) fn key_range(tree: &Tree<'_>, slot: Slot) -> Option<Range<usize>> {
    match tree.content(slot.collection) {
        Content::Map(entries) => Some(tree.range(entries.get(slot.index)?[0])),
        _ => None,
    }
}

/// The start of the line of a byte.
pub(super) fn line_start(source: &str, at: usize) -> usize {
    source[..at].rfind(['\n', '\r']).map_or(0, |end| end + 1)
}

/// The end of the line of a byte, before its line break.
pub(super) fn line_end(source: &str, at: usize) -> usize {
    source[at..].find(['\n', '\r']).map_or(source.len(), |length| at + length)
}

/// The start of the next line.
pub(super) fn next_line(source: &str, at: usize) -> usize {
    let end = line_end(source, at);
    let rest = &source[end..];
    end + if rest.starts_with("\r\n") { 2 } else { usize::from(!rest.is_empty()) }
}

/// The column of a byte as blanks, for lines below it.
pub(super) fn indent_of(source: &str, at: usize) -> String {
    let before = source[line_start(source, at)..at].trim_start_matches('\u{feff}');
    before.chars().map(|_| ' ').collect()
}

/// The line break at a byte's line, otherwise that of the first line.
pub(super) fn line_break(source: &str, at: usize) -> &'static str {
    let own = &source[line_end(source, at)..];
    let first = &source[line_end(source, 0)..];
    let of = |rest: &str| match rest.as_bytes() {
        [b'\r', b'\n', ..] => Some("\r\n"),
        [b'\n', ..] => Some("\n"),
        [b'\r', ..] => Some("\r"),
        _ => None,
    };
    of(own).or_else(|| of(first)).unwrap_or("\n")
}

/// How lines are written near a byte: the line end, and the indentation of a level, as between the first key of the file
/// and the first one below it.
pub(super) fn style(tree: &Tree<'_>, at: usize) -> Style<'static> {
    let source = tree.source();
    let step = tree.root().and_then(|root| {
        let own = tree.entries(root).first()?;
        let outer = indent_of(source, tree.range(own[0]).start).len();
        tree.entries(root).iter().find_map(|[_, value]| {
            let first = tree.entries(*value).first()?;
            let own = tree.range(first[0]).start;
            (layout(tree, *value) == Layout::Block).then(|| indent_of(source, own).len().checked_sub(outer))?
        })
    });
    let step = step.filter(|step| (1..=8).contains(step)).unwrap_or(2);
    Style { line_end: line_break(source, at), step: " ".repeat(step) }
}
