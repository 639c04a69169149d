//! New keys, records and items of lists.

use super::find::{Found, Layout, Slot, end_at, follow, in_flow, indent_of, layout, line_end, line_start, style};
use super::value::{Style, entry, scalar};
use super::{EditError, Route, Splice, Value, replace};
use crate::read::tree::{Content, NodeId, Tree};

/// Adds a key after the last one of a map that has some.
pub(super) fn key(
    tree: &Tree<'_>,
    found: &Found,
    key: &str,
    value: &Value,
    at: &Route,
) -> Result<Vec<Splice>, EditError> {
    let map = found.node;
    let entries = tree.entries(map);
    let by_hand = || EditError::ByHand(at.clone());
    let Some(index) = entries.len().checked_sub(1) else { return Err(by_hand()) };
    if is_shared(tree, found) {
        return Err(by_hand());
    }
    let last = Slot { collection: map, index, node: entries[index][1] };
    let end = end_at(tree, last);
    match layout(tree, map) {
        Layout::Pair => Err(by_hand()),
        Layout::Flow => Ok(vec![in_brackets(tree, map, end, &entry(key, value))]),
        Layout::Block if in_flow(tree, found) => Err(by_hand()),
        Layout::Block => {
            let first = tree.range(entries[0][0]).start;
            let indent = indent_of(tree.source(), first);
            let style = style(tree, first);
            let depth = found.slots.len() + 1;
            let mut text = String::new();
            let is_second_kind = depth == 1 && entries.len() == 1 && matches!(value, Value::Map(_));
            if is_second_kind || depth <= 2 && has_blank_lines(tree, entries) {
                text.push_str(style.line_end);
            }
            text.push_str(style.line_end);
            text.push_str(&indent);
            text.push_str(&new_entry(tree, last, key, value, &style, &indent, depth));
            Ok(vec![Splice::insert(line_end(tree.source(), end), text)])
        }
    }
}

/// A key and its value on lines; a record in brackets on its line if the one before it is.
fn new_entry(
    tree: &Tree<'_>,
    before: Slot,
    key: &str,
    value: &Value,
    style: &Style<'_>,
    indent: &str,
    depth: usize,
) -> String {
    const LINE: usize = 120;
    let key = scalar(key, false, false);
    if depth == 2
        && matches!(value, Value::Map(_))
        && matches!(tree.content(before.node), Content::Map(_))
        && layout(tree, before.node) == Layout::Flow
    {
        let line = format!("{key}: {}", value.inline(true));
        if indent.len() + line.chars().count() <= LINE {
            return line;
        }
    }
    format!("{key}:{}", value.behind_key(style, indent, depth))
}

/// Whether the values on the way, or the last one, are elsewhere: an alias.
fn is_shared(tree: &Tree<'_>, found: &Found) -> bool {
    found.slots.iter().any(|slot| super::find::alias(tree, *slot).is_some())
}

/// Whether a blank line is between the last two entries.
fn has_blank_lines(tree: &Tree<'_>, entries: &[[NodeId; 2]]) -> bool {
    let source = tree.source();
    let Some([_, last]) = entries.last_chunk::<2>() else { return false };
    let above = &source[..line_start(source, tree.range(last[0]).start)];
    // Comments may be between the blank line and the key.
    let is_comment = |line: &&str| line.trim_start().starts_with('#');
    above.lines().rev().find(|line| !is_comment(line)).is_some_and(|line| line.trim().is_empty())
}

/// Adds an entry or item to brackets that have some, after the last one, which ends at `end`.
fn in_brackets(tree: &Tree<'_>, collection: NodeId, end: usize, text: &str) -> Splice {
    let source = tree.source();
    let closing = tree.range(collection).end.saturating_sub(1);
    // A comma may follow the last one.
    let mut at = end;
    let bytes = source.as_bytes();
    while at < closing {
        at += match bytes[at] {
            b',' => return Splice::insert(at + 1, format!(" {text}")),
            b'#' => memchr::memchr2(b'\n', b'\r', &bytes[at..]).unwrap_or(closing - at),
            _ => 1,
        };
    }
    Splice::insert(end, format!(", {text}"))
}

/// Adds keys at the end of a file that has none.
pub(super) fn at_end(tree: &Tree<'_>, map: &Value) -> Vec<Splice> {
    let source = tree.source();
    let Value::Map(entries) = map else { return Vec::new() };
    let style = style(tree, 0);
    let mut text = String::new();
    if !source.is_empty() && !source.ends_with(['\n', '\r']) {
        text.push_str(style.line_end);
    }
    for (key, value) in entries {
        text.push_str(&scalar(key, false, false));
        text.push(':');
        text.push_str(&value.behind_key(&style, "", 1));
        text.push_str(style.line_end);
    }
    vec![Splice::insert(source.len(), text)]
}

/// Adds an item at the end of a list.
pub(super) fn append(tree: &Tree<'_>, at: &Route, value: &Value) -> Result<Vec<Splice>, EditError> {
    let new = || replace::set(tree, at, &Value::List(vec![value.clone()]));
    let Some(found) = follow(tree, at).filter(|found| found.slots.len() == at.len()) else { return new() };
    let by_hand = || EditError::ByHand(at.clone());
    let items = match tree.content(found.node) {
        Content::List([]) => return new(),
        Content::List(items) => items,
        _ if tree.is_null(found.node) => return new(),
        _ => return Err(EditError::NoList(at.clone())),
    };
    if is_shared(tree, &found) {
        return Err(by_hand());
    }
    let index = items.len() - 1;
    let last = Slot { collection: found.node, index, node: items[index] };
    let end = super::find::alias(tree, last).map_or_else(|| end_at(tree, last), |alias| alias.end);
    match layout(tree, found.node) {
        Layout::Pair => Err(by_hand()),
        Layout::Flow => Ok(vec![in_brackets(tree, found.node, end, &value.inline(true))]),
        Layout::Block => {
            let source = tree.source();
            let first = tree.range(items[0]).start;
            let dash = source[..first].trim_end_matches([' ', '\t']).len();
            let dash = dash.checked_sub(1).filter(|dash| source.as_bytes()[*dash] == b'-').ok_or_else(by_hand)?;
            let style = style(tree, dash);
            let text = format!("{}{}- {}", style.line_end, indent_of(source, dash), value.inline(false));
            Ok(vec![Splice::insert(line_end(source, end), text)])
        }
    }
}
