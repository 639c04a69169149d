//! A value as it is typed: `front-upright.mass`, `car-mass.verify.due`, `roll-run.informs.2`.

use schema::Quantity;
use schema::edit::{Change, Value};
use schema::read::tree::{Content, NodeId, Tree};
use schema::records::Body;
use schema::renamed::{self, Use};
use schema::words::shorten;

use super::amount_meant;
use crate::trees::of_record;
use crate::{Error, Loaded, RecordId};

/// The record and the keys that a text names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Address {
    /// The record.
    pub record: RecordId,
    /// The keys from the top of its file: kind, id, and those of the record.
    pub route: Vec<String>,
}

impl Address {
    /// Finds what a text names: the id of a record, and its keys behind dots. Below a part, the name of an amount is
    /// enough (`front-upright.mass`).
    ///
    /// # Errors
    /// No such record; no key.
    pub fn parse(loaded: &Loaded, text: &str) -> Result<Self, Error> {
        let (id, keys) = text.split_once('.').unwrap_or((text, ""));
        let record = loaded.named(id)?;
        if keys.is_empty() || keys.split('.').any(str::is_empty) {
            let help = format!("add a key of the record after a dot, for example `{id}.title`");
            return Err(Error::new(format!("`{}` names no key", shorten(text))).help(help));
        }
        let kind = loaded.record(record).kind();
        let mut keys: Vec<&str> = keys.split('.').collect();
        let own = keys_of(loaded, record);
        let first = keys[0];
        if !own.iter().any(|key| key == first) {
            if is_amount(loaded, record, first) {
                keys.insert(0, "amounts");
            } else if let Some(new) = renamed::new_name(Use::Key(kind), first) {
                keys[0] = new;
            } else if let Some(meant) = amount_meant(kind, first).filter(|_| keys.len() == 1) {
                let message = format!("`{first}` is not a key of a part");
                return Err(Error::new(message).help(format!("write `{id}.{meant}`: amounts are below their name")));
            }
        }
        let base = [kind.plural().to_owned(), id.to_owned()];
        let below = of_record(loaded, record).and_then(|tree| Some(joined(&tree, node_at(&tree, &base)?, &keys)));
        let below = below.unwrap_or_else(|| keys.iter().map(|key| (*key).to_owned()).collect());
        Ok(Self { record, route: base.into_iter().chain(below).collect() })
    }

    /// The change that sets it. A map with a `value`, such as an amount with its basis, keeps its other keys.
    pub fn set(&self, loaded: &Loaded, value: Value) -> Change {
        let mut route = self.route.clone();
        let is_long = of_record(loaded, self.record).and_then(|tree| {
            let node = node_at(&tree, &route)?;
            tree.entry(node, "value").map(|_| ())
        });
        if is_long.is_some() && matches!(value, Value::Scalar { .. }) {
            route.push("value".to_owned());
        }
        Change::set(route, value)
    }

    /// The keys below the record.
    pub fn keys(&self) -> &[String] {
        self.route.get(2..).unwrap_or_default()
    }

    /// The keys that a record has.
    pub(super) fn own_keys(loaded: &Loaded, record: RecordId) -> Vec<String> {
        keys_of(loaded, record)
    }

    /// Whether there is something.
    pub(super) fn exists(&self, loaded: &Loaded) -> bool {
        of_record(loaded, self.record).and_then(|tree| node_at(&tree, &self.route)).is_some()
    }

    /// The quantity that is there, also one under `value`.
    pub(super) fn quantity(&self, loaded: &Loaded) -> Option<Quantity> {
        let text = of_record(loaded, self.record).and_then(|tree| {
            let node = node_at(&tree, &self.route)?;
            let node = tree.entry(node, "value").map_or(node, |[_, value]| value);
            tree.text(node).map(str::to_owned)
        })?;
        Quantity::parse(&text).ok()
    }

    /// The text of the value; `None` if there is none, or if it is a list or a map.
    pub fn text(&self, loaded: &Loaded) -> Option<String> {
        of_record(loaded, self.record).and_then(|tree| tree.text(node_at(&tree, &self.route)?).map(str::to_owned))
    }
}

/// Keys with a dot in them, as an amount under `sets`, are one step if the map has them.
fn joined(tree: &Tree<'_>, node: NodeId, keys: &[&str]) -> Vec<String> {
    if keys.is_empty() {
        return Vec::new();
    }
    let known = (2..=keys.len()).rev().find(|count| tree.entry(node, &keys[..*count].join(".")).is_some());
    let (own, rest) = keys.split_at(known.unwrap_or(1));
    let step = own.join(".");
    let below = match node_below(tree, node, &step) {
        Some(below) => joined(tree, below, rest),
        None => rest.iter().map(|key| (*key).to_owned()).collect(),
    };
    std::iter::once(step).chain(below).collect()
}

/// The node at the end of a route of keys and items.
pub(super) fn node_at(tree: &Tree<'_>, route: &[String]) -> Option<NodeId> {
    let mut node = tree.root()?;
    for step in route {
        node = node_below(tree, node, step)?;
    }
    Some(node)
}

/// The value of a key, or the item with a text or a number.
fn node_below(tree: &Tree<'_>, node: NodeId, step: &str) -> Option<NodeId> {
    match tree.content(node) {
        Content::Map(_) => tree.entry(node, step).map(|[_, value]| value),
        Content::List(items) => {
            let by_text = items.iter().find(|item| tree.text(**item) == Some(step)).copied();
            by_text.or_else(|| items.get(step.parse::<usize>().ok()?.checked_sub(1)?).copied())
        }
        Content::Scalar { .. } => None,
    }
}

/// The keys that a record has in its file.
fn keys_of(loaded: &Loaded, record: RecordId) -> Vec<String> {
    let own = loaded.record(record);
    let route = [own.kind().plural().to_owned(), own.id.to_string()];
    let keys = of_record(loaded, record).and_then(|tree| {
        let entries = tree.entries(node_at(&tree, &route)?);
        Some(entries.iter().filter_map(|[key, _]| tree.text(*key).map(str::to_owned)).collect())
    });
    keys.unwrap_or_default()
}

/// Whether a name is that of an amount of parts.
fn is_amount(loaded: &Loaded, record: RecordId, name: &str) -> bool {
    let has = |body: &Body| matches!(body, Body::Part(part) if part.amounts.get(name).is_some());
    matches!(loaded.record(record).body, Body::Part(_))
        && (loaded.settings().growth.get(name).is_some() || loaded.entries.iter().any(|entry| has(&entry.record.body)))
}
