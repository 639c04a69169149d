//! An earlier version of a file that could not be read completely, next to a later one that can: which records were hidden
//! in it.

use std::hash::{BuildHasher, Hash as _, Hasher};
use std::sync::OnceLock;

use foldhash::fast::RandomState;
use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use serde::de::{self, DeserializeSeed, MapAccess, Visitor};

use super::decode::{DecodeError, NodeDeserializer};
use super::places;
use super::tree::{Content, NodeId, Tree};
use crate::records::{Body, Kind, Record};
use crate::words::{Id, to_kebab_case};

/// A file in two versions.
pub struct EarlierVersion<'b> {
    bytes: &'b [u8],
    /// `None` if it cannot be read at all.
    before: Option<Tree<'b>>,
    after: Option<Tree<'b>>,
    /// The keys of the maps of the earlier version, as they are written and as they should be; when first asked for.
    names: OnceLock<HashSet<String>>,
    /// The records of the earlier version by a hash of their content.
    contents: OnceLock<HashMap<(Kind, u64), Vec<NodeId>>>,
    /// Another one each time, so that no file has many records with one hash.
    hashes: RandomState,
}

impl<'b> EarlierVersion<'b> {
    /// The earlier version of a file, and the later one.
    pub fn new(before: &'b [u8], after: &'b [u8]) -> Self {
        let (names, contents, hashes) = (OnceLock::new(), OnceLock::new(), RandomState::default());
        Self { bytes: before, before: places(before), after: places(after), names, contents, hashes }
    }

    /// Whether a record of the later version, which was not read in the earlier one, may have been in it: under the same
    /// id, under one that was not valid, or under another id with the same content.
    pub fn may_hold(&self, kind: Kind, id: &str) -> bool {
        let Some((tree, root)) = self.before.as_ref().and_then(|tree| Some((tree, tree.root()?))) else {
            return may_have_record(self.bytes, id);
        };
        let mut maps = tree.entries(root).iter().map(|&[_, value]| value);
        let names = self.names.get_or_init(|| {
            let keys = maps.clone().flat_map(|map| tree.entries(map)).filter_map(|&[key, _]| tree.text(key));
            keys.flat_map(|text| [Some(text.to_owned()), to_kebab_case(text)]).flatten().collect()
        });
        let named = names.contains(id);
        let unread = |value: NodeId| !tree.is_null(value) && !matches!(tree.content(value), Content::Map(_));
        named || self.has_content_of(kind, id) || (maps.any(unread) && may_have_record(self.bytes, id))
    }

    /// Whether the earlier version has a record with the content that this one has in the later version, under any id.
    pub fn has_content_of(&self, kind: Kind, id: &str) -> bool {
        let (Some(before), Some(after)) = (&self.before, &self.after) else { return false };
        let Some(record) = record_of(after, kind, id) else { return false };
        let contents = self.contents.get_or_init(|| {
            let mut all: HashMap<(Kind, u64), Vec<NodeId>> = HashMap::new();
            for kind in Kind::ALL {
                let of_kind = before.root().and_then(|root| before.entry(root, kind.plural()));
                for &[_, value] in of_kind.map(|[_, map]| before.entries(map)).unwrap_or_default() {
                    all.entry((*kind, hash(before, value, &self.hashes))).or_default().push(value);
                }
            }
            all
        });
        let alike = contents.get(&(kind, hash(after, record, &self.hashes)));
        alike.into_iter().flatten().any(|value| same(before, *value, after, record))
    }

    /// The record as it was, with some keys as they are in the later version; `None` if that is not a record.
    pub fn with_keys(&self, kind: Kind, id: &Id, keys: &[String]) -> Option<Record> {
        let (before, after) = (self.before.as_ref()?, self.after.as_ref()?);
        let (old, new) = (record_of(before, kind, id.as_str())?, record_of(after, kind, id.as_str())?);
        let left_out = HashSet::new();
        let has = |tree: &Tree<'_>, map, key: &str| tree.entry(map, key).is_some();
        // A key that was misspelt has another name in the later version.
        let is_renamed = keys.iter().any(|key| has(before, old, key) && !has(after, new, key));
        let is_repaired = |tree: &Tree<'_>, key: NodeId| {
            let is_new = |text: &str| is_renamed && has(after, new, text) && !has(before, old, text);
            tree.text(key).is_some_and(|text| is_new(text) || keys.iter().any(|repaired| repaired == text))
        };
        let pairs = |tree, map, repaired: bool| {
            let node = |node| NodeDeserializer { tree, node, left_out: &left_out };
            let entries = tree.entries(map).iter().filter(move |[key, _]| is_repaired(tree, *key) == repaired);
            entries.map(move |&[key, value]| (node(key), node(value))).collect::<Vec<_>>()
        };
        let pairs = [pairs(before, old, false), pairs(after, new, true)].concat();
        let body = Body::decode(kind, Mixed { pairs: pairs.into_iter(), value: None }).ok()?;
        Some(Record { id: id.clone(), body })
    }
}

/// The node of a record.
fn record_of(tree: &Tree<'_>, kind: Kind, id: &str) -> Option<NodeId> {
    let [_, map] = tree.entry(tree.root()?, kind.plural())?;
    tree.entry(map, id).map(|[_, record]| record)
}

/// A number that is the same for all nodes with the same content.
fn hash(tree: &Tree<'_>, node: NodeId, hashes: &impl BuildHasher) -> u64 {
    fn add(tree: &Tree<'_>, node: NodeId, hasher: &mut impl Hasher) {
        match tree.content(node) {
            Content::Scalar { text, plain } => (text, plain).hash(hasher),
            Content::List(items) => items.iter().for_each(|item| add(tree, *item, hasher)),
            Content::Map(entries) => entries.iter().flatten().for_each(|part| add(tree, *part, hasher)),
        }
    }
    let mut hasher = hashes.build_hasher();
    add(tree, node, &mut hasher);
    hasher.finish()
}

/// Whether two nodes have the same content.
fn same(a: &Tree<'_>, at: NodeId, b: &Tree<'_>, other: NodeId) -> bool {
    match (a.content(at), b.content(other)) {
        (Content::Scalar { text: x, plain: p }, Content::Scalar { text: y, plain: q }) => (x, p) == (y, q),
        (Content::List(x), Content::List(y)) => x.len() == y.len() && x.iter().zip(y).all(|(x, y)| same(a, *x, b, *y)),
        (Content::Map(x), Content::Map(y)) => {
            let entry = |(x, y): (&[NodeId; 2], &[NodeId; 2])| same(a, x[0], b, y[0]) && same(a, x[1], b, y[1]);
            x.len() == y.len() && x.iter().zip(y).all(entry)
        }
        _ => false,
    }
}

/// Whether a text that cannot be read as YAML may have a record with this id: the word begins a line, or an entry of a map
/// in braces, and is not the key of a plain text, as the id under `serves` is. Its colon may be missing.
pub fn may_have_record(bytes: &[u8], id: &str) -> bool {
    let is_blank_or_quote = |byte: &u8| matches!(byte, b' ' | b'\t' | b'"' | b'\'');
    memchr::memmem::find_iter(bytes, id.as_bytes()).any(|at| {
        let rest = &bytes[at + id.len()..];
        let rest = rest.strip_prefix(b"\"").or(rest.strip_prefix(b"'")).unwrap_or(rest);
        let before = bytes[..at].iter().rev().find(|byte| !is_blank_or_quote(byte));
        let begins = before.is_none_or(|byte| match byte {
            b'\n' | b'\r' | b'{' | b',' => true,
            // A list of records, instead of a map.
            b'-' => !bytes[..at].ends_with(b"-") && rest.starts_with(b":"),
            _ => false,
        });
        let ends = rest.first().is_none_or(|byte| !byte.is_ascii_alphanumeric() && !matches!(byte, b'-' | b'.' | b'_'));
        let line = rest.split(|byte| matches!(byte, b'\n' | b'\r')).next().unwrap_or_default().trim_ascii();
        let is_key_of_text = line.strip_prefix(b":").map(<[u8]>::trim_ascii).is_some_and(|value| {
            let is_map = value.first().is_none_or(|byte| matches!(byte, b'{' | b'#' | b'&'));
            // A colon in a plain text is one of the errors that make a file unreadable.
            !is_map && !value.windows(2).any(|pair| pair == b": ")
        });
        begins && ends && !is_key_of_text
    })
}

/// A record with keys of two trees.
struct Mixed<'t> {
    pairs: std::vec::IntoIter<(NodeDeserializer<'t>, NodeDeserializer<'t>)>,
    value: Option<NodeDeserializer<'t>>,
}

impl<'de> MapAccess<'de> for Mixed<'_> {
    type Error = DecodeError;
    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, DecodeError> {
        let Some((key, value)) = self.pairs.next() else { return Ok(None) };
        self.value = Some(value);
        seed.deserialize(key).map(Some)
    }
    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, DecodeError> {
        match self.value.take() {
            Some(value) => seed.deserialize(value),
            None => Err(de::Error::custom("a value was requested before its key")),
        }
    }
}

impl<'de> de::Deserializer<'de> for Mixed<'_> {
    type Error = DecodeError;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        visitor.visit_map(self)
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn records_that_were_hidden() {
        let after = b"parts:\n  hub: {in: suspension}\n  new-arm: {in: brakes}\n  rod: {}\n";
        let held = |before: &[u8], id: &str| EarlierVersion::new(before, after).may_hold(Kind::Part, id);
        let text = |line: &str| may_have_record(format!("parts:\n  {line}\n  x: {{\n").as_bytes(), "hub");
        for record in
            ["hub:", "hub: {in: x}", "hub {in: x}", "hub: in: x", "\"hub\": {", "hub: # empty", "a: {}, hub: {"]
        {
            assert!(text(record), "{record}");
        }
        for other in ["hub-two: {}", "serves: {hub: It holds it.}", "hub: It holds it.", "of: hub", "informs: [hub]"] {
            assert!(!text(other), "{other}");
        }
        let broken = b"parts:\n  hub: {in: suspension\n  'rod' : {}\n  x: {serves: {}, by-new-arm: 1}\n";
        assert!(held(broken, "hub") && held(broken, "rod"));
        assert!(!held(broken, "new-arm"), "a part of a longer word is not that word");
        // Readable as YAML, but not as records.
        assert!(held(b"part:\n  hub: {}\n", "hub") && !held(b"part:\n  hub: {}\n", "rod"));
        assert!(held(b"parts:\n  New_Arm: {}\n", "new-arm"), "an id that was not valid");
        assert!(held(b"parts:\n  arm: {in: brakes}\n  arm: {}\n", "new-arm"), "the same content under another id");
        assert!(held(b"parts:\n  - hub: {}\n", "hub"));
    }

    #[test]
    fn only_the_repaired_keys_are_those_of_the_later_version() {
        let before = b"parts:\n  hub: {title: Old, count: two, in: suspension}\n";
        let after = b"parts:\n  hub: {in: brakes, count: 2, title: New}\n";
        let record =
            EarlierVersion::new(before, after).with_keys(Kind::Part, &Id::new("hub").unwrap(), &["count".to_owned()]);
        let expected_text = b"parts:\n  hub: {title: Old, count: 2, in: suspension}\n";
        let expected = super::super::records(expected_text);
        assert_eq!(record, expected.records.into_iter().next());
        let misspelt = b"parts:\n  hub: {title: Old, cuont: 2, in: suspension}\n";
        let keys = ["cuont".to_owned()];
        let record = EarlierVersion::new(misspelt, after).with_keys(Kind::Part, &Id::new("hub").unwrap(), &keys);
        assert_eq!(record, super::super::records(expected_text).records.into_iter().next());
    }
}
