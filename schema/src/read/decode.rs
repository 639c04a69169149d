//! Decodes typed records from a [`Tree`], so that each error has the node it came from.
//!
//! A wrong key or value is recorded and omitted, and the record is decoded again until there are no more errors. So all
//! errors of a record are reported, not only the first.

use std::fmt;

use foldhash::HashSet;
use serde::de::{self, DeserializeSeed, IntoDeserializer, MapAccess, SeqAccess, Visitor};

use super::tree::{Content, NodeId, Tree};

/// An error and its node.
#[derive(Debug)]
pub struct DecodeError {
    /// The kind of error, with the data for a suggestion.
    pub kind: ErrorKind,
    /// The innermost known node of the error.
    pub node: Option<NodeId>,
}

/// The kinds of error, as serde distinguishes them.
#[derive(Debug)]
pub enum ErrorKind {
    /// A key that the map does not have.
    UnknownKey {
        /// The key.
        key: String,
        /// The keys it has.
        known: &'static [&'static str],
    },
    /// A word that is not one of a list.
    UnknownWord {
        /// The word.
        word: String,
        /// The list.
        known: &'static [&'static str],
    },
    /// A missing required key.
    MissingKey(&'static str),
    /// A value of the wrong type.
    WrongType {
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// Any other error, as a message.
    Other(String),
}

impl DecodeError {
    fn new(kind: ErrorKind) -> Self {
        Self { kind, node: None }
    }

    fn at(mut self, node: NodeId) -> Self {
        self.node.get_or_insert(node);
        self
    }
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.kind)
    }
}

impl std::error::Error for DecodeError {}

impl de::Error for DecodeError {
    fn custom<T: fmt::Display>(message: T) -> Self {
        Self::new(ErrorKind::Other(message.to_string()))
    }
    fn invalid_type(found: de::Unexpected<'_>, expected: &dyn de::Expected) -> Self {
        Self::new(ErrorKind::WrongType { found: describe(&found), expected: expected.to_string() })
    }
    fn invalid_value(found: de::Unexpected<'_>, expected: &dyn de::Expected) -> Self {
        Self::invalid_type(found, expected)
    }
    fn unknown_variant(word: &str, known: &'static [&'static str]) -> Self {
        Self::new(ErrorKind::UnknownWord { word: word.to_owned(), known })
    }
    fn unknown_field(key: &str, known: &'static [&'static str]) -> Self {
        Self::new(ErrorKind::UnknownKey { key: key.to_owned(), known })
    }
    fn missing_field(key: &'static str) -> Self {
        Self::new(ErrorKind::MissingKey(key))
    }
}

fn describe(found: &de::Unexpected<'_>) -> String {
    match found {
        de::Unexpected::Map => "a map".to_owned(),
        de::Unexpected::Seq => "a list".to_owned(),
        de::Unexpected::Unit | de::Unexpected::Option => "nothing".to_owned(),
        de::Unexpected::Str(text) => format!("`{}`", crate::words::shorten(text)),
        de::Unexpected::Bool(b) => format!("`{b}`"),
        de::Unexpected::Unsigned(n) => format!("`{n}`"),
        de::Unexpected::Signed(n) => format!("`{n}`"),
        de::Unexpected::Float(n) => format!("`{n}`"),
        other => other.to_string(),
    }
}

/// The most characters of a name, which many records may inherit or show.
const LONGEST_NAME: usize = 300;
/// The most characters of a reason, a formula, or another short text.
const LONGEST_TEXT: usize = 4_000;
/// The most characters of the notes of one record.
const LONGEST_NOTES: usize = 20_000;

/// An error if the text of a node is longer than its key allows.
fn within_limit(tree: &Tree<'_>, key: Option<&str>, node: NodeId) -> Result<(), DecodeError> {
    // A text has at least as many bytes as characters, and nearly all are short.
    let text = match tree.content(node) {
        Content::Scalar { text, .. } if text.len() > LONGEST_NAME => text,
        _ => return Ok(()),
    };
    let name = crate::words::shorten(key.unwrap_or("text"));
    let (most, help) = match &*name {
        "title" | "lead" => (LONGEST_NAME, "put the rest in `notes:`"),
        "notes" => (LONGEST_NOTES, "put them in a file of their own, and name the file here"),
        _ => (LONGEST_TEXT, "shorten it"),
    };
    if text.len() <= most || text.chars().nth(most).is_none() {
        return Ok(());
    }
    let message = format!("`{name}` is longer than {most} characters: {help}");
    Err(DecodeError::new(ErrorKind::Other(message)).at(node))
}

/// Decodes one node with serde; entries and items in `left_out` are skipped.
#[derive(Clone, Copy)]
pub struct NodeDeserializer<'t> {
    /// The tree.
    pub tree: &'t Tree<'t>,
    /// The node to decode.
    pub node: NodeId,
    /// Nodes that were already found wrong.
    pub left_out: &'t HashSet<NodeId>,
}

impl<'t> NodeDeserializer<'t> {
    fn child(self, node: NodeId) -> Self {
        Self { node, ..self }
    }

    fn scalar(&self) -> Option<(&'t str, bool)> {
        match self.tree.content(self.node) {
            Content::Scalar { text, plain } => Some((text, plain)),
            Content::List(_) | Content::Map(_) => None,
        }
    }

    fn collection<'de, V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        match self.tree.content(self.node) {
            Content::Map(entries) => visitor.visit_map(Entries { source: self, entries, value: None }),
            Content::List(items) => visitor.visit_seq(Items { source: self, items }),
            Content::Scalar { text, .. } => visitor.visit_str(text),
        }
    }
}

struct Entries<'t> {
    source: NodeDeserializer<'t>,
    entries: &'t [[NodeId; 2]],
    value: Option<(NodeId, NodeId)>,
}

impl<'de> MapAccess<'de> for Entries<'_> {
    type Error = DecodeError;
    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, DecodeError> {
        while let Some((&[key, value], rest)) = self.entries.split_first() {
            self.entries = rest;
            let out = &self.source.left_out;
            if !out.contains(&key) && !out.contains(&value) {
                self.value = Some((key, value));
                return seed.deserialize(self.source.child(key)).map(Some);
            }
        }
        Ok(None)
    }
    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, DecodeError> {
        match self.value.take() {
            Some((key, value)) => {
                let tree = self.source.tree;
                within_limit(tree, tree.text(key), value)?;
                seed.deserialize(self.source.child(value))
            }
            None => Err(de::Error::custom("a value was requested before its key")),
        }
    }
}

struct Items<'t> {
    source: NodeDeserializer<'t>,
    items: &'t [NodeId],
}

impl<'de> SeqAccess<'de> for Items<'_> {
    type Error = DecodeError;
    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, DecodeError> {
        while let Some((&item, rest)) = self.items.split_first() {
            self.items = rest;
            if !self.source.left_out.contains(&item) {
                within_limit(self.source.tree, None, item)?;
                return seed.deserialize(self.source.child(item)).map(Some);
            }
        }
        Ok(None)
    }
}

/// A plain scalar that is a number: those of YAML 1.2's core schema, and `0b` for binary ones.
enum Number {
    Unsigned(u64),
    Signed(i64),
    Float(f64),
}

impl Number {
    fn read(text: &str) -> Option<Self> {
        let (negative, bare) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        if bare.starts_with(['+', '-']) {
            return None;
        }
        for (prefix, radix) in [("0x", 16), ("0o", 8), ("0b", 2)] {
            let Some(digits) = bare.strip_prefix(prefix) else { continue };
            if digits.starts_with(['+', '-']) {
                return None;
            }
            return if negative {
                i64::from_str_radix(&format!("-{digits}"), radix).ok().map(Self::Signed)
            } else {
                u64::from_str_radix(digits, radix).ok().map(Self::Unsigned)
            };
        }
        // `007` is a text (YAML 1.2.2, 10.3.2).
        if bare.len() > 1 && bare.starts_with('0') && bare.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        let whole = if negative { text.parse().map(Self::Signed) } else { bare.parse().map(Self::Unsigned) };
        whole.ok().or_else(|| Self::float(text, bare, negative))
    }

    fn float(text: &str, bare: &str, negative: bool) -> Option<Self> {
        match bare {
            ".inf" | ".Inf" | ".INF" => Some(Self::Float(if negative { f64::NEG_INFINITY } else { f64::INFINITY })),
            ".nan" | ".NaN" | ".NAN" => (text == bare).then_some(Self::Float(f64::NAN)),
            _ => text.parse().ok().filter(|number: &f64| number.is_finite()).map(Self::Float),
        }
    }
}

impl<'de> de::Deserializer<'de> for NodeDeserializer<'_> {
    type Error = DecodeError;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        let node = self.node;
        match self.scalar() {
            Some((_, true)) if self.tree.is_null(node) => visitor.visit_unit(),
            Some((text, true)) => match text {
                "true" | "True" | "TRUE" => visitor.visit_bool(true),
                "false" | "False" | "FALSE" => visitor.visit_bool(false),
                _ => match Number::read(text) {
                    Some(Number::Unsigned(number)) => visitor.visit_u64(number),
                    Some(Number::Signed(number)) => visitor.visit_i64(number),
                    Some(Number::Float(number)) => visitor.visit_f64(number),
                    None => visitor.visit_str(text),
                },
            },
            _ => self.collection(visitor),
        }
        .map_err(|e| e.at(node))
    }

    fn deserialize_str<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        let node = self.node;
        self.collection(visitor).map_err(|e| e.at(node))
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        self.deserialize_str(visitor)
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        if self.tree.is_null(self.node) { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _name: &'static str,
        _variants: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, DecodeError> {
        let node = self.node;
        match self.scalar() {
            Some((text, _)) => visitor.visit_enum(IntoDeserializer::<DecodeError>::into_deserializer(text)),
            None => {
                let (found, expected) = ("a map or a list".to_owned(), "a word".to_owned());
                Err(DecodeError::new(ErrorKind::WrongType { found, expected }))
            }
        }
        .map_err(|e| e.at(node))
    }

    // An empty value is read as an empty list or an empty map, whichever is expected.
    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        let node = self.node;
        if !self.tree.is_null(node) {
            return self.deserialize_any(visitor);
        }
        visitor.visit_seq(Items { source: self, items: &[] }).map_err(|e| e.at(node))
    }

    fn deserialize_map<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        let node = self.node;
        match self.tree.content(node) {
            // serde would use a list for the keys in their order.
            Content::List(_) => Err(de::Error::invalid_type(de::Unexpected::Seq, &visitor)),
            Content::Scalar { .. } if self.tree.is_null(node) => {
                visitor.visit_map(Entries { source: self, entries: &[], value: None })
            }
            _ => self.deserialize_any(visitor),
        }
        .map_err(|e| e.at(node))
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _name: &'static str,
        _fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, DecodeError> {
        self.deserialize_map(visitor)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _name: &'static str,
        visitor: V,
    ) -> Result<V::Value, DecodeError> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_ignored_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        visitor.visit_unit()
    }

    // A key is text, even if it looks like a number: serde would use `0` as the first key of a struct.
    fn deserialize_identifier<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, DecodeError> {
        self.deserialize_str(visitor)
    }

    serde::forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64
        char bytes byte_buf unit unit_struct tuple tuple_struct
    }
}
