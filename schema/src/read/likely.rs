//! The likely cause of a problem: what people mean when they write a text in one line.

use super::Spot;
use super::tree::{NodeId, Tree};
use super::yaml::SyntaxError;
use crate::words::shorten;

/// The message and the help for a key that only a comma in a text began: `{car-mass: It is light, and cheap}`.
pub(super) fn begun_by_comma(tree: &Tree<'_>, key: NodeId) -> Option<(String, String)> {
    let (before, after) = tree.around(key);
    let is_bare = before.trim_end().ends_with(',') && after.trim_start().starts_with([',', '}']);
    // In a list, a comma ends an entry.
    let in_list = || tree.open_bracket(before.len()).is_some_and(|(bracket, _)| bracket == '[');
    let text = tree.text(key).filter(|_| is_bare && !in_list())?;
    let message =
        format!("`{}` is read as a key of its own, because a comma inside of `{{...}}` ends a value", shorten(text));
    let number = before.trim_end().trim_end_matches(',').rsplit([' ', ':', '{']).next().unwrap_or("");
    let is_number = |text: &str| text.starts_with(|c: char| c.is_ascii_digit());
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let help = if is_number(number) && digits == 3 {
        crate::quantity::without_comma(number, text)
    } else if is_number(number) && is_number(text) {
        format!("use a decimal point: `{}.{}`", shorten(number), shorten(text))
    } else {
        "put quotes around the whole text, or write it without `{...}` on a line of its own".to_owned()
    };
    Some((message, help))
}

/// The error for invalid YAML whose likely cause is a colon in a text, or a bracket that is not closed.
pub(super) fn of_syntax(text: &str, spot: Spot, info: &str) -> Option<SyntaxError> {
    let line = text.split('\n').nth(spot.line as usize - 1).unwrap_or("");
    let rest: String = line.chars().skip(spot.column as usize - 1).collect();
    if rest.starts_with(": ") && (info.contains("mapping values") || info.contains("flow mapping")) {
        return Some(SyntaxError {
            spot,
            message: "not valid YAML: a second `: ` in one value".to_owned(),
            help: "put quotes around the text with the colon, or write it below its key after `>-`".to_owned(),
        });
    }
    if !info.contains("flow") {
        return None;
    }
    let end = byte_of(text, spot);
    let (bracket, at) = open_bracket(text.get(..end)?)?;
    // The value before the position is complete: what is missing is its end.
    let between = text.get(at + 1..end)?;
    if !between.contains('\n') {
        return None;
    }
    let place = Spot::of_byte(text.as_bytes(), at);
    let close = if bracket == '{' { '}' } else { ']' };
    Some(SyntaxError {
        spot,
        message: format!(
            "not valid YAML: the `{bracket}` in line {}, column {} is not closed",
            place.line, place.column
        ),
        help: format!("add `{close}` where the value ends"),
    })
}

/// The byte of a position.
fn byte_of(text: &str, spot: Spot) -> usize {
    let start = text.split_inclusive('\n').take(spot.line as usize - 1).map(str::len).sum::<usize>();
    let rest = text.get(start..).unwrap_or("");
    start + rest.chars().take(spot.column as usize - 1).map(char::len_utf8).sum::<usize>()
}

/// A bracket, and its byte.
pub(super) type Bracket = (char, usize);

/// The innermost bracket that is open at the end of a text.
fn open_bracket(text: &str) -> Option<Bracket> {
    open_brackets(text).pop()?.1
}

/// The innermost bracket that is open after each bracket of a text, with the byte behind it.
pub(super) fn open_brackets(text: &str) -> Vec<(usize, Option<Bracket>)> {
    let mut all = Vec::new();
    let mut open: Vec<Bracket> = Vec::new();
    let mut quote: Option<char> = None;
    let mut comment = false;
    // Brackets and quotes count only where a value begins, or inside of brackets.
    let mut before = '\n';
    let mut last = '\n';
    for (at, c) in text.char_indices() {
        let begins = matches!(before, '\n' | ':' | ',' | '[' | '{' | '-');
        match (quote, c) {
            _ if comment => comment = c != '\n',
            (Some(end), _) => quote = Some(end).filter(|end| *end != c),
            (None, '"' | '\'') if begins => quote = Some(c),
            (None, '#') if last.is_whitespace() => comment = true,
            (None, '{' | '[') if begins || !open.is_empty() => {
                open.push((c, at));
                all.push((at + 1, open.last().copied()));
            }
            (None, '}' | ']') => {
                open.pop();
                all.push((at + 1, open.last().copied()));
            }
            (None, _) => {}
        }
        last = c;
        if c == '\n' || !c.is_whitespace() {
            before = c;
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn brackets_in_texts_do_not_count() {
        assert_eq!(open_bracket("a: {b: [c, d]"), Some(('{', 3)));
        assert_eq!(open_bracket("a: {b: [c"), Some(('[', 7)));
        assert_eq!(open_bracket("a: {b: c}"), None);
        assert_eq!(open_bracket("a: it's {b\nc: '{'\nd: \"[\" # {\n"), None);
    }
}
