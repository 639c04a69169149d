//! The entries of a map of [`Model`]s, found by their keys.

use foldhash::{HashMap, HashMapExt as _};

use super::model::Model;

/// Up to this number of entries, a scan is faster than an index.
const MOST_SCANNED: usize = 32;

/// The entries of a map in the order of the file.
#[derive(Clone, Debug, Default)]
pub(super) struct Pairs {
    list: Vec<(Model, Model)>,
    /// The first entry with each key, made when a large map is first searched.
    by_key: Option<HashMap<String, usize>>,
}

impl FromIterator<(Model, Model)> for Pairs {
    fn from_iter<I: IntoIterator<Item = (Model, Model)>>(entries: I) -> Self {
        Self { list: entries.into_iter().collect(), by_key: None }
    }
}

impl Pairs {
    pub(super) fn as_slice(&self) -> &[(Model, Model)] {
        &self.list
    }

    /// The first entry with a key.
    pub(super) fn position(&mut self, key: &str) -> Option<usize> {
        if self.list.len() <= MOST_SCANNED {
            return self.list.iter().position(|(own, _)| own.text() == Some(key));
        }
        let by_key = self.by_key.get_or_insert_with(|| {
            let mut all = HashMap::with_capacity(self.list.len());
            for (at, (key, _)) in self.list.iter().enumerate() {
                if let Some(text) = key.text() {
                    all.entry(text.to_owned()).or_insert(at);
                }
            }
            all
        });
        by_key.get(key).copied()
    }

    /// The value at an index.
    pub(super) fn value_mut(&mut self, index: usize) -> Option<&mut Model> {
        self.list.get_mut(index).map(|(_, value)| value)
    }

    /// Adds an entry at the end. Returns its index.
    pub(super) fn push(&mut self, key: Model, value: Model) -> usize {
        let index = self.list.len();
        if let (Some(by_key), Some(text)) = (&mut self.by_key, key.text()) {
            by_key.entry(text.to_owned()).or_insert(index);
        }
        self.list.push((key, value));
        index
    }

    pub(super) fn remove(&mut self, index: usize) {
        self.by_key = None;
        self.list.remove(index);
    }

    pub(super) fn rename(&mut self, index: usize, key: Model) {
        self.by_key = None;
        self.list[index].0 = key;
    }
}
