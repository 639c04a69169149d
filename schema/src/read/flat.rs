//! Record files as flat fields, for the history: the text of each key, independent of its meaning.
//!
//! Keys are not checked here: an unknown key is also a field, so that records of an earlier version of the tool keep their
//! history. A route is the keys below the record, joined by dots. A list of scalars
//! is one field, its items joined by `, `; in a list with maps in it the items count from 1. An amount in its short
//! form (`cost: 140 EUR`) has the route of the long one (`amounts.cost.value`).
//!
//! Two versions of a file have most records in common, so a file is first cut into [`Chunk`]s, which are
//! compared by their bytes and read one by one.

use std::ops::Range;

use super::tree::{Content, NodeId, Tree};
use super::{Spot, text, tree_of};
use crate::records::Kind;
use crate::records::roles::AmountsRule;

/// A record as flat fields.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FlatRecord {
    /// Its kind.
    pub kind: Kind,
    /// Its id, as in the file.
    pub id: String,
    /// Route and text of every scalar, in the order of the file.
    pub fields: Vec<(String, String)>,
}

/// A piece of a record file that can be read by itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chunk {
    /// The line of the kind, if the records of the kind were cut apart.
    head: Option<Range<usize>>,
    /// The record, or everything below a kind.
    body: Range<usize>,
}

impl Chunk {
    /// The id of the one record in it, if it is written as plain text.
    pub fn id<'b>(&self, file: &'b [u8]) -> Option<&'b str> {
        let (head, body) = self.bytes(file);
        let text = body.trim_ascii_start();
        let id = text.get(..text.iter().position(|b| *b == b':')?)?;
        let plain = |b: &u8| b.is_ascii_lowercase() || b.is_ascii_digit() || *b == b'-';
        let ends = text.get(id.len() + 1).is_none_or(u8::is_ascii_whitespace);
        (!head.is_empty() && ends && !id.is_empty() && id.iter().all(plain))
            .then(|| std::str::from_utf8(id).ok())
            .flatten()
    }

    /// The kind, as the key of its records, and the id of the one record in it, if both are written as plain text.
    pub fn name<'b>(&self, file: &'b [u8]) -> Option<(&'b str, &'b str)> {
        let (head, _) = self.bytes(file);
        let kind = head.get(..head.iter().position(|b| *b == b':')?)?;
        Some((std::str::from_utf8(kind).ok()?, self.id(file)?))
    }

    /// The tree of the one record in it, below its kind. `None` if it cannot be read by itself.
    pub fn places<'b>(&self, file: &'b [u8]) -> Option<Tree<'b>> {
        super::places(file.get(self.body.clone())?)
    }

    /// The bytes that identify the chunk: the line of the kind, and the rest.
    pub fn bytes<'b>(&self, file: &'b [u8]) -> (&'b [u8], &'b [u8]) {
        let part = |range: &Range<usize>| file.get(range.clone()).unwrap_or_default();
        (self.head.as_ref().map(part).unwrap_or_default(), part(&self.body))
    }
}

/// Cuts a record file into chunks: one per record if it is in block style, like most files.
///
/// `None` for a file without a kind at the start of every line that is not indented: it is read as a whole. A file is also
/// read as a whole if a chunk cannot be read by itself, because an alias refers to something outside of it.
pub fn chunks(bytes: &[u8]) -> Option<Vec<Chunk>> {
    let mut all: Vec<Chunk> = Vec::new();
    // The line of the kind that is open, and the indentation of its records once one was seen.
    let mut head: Option<(Range<usize>, Option<usize>)> = None;
    let mut at = 0;
    while at < bytes.len() {
        let end = memchr::memchr(b'\n', &bytes[at..]).map_or(bytes.len(), |length| at + length + 1);
        let line = &bytes[at..end];
        let indent = line.iter().take_while(|b| **b == b' ').count();
        let first = line.get(indent).copied().unwrap_or(b'\n');
        match (first, indent) {
            (b'\n' | b'\r' | b'#', _) => {
                // What comes after a kind and before its first record belongs to no record.
                let is_after_kind = matches!(head, Some((_, None)));
                if let Some(last) = all.last_mut().filter(|_| !is_after_kind) {
                    last.body.end = end;
                }
            }
            (b'a'..=b'z', 0) => {
                let colon = line.iter().position(|b| *b == b':')?;
                if !line[..colon].iter().all(|b| b.is_ascii_lowercase() || *b == b'-') {
                    return None;
                }
                let rest = line[colon + 1..].trim_ascii();
                if rest.is_empty() || rest.starts_with(b"#") {
                    head = Some((at..end, None));
                } else {
                    head = None;
                    all.push(Chunk { head: None, body: at..end });
                }
            }
            (_, 0) | (b'\t', _) => return None,
            (first, indent) => match &mut head {
                Some((line, own)) => {
                    let own = *own.get_or_insert(indent);
                    if indent < own {
                        return None;
                    }
                    if indent == own {
                        if !first.is_ascii_lowercase() {
                            return None;
                        }
                        all.push(Chunk { head: Some(line.clone()), body: at..end });
                    } else {
                        all.last_mut()?.body.end = end;
                    }
                }
                // Below a kind whose records are in brackets.
                None => all.last_mut()?.body.end = end,
            },
        }
        at = end;
    }
    Some(all)
}

/// The number of lines of a file before the record in each of its chunks.
pub fn lines_before(file: &[u8], chunks: &[Chunk]) -> Vec<u32> {
    let (mut at, mut lines) = (0, 0);
    let before = |chunk: &Chunk| {
        // A chunk begins behind a line break, so that what is before it can be counted by itself.
        let start = chunk.body.start.clamp(at, file.len());
        lines += Spot::of_byte(&file[at..start], start - at).line - 1;
        at = start;
        lines
    };
    chunks.iter().map(before).collect()
}

/// Reads a chunk of a file; `None` if it cannot be read by itself.
pub fn chunk(file: &[u8], chunk: &Chunk) -> Option<Vec<FlatRecord>> {
    let (head, body) = chunk.bytes(file);
    if head.is_empty() {
        return records(body);
    }
    let mut whole = Vec::with_capacity(head.len() + body.len());
    whole.extend_from_slice(head);
    whole.extend_from_slice(body);
    records(&whole)
}

/// Reads a record file; `None` if it is not YAML, or not a map of kinds to ids to records.
pub fn records(bytes: &[u8]) -> Option<Vec<FlatRecord>> {
    let tree = tree_of(text(bytes).ok()?).ok()?;
    let mut all = Vec::new();
    let Some(root) = tree.root().filter(|root| !tree.is_null(*root)) else { return Some(all) };
    if !matches!(tree.content(root), Content::Map(_)) {
        return None;
    }
    for &[key, value] in tree.entries(root) {
        let Some(kind) = tree.text(key).and_then(Kind::from_plural) else { continue };
        for &[id, record] in tree.entries(value) {
            let Some(id) = tree.text(id) else { continue };
            let mut flat = FlatRecord { kind, id: id.to_owned(), fields: Vec::new() };
            below(&tree, record, &mut String::new(), &mut flat);
            all.push(flat);
        }
    }
    Some(all)
}

fn below(tree: &Tree<'_>, node: NodeId, route: &mut String, out: &mut FlatRecord) {
    match tree.content(node) {
        Content::Scalar { .. } => {
            let text = if tree.is_null(node) { "" } else { tree.text(node).unwrap_or("") };
            if route.is_empty() {
                return;
            }
            let short = out.kind.roles().amounts == AmountsRule::Own
                && route.strip_prefix("amounts.").is_some_and(|rest| !rest.contains('.'));
            let route = if short { format!("{route}.value") } else { route.clone() };
            out.fields.push((route, text.to_owned()));
        }
        Content::List(items) => {
            let scalar = |item: &NodeId| tree.is_scalar(*item);
            if items.iter().all(scalar) {
                if !items.is_empty() && !route.is_empty() {
                    let texts: Vec<&str> = items.iter().map(|item| tree.text(*item).unwrap_or("")).collect();
                    out.fields.push((route.clone(), texts.join(", ")));
                }
                return;
            }
            for (at, item) in items.iter().enumerate() {
                step(tree, *item, &(at + 1).to_string(), route, out);
            }
        }
        Content::Map(entries) => {
            for [key, value] in entries {
                step(tree, *value, tree.text(*key).unwrap_or(""), route, out);
            }
        }
    }
}

fn step(tree: &Tree<'_>, node: NodeId, key: &str, route: &mut String, out: &mut FlatRecord) {
    let length = route.len();
    if length > 0 {
        route.push('.');
    }
    route.push_str(key);
    below(tree, node, route, out);
    route.truncate(length);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(text: &str) -> Vec<String> {
        let all = records(text.as_bytes()).unwrap();
        let line = |record: &FlatRecord| {
            let fields: Vec<String> = record.fields.iter().map(|(route, text)| format!("{route}={text}")).collect();
            format!("{} {}: {}", record.kind, record.id, fields.join("; "))
        };
        all.iter().map(line).collect()
    }

    #[test]
    fn maps_and_lists_down_to_scalars() {
        assert_eq!(
            flat(
                "
targets:
  t: {between: [1 s, 2.0 s], verify: [{by: test, due: 2027-05-20}, {by: analysis}], serves: {e: }}
parts:
  p: {count: 2, amounts: {mass: {value: 1.0 kg, basis: drawn}, cost: 140 EUR}, odd-key: [], formerly: [a, b]}
"
            ),
            [
                "target t: between=1 s, 2.0 s; verify.1.by=test; verify.1.due=2027-05-20; verify.2.by=analysis; serves.e=",
                "part p: count=2; amounts.mass.value=1.0 kg; amounts.mass.basis=drawn; amounts.cost.value=140 EUR; formerly=a, b",
            ]
        );
        assert_eq!(records(b"- a"), None);
        assert_eq!(records(b"parts: {a"), None);
        assert_eq!(records(b"# nothing\n"), Some(Vec::new()));
    }

    /// If a file is cut apart and every piece can be read, the pieces together are the whole file.
    #[test]
    fn the_chunks_are_the_file() {
        let files = [
            "parts:\n  a:\n    count: 1\n\n  # about b\n  b: {count: 2}\ntargets: {t: {at-most: 1 s}}\nsystems:\n    s: {in: car}\n    r:\n        in: car\n",
            "parts:\n  a:\n    notes: |\n      one\n\n      two: three\n  b:\n    notes: >-\n      x\n",
            "parts: # all\r\n  a:\r\n    count: 1\r\n  b:\r\n    count: 2",
            "parts:\n",
            "",
        ];
        for file in files {
            let cut = chunks(file.as_bytes()).unwrap();
            let read: Vec<FlatRecord> = cut.iter().flat_map(|one| chunk(file.as_bytes(), one).unwrap()).collect();
            assert_eq!(Some(read), records(file.as_bytes()), "{file}");
        }
        assert_eq!(chunks(files[0].as_bytes()).unwrap().len(), 5);
    }

    #[test]
    fn what_is_not_plainly_in_blocks_is_not_cut() {
        for file in
            ["{parts: {a: {count: 1}}}\n", "---\nparts:\n  a: {}\n", "parts:\n\ta: {}\n", "parts:\n   a: {}\n  b: {}\n"]
        {
            assert_eq!(chunks(file.as_bytes()), None, "{file}");
        }
        // An alias refers to something outside of its piece, which then cannot be read by itself.
        let file = b"parts:\n  a: &x {count: 1}\n  b: *x\n";
        let cut = chunks(file).unwrap();
        assert!(cut.iter().any(|one| chunk(file, one).is_none()));
        assert_eq!(records(file).map(|all| all.len()), Some(2));
    }
}
