//! Removing keys, records and items of lists.

use super::find::{Layout, Slot, alias, cut, end_at, item_start, key_range, layout, line_start, next_line, whole};
use super::{EditError, Route, Splice};
use crate::read::tree::{Content, NodeId, Tree};

pub(super) fn remove(tree: &Tree<'_>, at: &Route) -> Result<Vec<Splice>, EditError> {
    let (found, slot) = whole(tree, at)?;
    let by_hand = || EditError::ByHand(at.clone());
    if found.slots[..found.slots.len() - 1].iter().any(|slot| alias(tree, *slot).is_some()) {
        return Err(by_hand());
    }
    let nodes: Vec<NodeId> = match tree.content(slot.collection) {
        Content::Map(entries) => entries.iter().map(|entry| entry[1]).collect(),
        Content::List(items) => items.to_vec(),
        Content::Scalar { .. } => return Err(by_hand()),
    };
    let other = |index: usize| nodes.get(index).map(|node| Slot { index, node: *node, ..slot });
    let start = start_of(tree, slot).ok_or_else(by_hand)?;
    let end = end_of(tree, slot);
    let next = other(slot.index + 1);
    let before = slot.index.checked_sub(1).and_then(other);
    match layout(tree, slot.collection) {
        Layout::Pair => Err(by_hand()),
        Layout::Flow => Ok(vec![in_brackets(tree, start..end, before, next, slot.collection)]),
        Layout::Block => {
            let source = tree.source();
            let Some(first_line) = first_line(tree, slot, start) else { return Err(by_hand()) };
            let lines = first_line..next_line(source, end);
            if nodes.len() > 1 {
                let before = cut(source, lines.start..start).trim();
                let own =
                    before.is_empty() || before == "-" && matches!(tree.content(slot.collection), Content::List(_));
                return match next {
                    _ if own => Ok(vec![at_file_end(source, lines)]),
                    // The first key of a map that begins behind a dash.
                    Some(next) => {
                        let next = start_of(tree, next).ok_or_else(by_hand)?;
                        Ok(vec![Splice::new(start..next, "")])
                    }
                    None => Err(by_hand()),
                };
            }
            // The last one leaves an empty collection.
            let empty = if matches!(tree.content(slot.collection), Content::Map(_)) { "{}" } else { "[]" };
            match found.slots.len().checked_sub(2).map(|above| found.slots[above]) {
                Some(parent) => {
                    let key = key_range(tree, parent).ok_or_else(by_hand)?;
                    let behind = tree.behind_colon(u32::try_from(key.end).map_err(|_| by_hand())?) as usize;
                    if lines.start <= behind {
                        return Err(by_hand());
                    }
                    Ok(vec![Splice::insert(behind, format!(" {empty}")), at_file_end(source, lines)])
                }
                None => Ok(vec![Splice::new(start..end, empty)]),
            }
        }
    }
}

/// Lines to remove; those at the end of a file without a line end take the line end before them.
fn at_file_end(source: &str, lines: std::ops::Range<usize>) -> Splice {
    let ends = cut(source, 0..lines.end).ends_with(['\n', '\r']);
    let start = if ends || lines.end < source.len() {
        lines.start
    } else {
        let before = cut(source, 0..lines.start);
        before.strip_suffix("\r\n").or_else(|| before.strip_suffix(['\n', '\r'])).unwrap_or(before).len()
    };
    Splice::new(start..lines.end, "")
}

/// The start of a key or an item.
fn start_of(tree: &Tree<'_>, slot: Slot) -> Option<usize> {
    match key_range(tree, slot) {
        Some(key) => Some(key.start),
        None => item_start(tree, slot),
    }
}

fn end_of(tree: &Tree<'_>, slot: Slot) -> usize {
    alias(tree, slot).map_or_else(|| end_at(tree, slot), |alias| alias.end)
}

/// The start of the line that a key or the dash of an item is in.
fn first_line(tree: &Tree<'_>, slot: Slot, start: usize) -> Option<usize> {
    let source = tree.source();
    if matches!(tree.content(slot.collection), Content::Map(_)) {
        return Some(line_start(source, start));
    }
    // What is behind a dash: a map or a list may begin on a line below it.
    let dash = cut(source, 0..start).trim_end_matches([' ', '\t']).len().checked_sub(1)?;
    (source.as_bytes()[dash] == b'-').then(|| line_start(source, dash))
}

/// Removes an entry of brackets with one comma.
fn in_brackets(
    tree: &Tree<'_>,
    own: std::ops::Range<usize>,
    before: Option<Slot>,
    next: Option<Slot>,
    collection: NodeId,
) -> Splice {
    let source = tree.source();
    if let Some(next) = next.and_then(|next| start_of(tree, next)) {
        // Comments between the comma and the next one stay.
        let between = cut(source, own.end..next);
        let comma = behind_comma(between);
        let rest = &between[comma..];
        let end = if rest.contains('#') { own.end + comma } else { next };
        return Splice::new(own.start..end, "");
    }
    let closing = tree.range(collection).end.saturating_sub(1);
    let with_comma = own.end + behind_comma(cut(source, own.end..closing));
    let Some(before) = before else { return Splice::new(own.start..with_comma, "") };
    let before = end_of(tree, before);
    // Comments between the one before and this one stay, with their line ends and the comma: they may be about the one before.
    match behind_comments(cut(source, before..own.start)) {
        0 => Splice::new(before..own.end, ""),
        kept => Splice::new(before + kept..with_comma, ""),
    }
}

/// The byte after the first comma that is in no comment; 0 without one.
fn behind_comma(between: &str) -> usize {
    let mut is_comment = false;
    let comma = between.bytes().position(|byte| {
        is_comment = byte == b'#' || (is_comment && !matches!(byte, b'\n' | b'\r'));
        byte == b',' && !is_comment
    });
    comma.map_or(0, |at| at + 1)
}

/// The byte after the last line with a comment and the indentation below it; 0 without a comment.
fn behind_comments(between: &str) -> usize {
    let Some(comment) = between.rfind('#') else { return 0 };
    let Some(end) = between[comment..].find(['\n', '\r']) else { return 0 };
    let rest = &between[comment + end..];
    between.len() - rest.trim_start().len()
}
