//! An earlier version of a file that could not be read completely, next to a later one that can: which records were hidden
//! in it.

use std::hash::{BuildHasher, Hash as _, Hasher};
use std::sync::{Arc, OnceLock};

use foldhash::fast::RandomState;
use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use serde::de::{self, DeserializeSeed, MapAccess, Visitor};

use super::decode::{DecodeError, NodeDeserializer};
use super::places;
use super::tree::{Content, NodeId, Tree};
use super::unreadable::PossibleIds;
use crate::records::{Body, Kind, Record};
use crate::words::{Id, to_kebab_case};

/// One version of a file, read once for all versions that it is compared with.
pub struct Version<'b> {
    bytes: &'b [u8],
    /// `None` if it cannot be read at all.
    tree: Option<Tree<'b>>,
    /// The keys of its maps, as they are written and as they should be; when first asked for.
    names: OnceLock<HashSet<String>>,
    /// The ids that may be in it if it cannot be read; when first asked for.
    possible: OnceLock<PossibleIds<'b>>,
    /// Its records by a hash of their content.
    contents: OnceLock<HashMap<(Kind, u64), Vec<NodeId>>>,
    /// Another one each time, so that no file has many records with one hash.
    hashes: RandomState,
}

impl<'b> Version<'b> {
    /// Reads a version.
    pub fn new(bytes: &'b [u8]) -> Self {
        let (names, possible, contents) = (OnceLock::new(), OnceLock::new(), OnceLock::new());
        Self { bytes, tree: places(bytes), names, possible, contents, hashes: RandomState::default() }
    }
}

/// A file in two versions.
pub struct EarlierVersion<'b> {
    before: Arc<Version<'b>>,
    after: Arc<Version<'b>>,
}

impl<'b> EarlierVersion<'b> {
    /// The earlier version of a file, and the later one.
    pub fn new(before: Arc<Version<'b>>, after: Arc<Version<'b>>) -> Self {
        Self { before, after }
    }

    /// Whether a record of the later version, which was not read in the earlier one, may have been in it: under the same
    /// id, under one that was not valid, or under another id with the same content.
    pub fn may_hold(&self, kind: Kind, id: &str) -> bool {
        let Some((tree, root)) = self.before.tree.as_ref().and_then(|tree| Some((tree, tree.root()?))) else {
            return self.may_have(id);
        };
        let mut maps = tree.entries(root).iter().map(|&[_, value]| value);
        let names = self.before.names.get_or_init(|| {
            let keys = maps.clone().flat_map(|map| tree.entries(map)).filter_map(|&[key, _]| tree.text(key));
            keys.flat_map(|text| [Some(text.to_owned()), to_kebab_case(text)]).flatten().collect()
        });
        let named = names.contains(id);
        let unread = |value: NodeId| !tree.is_null(value) && !matches!(tree.content(value), Content::Map(_));
        named || self.has_content_of(kind, id) || (maps.any(unread) && self.may_have(id))
    }

    /// Whether the earlier version may have a record with this id, wherever it cannot be read.
    fn may_have(&self, id: &str) -> bool {
        let possible = self.before.possible.get_or_init(|| {
            let mut all = PossibleIds::default();
            all.add(self.before.bytes);
            all
        });
        possible.contains(id)
    }

    /// Whether the earlier version has a record with the content that this one has in the later version, under any id.
    pub fn has_content_of(&self, kind: Kind, id: &str) -> bool {
        let (Some(before), Some(after)) = (&self.before.tree, &self.after.tree) else { return false };
        let Some(record) = record_of(after, kind, id) else { return false };
        let hashes = &self.before.hashes;
        let contents = self.before.contents.get_or_init(|| {
            let mut all: HashMap<(Kind, u64), Vec<NodeId>> = HashMap::new();
            for kind in Kind::ALL {
                let of_kind = before.root().and_then(|root| before.entry(root, kind.plural()));
                for &[_, value] in of_kind.map(|[_, map]| before.entries(map)).unwrap_or_default() {
                    all.entry((*kind, hash(before, value, hashes))).or_default().push(value);
                }
            }
            all
        });
        let alike = contents.get(&(kind, hash(after, record, hashes)));
        alike.into_iter().flatten().any(|value| same(before, *value, after, record))
    }

    /// The record as it was, with some keys as they are in the later version; `None` if that is not a record.
    pub fn with_keys(&self, kind: Kind, id: &Id, keys: &[String]) -> Option<Record> {
        let (before, after) = (self.before.tree.as_ref()?, self.after.tree.as_ref()?);
        let (old, new) = (record_of(before, kind, id.as_str())?, record_of(after, kind, id.as_str())?);
        let left_out = HashSet::new();
        let has = |tree: &Tree<'_>, map, key: &str| tree.entry(map, key).is_some();
        // A key that was misspelt has another name in the later version.
        let keys: HashSet<&str> = keys.iter().map(String::as_str).collect();
        let is_renamed = keys.iter().any(|key| has(before, old, key) && !has(after, new, key));
        let is_repaired = |tree: &Tree<'_>, key: NodeId| {
            let is_new = |text: &str| is_renamed && has(after, new, text) && !has(before, old, text);
            tree.text(key).is_some_and(|text| is_new(text) || keys.contains(text))
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
    use super::super::unreadable::may_have_record;
    use super::*;

    fn versions<'b>(before: &'b [u8], after: &'b [u8]) -> EarlierVersion<'b> {
        EarlierVersion::new(Arc::new(Version::new(before)), Arc::new(Version::new(after)))
    }

    #[test]
    fn records_that_were_hidden() {
        let after = b"parts:\n  hub: {in: suspension}\n  new-arm: {in: brakes}\n  rod: {}\n";
        let held = |before: &[u8], id: &str| versions(before, after).may_hold(Kind::Part, id);
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
        let record = versions(before, after).with_keys(Kind::Part, &Id::new("hub").unwrap(), &["count".to_owned()]);
        let expected_text = b"parts:\n  hub: {title: Old, count: 2, in: suspension}\n";
        let expected = super::super::records(expected_text);
        assert_eq!(record, expected.records.into_iter().next());
        let misspelt = b"parts:\n  hub: {title: Old, cuont: 2, in: suspension}\n";
        let keys = ["cuont".to_owned()];
        let record = versions(misspelt, after).with_keys(Kind::Part, &Id::new("hub").unwrap(), &keys);
        assert_eq!(record, super::super::records(expected_text).records.into_iter().next());
    }
}
