//! Values as text: plain where that reads back as the same value, otherwise quoted.

use crate::read::tree::{Content, NodeId, Tree};
use crate::read::yaml;

/// A value to write.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Value {
    /// A text, number, date, ...
    Scalar {
        /// The text without quotes.
        text: String,
        /// Whether it may be a number, a truth value or an empty value if it looks like one.
        plain: bool,
    },
    /// A list.
    List(Vec<Self>),
    /// A map, in its order.
    Map(Vec<(String, Self)>),
}

impl Value {
    /// A value as it is typed in YAML, in one go: `0.61 kg`, `"a: b"`, `[a, b]`, `{by: test}`. What is not YAML by itself
    /// is a text: `Note: see there`.
    pub fn typed(typed: &str) -> Self {
        let trimmed = typed.trim_matches([' ', '\t', '\n', '\r']);
        let text = || Self::Scalar { text: trimmed.to_owned(), plain: !trimmed.is_empty() };
        let collection = trimmed.starts_with('[') || trimmed.starts_with('{');
        let quoted = trimmed.len() > 1
            && ['"', '\''].iter().any(|quote| trimmed.starts_with(*quote) && trimmed.ends_with(*quote));
        if !collection && !quoted {
            return text();
        }
        let Ok(tree) = yaml::tree(trimmed) else { return text() };
        let Some(root) = tree.root().filter(|root| tree.range(*root) == (0..trimmed.len())) else { return text() };
        match tree.content(root) {
            Content::Scalar { text: read, plain: false } if quoted => {
                Self::Scalar { text: read.to_owned(), plain: false }
            }
            Content::List(_) | Content::Map(_) if collection => Self::of(&tree, root),
            _ => text(),
        }
    }

    /// A text that is no number, truth value or empty value, even if it looks like one.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Scalar { text: text.into(), plain: false }
    }

    /// A number, a quantity, a date, an id, ...
    pub fn plain(text: impl Into<String>) -> Self {
        Self::Scalar { text: text.into(), plain: true }
    }

    /// The value of a node.
    pub(crate) fn of(tree: &Tree<'_>, node: NodeId) -> Self {
        match tree.content(node) {
            Content::Scalar { text, plain } => Self::Scalar { text: text.to_owned(), plain },
            Content::List(items) => Self::List(items.iter().map(|item| Self::of(tree, *item)).collect()),
            Content::Map(entries) => {
                let entry = |[key, value]: &[NodeId; 2]| {
                    (tree.text(*key).unwrap_or_default().to_owned(), Self::of(tree, *value))
                };
                Self::Map(entries.iter().map(entry).collect())
            }
        }
    }

    /// In one line, as it is in a flow collection or, if `!in_flow`, behind a key in block style.
    pub(super) fn inline(&self, in_flow: bool) -> String {
        match self {
            Self::Scalar { text, plain } => scalar(text, *plain, in_flow),
            Self::List(items) => {
                let items: Vec<String> = items.iter().map(|item| item.inline(true)).collect();
                format!("[{}]", items.join(", "))
            }
            Self::Map(entries) => {
                let entries: Vec<String> = entries.iter().map(|(key, value)| entry(key, value)).collect();
                format!("{{{}}}", entries.join(", "))
            }
        }
    }

    /// Whether it reads well in one line of this length.
    fn is_short(&self, length: usize) -> bool {
        /// Longer texts, as the reasons under `serves`, get a line of their own.
        const LONG_TEXT: usize = 48;
        fn has_long_text(value: &Value) -> bool {
            match value {
                Value::Scalar { text, .. } => text.len() > LONG_TEXT,
                Value::List(items) => items.iter().any(has_long_text),
                Value::Map(entries) => entries.iter().any(|(_, value)| has_long_text(value)),
            }
        }
        match self {
            Self::Scalar { .. } => true,
            Self::List(items) if items.is_empty() => true,
            Self::Map(entries) if entries.is_empty() => true,
            _ => !has_long_text(self) && self.inline(true).len() <= length,
        }
    }

    /// What follows the colon of a key in block style: the value in the same line after a space, or lines below it.
    ///
    /// `depth` is the number of keys above the value, including its own: kinds and records have their keys on lines.
    pub(super) fn behind_key(&self, style: &Style<'_>, indent: &str, depth: usize) -> String {
        const LINE: usize = 100;
        let below = format!("{indent}{}", style.step);
        match self {
            Self::Map(entries) if !entries.is_empty() && (depth <= 2 || !self.is_short(LINE)) => {
                let mut out = String::new();
                for (key, value) in entries {
                    out.push_str(style.line_end);
                    out.push_str(&below);
                    out.push_str(&scalar(key, false, false));
                    out.push(':');
                    out.push_str(&value.behind_key(style, &below, depth + 1));
                }
                out
            }
            Self::List(items) if !self.is_short(LINE) => {
                let item = |item: &Self| format!("{}{below}- {}", style.line_end, item.inline(false));
                items.iter().map(item).collect()
            }
            Self::Scalar { text, plain } if text.contains('\n') => match literal(text, style, &below) {
                Some(block) => format!(" {block}"),
                None => format!(" {}", scalar(text, *plain, false)),
            },
            _ => format!(" {}", self.inline(false)),
        }
    }
}

/// How the lines of a file are written.
#[derive(Clone, Debug)]
pub(super) struct Style<'s> {
    /// LF or CR LF.
    pub(super) line_end: &'s str,
    /// The indentation of a level.
    pub(super) step: String,
}

/// A key and its value in a flow map.
pub(super) fn entry(key: &str, value: &Value) -> String {
    format!("{}: {}", scalar(key, false, true), value.inline(true))
}

/// A text of several lines as a literal block scalar, if it can be one.
fn literal(text: &str, style: &Style<'_>, indent: &str) -> Option<String> {
    let (lines, chomp) = match text.strip_suffix('\n') {
        Some(lines) => (lines, "|"),
        None => (text, "|-"),
    };
    let fits = |line: &str| !line.ends_with(char::is_whitespace) && line.chars().all(|c| !c.is_control());
    let starts = |line: &str| !line.is_empty() && !line.starts_with(char::is_whitespace);
    let ends = lines.lines().next_back().is_some_and(|line| !line.is_empty());
    if !starts(lines.lines().next()?) || !ends || lines.ends_with('\n') || !lines.split('\n').all(fits) {
        return None;
    }
    let mut out = chomp.to_owned();
    for line in lines.split('\n') {
        out.push_str(style.line_end);
        if !line.is_empty() {
            out.push_str(indent);
            out.push_str(line);
        }
    }
    let read = yaml::tree(&out).ok()?;
    let same = read.root().and_then(|root| read.text(root)) == Some(text);
    // Without a line end, even a literal that keeps it has none.
    (same || chomp == "|").then_some(out)
}

/// A scalar in one line: plain if it reads back as the same value.
pub(super) fn scalar(text: &str, plain: bool, in_flow: bool) -> String {
    if plain && text.is_empty() {
        return "~".to_owned();
    }
    let as_typed = plain || !is_special(text);
    if as_typed && is_plain(text, in_flow) { text.to_owned() } else { quoted(text, None) }
}

/// Whether a text without quotes can be something other than a text.
pub(super) fn is_special(text: &str) -> bool {
    let bare = text.trim_start_matches(['+', '-']);
    matches!(text, "" | "~" | "null" | "Null" | "NULL" | "true" | "True" | "TRUE" | "false" | "False" | "FALSE")
        || matches!(bare, ".inf" | ".Inf" | ".INF" | ".nan" | ".NaN" | ".NAN")
        || text.parse::<f64>().is_ok()
        || ["0x", "0o", "0b"].iter().any(|prefix| {
            let digits = bare.strip_prefix(prefix);
            digits.is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_hexdigit()))
        })
}

/// Whether a text without quotes reads back as itself, as a key and as a value.
fn is_plain(text: &str, in_flow: bool) -> bool {
    if text.is_empty() || text.contains(char::is_control) || text.trim() != text {
        return false;
    }
    let sample = if in_flow { format!("{{{text}: {text}, z: }}") } else { format!("{text}: {text}\nz:\n") };
    let Ok(tree) = yaml::tree(&sample) else { return false };
    let Some(root) = tree.root() else { return false };
    let same = |node: NodeId| matches!(tree.content(node), Content::Scalar { text: read, plain: true } if read == text);
    matches!(tree.entries(root), [[key, value], _] if same(*key) && same(*value))
}

/// A text in quotes: the given ones if it can have them, otherwise double ones unless it has some in it.
pub(super) fn quoted(text: &str, quote: Option<char>) -> String {
    let needs_escapes =
        text.chars().any(|c| c.is_control() || matches!(c, '\u{85}' | '\u{2028}' | '\u{2029}' | '\u{feff}'));
    let single = match quote {
        Some(quote) => quote == '\'',
        None => text.contains(['"', '\\']) && !text.contains('\''),
    };
    if single && !needs_escapes {
        return format!("'{}'", text.replace('\'', "''"));
    }
    let mut out = String::with_capacity(text.len() + 2);
    out.push('"');
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            '\r' => out.push_str("\\r"),
            c if (c as u32) < 0x20 || matches!(c as u32, 0x7f..=0x9f) => out.push_str(&format!("\\x{:02x}", c as u32)),
            c @ ('\u{2028}' | '\u{2029}' | '\u{feff}') => out.push_str(&format!("\\u{:04x}", c as u32)),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
