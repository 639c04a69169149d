//! Names: keys, and ids within texts and formulas.

use super::find::{key_range, value_range, whole};
use super::value::{quoted, scalar};
use super::{EditError, Route, Splice, find};
use crate::read::tree::Tree;

/// The positions of a name in a text, where it is a whole word: not a part of a longer name, and not what follows a dot.
fn positions<'t>(text: &'t str, name: &'t str) -> impl Iterator<Item = usize> + 't {
    let word = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_');
    let whole = move |at: usize| {
        let before = text[..at].chars().next_back();
        let rest = &text[at + name.len()..];
        !before.is_some_and(|c| word(c) || c == '.') && !rest.starts_with(word)
    };
    text.match_indices(name).map(|(at, _)| at).filter(move |at| !name.is_empty() && whole(*at))
}

/// Whether a name is in a text as a whole word.
pub fn mentions(text: &str, name: &str) -> bool {
    positions(text, name).next().is_some()
}

/// The text with another name; `None` if it does not have the name in it.
pub(super) fn replaced(text: &str, from: &str, to: &str) -> Option<String> {
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    for found in positions(text, from) {
        out.push_str(&text[at..found]);
        out.push_str(to);
        at = found + from.len();
    }
    (at > 0).then(|| out + &text[at..])
}

pub(super) fn rename_key(tree: &Tree<'_>, at: &Route, to: &str) -> Result<Vec<Splice>, EditError> {
    let (found, slot) = whole(tree, at)?;
    let range = key_range(tree, slot).ok_or_else(|| EditError::NoMap(at.clone()))?;
    let quote = tree.source()[range.clone()].chars().next().filter(|c| matches!(c, '"' | '\''));
    let text = match quote {
        Some(_) => quoted(to, quote),
        None => scalar(to, false, find::in_flow(tree, &found)),
    };
    Ok(vec![Splice::new(range, text)])
}

pub(super) fn replace_name(tree: &Tree<'_>, at: &Route, from: &str, to: &str) -> Result<Vec<Splice>, EditError> {
    let (_, slot) = whole(tree, at)?;
    let no_name = || EditError::NoName(at.clone());
    if tree.text(slot.node).is_none() {
        return Err(no_name());
    }
    if find::alias(tree, slot).is_some() {
        return Err(EditError::ByHand(at.clone()));
    }
    let range = value_range(tree, slot).ok_or_else(no_name)?;
    let source = &tree.source()[range.clone()];
    let splices: Vec<Splice> = positions(source, from)
        .map(|found| {
            let start = range.start + found;
            Splice::new(start..start + from.len(), to)
        })
        .collect();
    if splices.is_empty() { Err(no_name()) } else { Ok(splices) }
}
