//! A map that keeps the order of the file and rejects a key that appears twice.

use std::borrow::Cow;
use std::fmt;
use std::hash::Hash;
use std::marker::PhantomData;

use foldhash::{HashSet, HashSetExt as _};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use serde::ser::{Serialize, Serializer};

/// A map in the order of the file, without duplicate keys.
#[derive(Clone, Debug, PartialEq)]
pub struct Entries<K, V>(Vec<(K, V)>);

impl<K, V> Default for Entries<K, V> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<K, V> Entries<K, V> {
    /// The entries in the order of the file.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = (&K, &V)> + Clone {
        self.0.iter().map(|(k, v)| (k, v))
    }

    /// The entries in the order of the file, to change their values.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = (&K, &mut V)> {
        self.0.iter_mut().map(|(k, v)| (&*k, v))
    }

    /// Removes the entries for which the function is false.
    pub fn retain(&mut self, keep: impl Fn(&K, &V) -> bool) {
        self.0.retain(|(k, v)| keep(k, v));
    }

    /// The keys in the order of the file.
    pub fn keys(&self) -> impl ExactSizeIterator<Item = &K> {
        self.0.iter().map(|(k, _)| k)
    }

    /// The number of entries.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there are no entries.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl<K: std::borrow::Borrow<str>, V> Entries<K, V> {
    /// The value of a key.
    pub fn get(&self, key: &str) -> Option<&V> {
        self.0.iter().find(|(k, _)| k.borrow() == key).map(|(_, v)| v)
    }
}

impl<K, V> FromIterator<(K, V)> for Entries<K, V> {
    fn from_iter<I: IntoIterator<Item = (K, V)>>(entries: I) -> Self {
        Self(entries.into_iter().collect())
    }
}

impl<K, V> IntoIterator for Entries<K, V> {
    type Item = (K, V);
    type IntoIter = std::vec::IntoIter<(K, V)>;
    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}

impl<'de, K, V> Deserialize<'de> for Entries<K, V>
where
    K: Deserialize<'de> + Eq + Hash + Clone + fmt::Display,
    V: Deserialize<'de>,
{
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Map<K, V>(PhantomData<(K, V)>);
        impl<'de, K, V> Visitor<'de> for Map<K, V>
        where
            K: Deserialize<'de> + Eq + Hash + Clone + fmt::Display,
            V: Deserialize<'de>,
        {
            type Value = Entries<K, V>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map")
            }
            // `serves:` without a value is an empty map: a key that is written first and filled later.
            fn visit_unit<E: de::Error>(self) -> Result<Self::Value, E> {
                Ok(Entries::default())
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut entries: Vec<(K, V)> = Vec::new();
                let mut seen = HashSet::new();
                while let Some(key) = map.next_key::<K>()? {
                    // Most maps have a few entries, for which a scan is faster than hashing.
                    let duplicate = if entries.len() < 12 {
                        entries.iter().any(|(k, _)| *k == key)
                    } else {
                        if seen.is_empty() {
                            seen.extend(entries.iter().map(|(k, _)| k.clone()));
                        }
                        !seen.insert(key.clone())
                    };
                    if duplicate {
                        return Err(de::Error::custom(format_args!("`{key}` appears twice")));
                    }
                    entries.push((key, map.next_value()?));
                }
                Ok(Entries(entries))
            }
        }
        if deserializer.is_human_readable() {
            deserializer.deserialize_any(Map(PhantomData))
        } else {
            deserializer.deserialize_map(Map(PhantomData))
        }
    }
}

impl<K: Serialize, V: Serialize> Serialize for Entries<K, V> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.iter())
    }
}

impl<K: JsonSchema, V: JsonSchema> JsonSchema for Entries<K, V> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("EntriesOf{}", V::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let keys = generator.subschema_for::<K>();
        let values = generator.subschema_for::<V>();
        json_schema!({"type": ["object", "null"], "propertyNames": keys, "additionalProperties": values})
    }
}
