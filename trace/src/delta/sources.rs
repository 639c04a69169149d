//! The key of a record that gives a value, with its text.

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

    /// The first of these keys that the record has.
    fn first(loaded: &Loaded, record: RecordId, keys: &[String]) -> Option<Self> {
        let mut fields = loaded.record(record).body.fields();
        let at = keys.iter().find_map(|key| fields.iter().position(|(route, _)| route == key))?;
        let (key, text) = fields.swap_remove(at);
        Some(Self::of_record(loaded, record, key, text))
    }
}

/// An amount of a part by its name.
pub(super) fn amount<'l>(loaded: &'l Loaded, part: RecordId, name: &str) -> Option<&'l Amount> {
    loaded.part(part)?.amounts.get(name)
}

/// The key that gives the value of a node, and the record that it is in.
pub(super) fn source(values: &Values, node: NodeId) -> Option<(RecordId, EditedKey)> {
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
                    return Some((result, EditedKey::first(loaded, result, &[key])?));
                }
                Origin::Analysis(analysis) => {
                    let found = format!("finds.{}", loaded.record(*record).id);
                    let is_model = matches!(values.network.nodes[node].rule, Rule::Model { .. });
                    let key = if is_model { "model".to_owned() } else { found };
                    let keys = [key, "formula".to_owned(), "model".to_owned()];
                    return Some((analysis, EditedKey::first(loaded, analysis, &keys)?));
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
    Some((record, EditedKey::first(loaded, record, &keys)?))
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
