//! Setting a value: in place of the one that is there, or as a new key.

use super::find::{Found, Layout, Slot, alias, end_at, follow, in_flow, layout, line_end, style, value_range};
use super::value::{is_special, quoted};
use super::{EditError, Route, Splice, Value, find, insert};
use crate::read::tree::{Content, Tree};

pub(super) fn set(tree: &Tree<'_>, at: &Route, value: &Value) -> Result<Vec<Splice>, EditError> {
    let Some(found) = follow(tree, at) else { return Ok(insert::at_end(tree, &nested(at, value))) };
    let depth = found.slots.len();
    if let (true, Some(slot)) = (depth == at.len(), found.last()) {
        return replace(tree, &found, slot, at, value);
    }
    let Some((key, below)) = at[depth..].split_first() else { return Err(EditError::Missing(at.clone())) };
    let value = nested(below, value);
    match tree.content(found.node) {
        Content::Map(entries) if !entries.is_empty() => insert::key(tree, &found, key, &value, at),
        // An empty map gets its first key.
        Content::Map(_) | Content::Scalar { .. } if is_empty(tree, &found) => {
            let map = Value::Map(vec![(key.clone(), value)]);
            match found.last() {
                Some(slot) => replace(tree, &found, slot, at, &map),
                None if matches!(tree.content(found.node), Content::Map(_)) => {
                    Ok(vec![Splice::new(tree.range(found.node), map.inline(true))])
                }
                None => Ok(insert::at_end(tree, &map)),
            }
        }
        Content::List(_) => Err(EditError::Missing(at.clone())),
        Content::Map(_) | Content::Scalar { .. } => Err(EditError::NoMap(at[..depth].to_vec())),
    }
}

fn is_empty(tree: &Tree<'_>, found: &Found) -> bool {
    tree.is_null(found.node) || matches!(tree.content(found.node), Content::Map([]))
}

/// A value below keys.
fn nested(keys: &[String], value: &Value) -> Value {
    keys.iter().rev().fold(value.clone(), |value, key| Value::Map(vec![(key.clone(), value)]))
}

/// Puts a value in the place of another one.
fn replace(tree: &Tree<'_>, found: &Found, slot: Slot, at: &Route, value: &Value) -> Result<Vec<Splice>, EditError> {
    let source = tree.source();
    let flow = in_flow(tree, found);
    let by_hand = || EditError::ByHand(at.clone());
    if let Some(alias) = alias(tree, slot) {
        return Ok(vec![Splice::new(alias, value.inline(flow))]);
    }
    let is_map = matches!(tree.content(slot.collection), Content::Map(_));
    let range = value_range(tree, slot).ok_or_else(by_hand)?;
    let is_block = !tree.is_scalar(slot.node) && layout(tree, slot.node) == Layout::Block;
    if flow || !is_map {
        let end = if is_block { end_at(tree, slot) } else { range.end };
        let text = inline_like(tree, slot, &source[range.clone()], value, flow);
        if range.is_empty() {
            let colon = source[..range.start].ends_with(':');
            let before = if !is_map || colon { " " } else { ": " };
            return Ok(vec![Splice::insert(range.start, format!("{before}{text}"))]);
        }
        return Ok(vec![Splice::new(range.start..end, text)]);
    }
    // Behind a key in block style.
    let key = find::key_range(tree, slot).ok_or_else(by_hand)?;
    let behind = tree.behind_colon(u32::try_from(key.end).map_err(|_| by_hand())?) as usize;
    let indent = find::indent_of(source, key.start);
    let style = style(tree, key.start);
    let written = value.behind_key(&style, &indent, found.slots.len());
    let on_lines = written.starts_with(style.line_end);
    let starts_on_line = line_end(source, behind) >= range.start;
    if is_block && !starts_on_line {
        // The lines of the old value go; a comment behind the key stays.
        let (first, last) = (line_end(source, behind), line_end(source, end_at(tree, slot)));
        return Ok(if on_lines {
            vec![Splice::new(first..last, written)]
        } else {
            vec![Splice::insert(behind, written), Splice::new(first..last, "")]
        });
    }
    if range.is_empty() {
        let at = if on_lines { line_end(source, behind) } else { range.start };
        return Ok(vec![Splice::insert(at, written)]);
    }
    if on_lines {
        let blanks = source[..range.start].trim_end_matches([' ', '\t']).len();
        let last = line_end(source, range.end);
        return Ok(vec![Splice::new(blanks.max(behind)..range.end, ""), Splice::insert(last, written)]);
    }
    let old = &source[range.clone()];
    if let Some(text) = in_block(tree, slot, old, value) {
        return Ok(vec![Splice::new(range, text)]);
    }
    let text = match value {
        Value::Scalar { text, .. } if !text.contains('\n') => inline_like(tree, slot, old, value, false),
        _ => written.trim_start_matches(' ').to_owned(),
    };
    Ok(vec![Splice::new(range, text)])
}

/// A value in one line, with the quotes of the old one.
fn inline_like(tree: &Tree<'_>, slot: Slot, old: &str, value: &Value, in_flow: bool) -> String {
    if let Value::Scalar { text, plain } = value
        && tree.is_scalar(slot.node)
        && let Some(quote @ ('"' | '\'')) = old.chars().next()
        && (!plain || !is_special(text))
    {
        return quoted(text, Some(quote));
    }
    value.inline(in_flow)
}

/// The old block scalar with another text, if it ends without a line end and the text is one of one paragraph.
fn in_block(tree: &Tree<'_>, slot: Slot, old: &str, value: &Value) -> Option<String> {
    const WIDTH: usize = 100;
    let Value::Scalar { text, .. } = value else { return None };
    let (head, body) = old.split_at(old.find(['\n', '\r'])?);
    let sign = head.split(['#', ' ']).next()?;
    let is_folded = sign == ">-";
    if !tree.is_block_scalar(slot.node) || !(is_folded || sign == "|-") || is_special(text) {
        return None;
    }
    if text.contains(char::is_control) || text.trim() != text || text.contains("  ") {
        return None;
    }
    let first = body.trim_start_matches(['\n', '\r']);
    let indent = &first[..first.len() - first.trim_start_matches(' ').len()];
    let line_break = if body.starts_with("\r\n") { "\r\n" } else { &body[..1] };
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let is_full = |line: &String| !line.is_empty() && indent.len() + line.len() + 1 + word.len() > WIDTH;
        if is_folded && lines.last().is_some_and(is_full) {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    let lines: String = lines.iter().map(|line| format!("{line_break}{indent}{line}")).collect();
    Some(format!("{head}{lines}"))
}
