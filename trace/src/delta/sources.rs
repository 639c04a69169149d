//! The key of a record that gives a value, with its text.

use foldhash::{HashMap, HashMapExt as _};
use schema::records::Amount;

use crate::Loaded;
use crate::ids::{NodeId, RecordId};
use crate::values::{CHANCE, EXPECTED, Key, Origin, Rule, SCORE, Values};

/// A key of a record, with its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EditedKey {
    /// The id of the record; `None` for the settings.
    pub record: Option<String>,
    /// The key, with dots between nested keys.
    pub key: String,
    /// Its text.
    pub text: String,
}

impl EditedKey {
    /// A key of the settings.
    pub(super) fn of_settings(key: String, text: String) -> Self {
        Self { record: None, key, text }
    }

    /// A key of a record.
    pub(super) fn of_record(loaded: &Loaded, record: RecordId, key: String, text: String) -> Self {
        Self { record: Some(loaded.record(record).id.to_string()), key, text }
    }
}

/// The number of fields of records that are kept.
const MOST_KEPT: usize = 1_000_000;

/// The keys of the records of a state that give values. The fields of a record are kept, because it may give many.
pub(super) struct Sources<'s> {
    values: &'s Values,
    fields: HashMap<RecordId, HashMap<String, String>>,
    /// The number of fields in it.
    kept: usize,
}

impl<'s> Sources<'s> {
    pub(super) fn new(values: &'s Values) -> Self {
        Self { values, fields: HashMap::new(), kept: 0 }
    }

    /// The fields of a record by their keys; of several with one key the first.
    fn fields(&mut self, record: RecordId) -> &HashMap<String, String> {
        if self.kept >= MOST_KEPT && !self.fields.contains_key(&record) {
            self.fields.clear();
            self.kept = 0;
        }
        self.fields.entry(record).or_insert_with(|| {
            let mut fields = HashMap::new();
            for (key, text) in self.values.graph.loaded.record(record).body.fields() {
                fields.entry(key).or_insert(text);
            }
            self.kept += fields.len();
            fields
        })
    }

    /// The first of these keys that the record has.
    fn first(&mut self, record: RecordId, keys: &[String]) -> Option<EditedKey> {
        let fields = self.fields(record);
        let (key, text) = keys.iter().find_map(|key| Some((key, fields.get(key)?.clone())))?;
        Some(EditedKey::of_record(&self.values.graph.loaded, record, key.clone(), text))
    }

    /// The key that gives the value of a node, and the record that it is in.
    pub(super) fn source(&mut self, node: NodeId) -> Option<(RecordId, EditedKey)> {
        let values = self.values;
        let loaded = &*values.graph.loaded;
        let (record, keys): (RecordId, Vec<String>) = match &values.keys[node] {
            Key::Group(..) | Key::NotInParts(_) => return None,
            Key::Part(part, number) => {
                let name = &values.amounts()[usize::from(*number)];
                let text = amount(loaded, *part, name)?.value.to_string();
                return Some((*part, EditedKey::of_record(loaded, *part, format!("amounts.{name}.value"), text)));
            }
            Key::Local(record, name) if **name == *CHANCE => (*record, vec!["chance".to_owned()]),
            Key::Local(record, name) if **name == *EXPECTED => (*record, vec!["expect".to_owned()]),
            Key::Local(record, name) if **name == *SCORE => {
                (*record, ["score.formula", "score.use", "expect"].map(str::to_owned).to_vec())
            }
            Key::Local(record, name) => {
                let roots = loaded.record(*record).body.own_names().into_iter();
                let named = roots.map(|(keys, _)| format!("{}.{name}", keys.join(".")));
                let own = [name.to_string(), format!("score.{name}")];
                (*record, named.chain(own).chain(["score.use".to_owned()]).collect())
            }
            Key::Record(record) => {
                let (from, keys): (RecordId, &[&str]) = match values.origin(*record) {
                    Origin::Result(result) => {
                        let driven = values.graph.driven(*record).into_iter().rfind(|driven| driven.result == result);
                        let key = driven.map_or_else(|| "value".to_owned(), |driven| format!("reads.{}", driven.name));
                        return Some((result, self.first(result, &[key])?));
                    }
                    Origin::Analysis(analysis) => {
                        let found = format!("finds.{}", loaded.record(*record).id);
                        let is_model = matches!(values.network.nodes[node].rule, Rule::Model { .. });
                        let key = if is_model { "model".to_owned() } else { found };
                        let keys = [key, "formula".to_owned(), "model".to_owned()];
                        return Some((analysis, self.first(analysis, &keys)?));
                    }
                    Origin::Formula => (*record, &["formula"]),
                    Origin::Total => (*record, &["total"]),
                    _ if matches!(values.network.nodes[node].rule, Rule::Chance) => (*record, &["chance"]),
                    Origin::Estimate => (*record, &["estimate", "expect"]),
                    Origin::Score => (*record, &["score.formula", "score.use"]),
                    Origin::Events | Origin::None => return None,
                };
                (from, keys.iter().map(|key| (*key).to_owned()).collect())
            }
        };
        Some((record, self.first(record, &keys)?))
    }
}

/// An amount of a part by its name.
pub(super) fn amount<'l>(loaded: &'l Loaded, part: RecordId, name: &str) -> Option<&'l Amount> {
    loaded.part(part)?.amounts.get(name)
}

/// The first key under `given` of an analysis whose text or table differs between two states.
pub(super) fn differing_input(base: &Loaded, head: &Loaded, old: RecordId, new: RecordId) -> Option<[EditedKey; 2]> {
    let (was, is) = (base.analysis(old)?, head.analysis(new)?);
    is.given.iter().find_map(|(name, text)| {
        let before = was.given.get(name.as_str())?;
        let same_table = base.tables.get(before.text()) == head.tables.get(text.text());
        let key =
            |loaded, record, text: &str| EditedKey::of_record(loaded, record, format!("given.{name}"), text.to_owned());
        (before != text || !same_table).then(|| [key(base, old, before.text()), key(head, new, text.text())])
    })
}
