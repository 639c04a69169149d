//! A map that keeps the order of the file and rejects a key that appears twice.

use std::borrow::Cow;
use std::fmt;
use std::hash::Hash;
use std::marker::PhantomData;
use std::sync::OnceLock;

use foldhash::{HashSet, HashSetExt as _};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use serde::ser::{Serialize, Serializer};

/// Up to this number of entries, a scan is faster than a search in their order by key.
const MOST_SCANNED: usize = 32;

/// The positions of entries, in the order of their keys.
#[derive(Clone)]
struct ByKey(Vec<u32>);

/// A map in the order of the file, without duplicate keys.
#[derive(Clone)]
pub struct Entries<K, V> {
    list: Vec<(K, V)>,
    /// Made when a value of a large map is first looked up.
    by_key: OnceLock<Box<ByKey>>,
}

impl<K, V> From<Vec<(K, V)>> for Entries<K, V> {
    fn from(list: Vec<(K, V)>) -> Self {
        Self { list, by_key: OnceLock::new() }
    }
}

impl<K, V> Default for Entries<K, V> {
    fn default() -> Self {
        Self::from(Vec::new())
    }
}

impl<K: fmt::Debug, V: fmt::Debug> fmt::Debug for Entries<K, V> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("Entries").field(&self.list).finish()
    }
}

impl<K: PartialEq, V: PartialEq> PartialEq for Entries<K, V> {
    fn eq(&self, other: &Self) -> bool {
        self.list == other.list
    }
}

impl<K, V> Entries<K, V> {
    /// The entries in the order of the file.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = (&K, &V)> + Clone {
        self.list.iter().map(|(k, v)| (k, v))
    }

    /// The entries in the order of the file, to change their values.
    pub fn iter_mut(&mut self) -> impl Iterator<Item = (&K, &mut V)> {
        self.list.iter_mut().map(|(k, v)| (&*k, v))
    }

    /// Removes the entries for which the function is false.
    pub fn retain(&mut self, keep: impl Fn(&K, &V) -> bool) {
        self.list.retain(|(k, v)| keep(k, v));
        self.by_key.take();
    }

    /// The keys in the order of the file.
    pub fn keys(&self) -> impl ExactSizeIterator<Item = &K> + Clone {
        self.list.iter().map(|(k, _)| k)
    }

    /// The number of entries.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    /// Whether there are no entries.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
}

impl<K: std::borrow::Borrow<str>, V> Entries<K, V> {
    /// The value of a key.
    pub fn get(&self, key: &str) -> Option<&V> {
        if self.list.len() <= MOST_SCANNED {
            return self.list.iter().find(|(k, _)| k.borrow() == key).map(|(_, v)| v);
        }
        let ByKey(order) = &**self.by_key.get_or_init(|| Box::new(self.sorted()));
        let key_at = |at: u32| self.list[at as usize].0.borrow();
        // Of equal keys, which only a map from a list can have, the first one counts.
        let at = *order.get(order.partition_point(|&at| key_at(at) < key))?;
        (key_at(at) == key).then(|| &self.list[at as usize].1)
    }

    fn sorted(&self) -> ByKey {
        let mut order: Vec<u32> = (0..).take(self.list.len()).collect();
        order.sort_by(|&a, &b| self.list[a as usize].0.borrow().cmp(self.list[b as usize].0.borrow()));
        ByKey(order)
    }
}

impl<K, V> FromIterator<(K, V)> for Entries<K, V> {
    fn from_iter<I: IntoIterator<Item = (K, V)>>(entries: I) -> Self {
        Self::from(entries.into_iter().collect::<Vec<_>>())
    }
}

impl<K, V> IntoIterator for Entries<K, V> {
    type Item = (K, V);
    type IntoIter = std::vec::IntoIter<(K, V)>;
    fn into_iter(self) -> Self::IntoIter {
        self.list.into_iter()
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
                Ok(Entries::from(entries))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_of_large_maps_are_found_by_key() {
        let name = |number: usize| format!("k{}", number * 7 % 101);
        for count in [MOST_SCANNED, MOST_SCANNED + 1, 101] {
            let mut all: Entries<String, usize> = (0..count).map(|number| (name(number), number)).collect();
            for number in 0..101 {
                assert_eq!(all.get(&name(number)).copied(), Some(number).filter(|number| *number < count), "{count}");
            }
            let copy = all.clone();
            all.retain(|_, number| number % 2 == 0);
            assert_eq!((all.get(&name(2)), all.get(&name(1)), copy.get(&name(1))), (Some(&2), None, Some(&1)));
            assert_ne!(all, copy);
            assert_eq!(copy, (0..count).map(|number| (name(number), number)).collect());
        }
        let twice: Entries<String, usize> = (0..100).map(|number| (format!("k{}", number / 2), number)).collect();
        assert_eq!(twice.get("k7"), Some(&14), "the first one");
    }
}
