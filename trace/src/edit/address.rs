//! A value as it is typed: `front-upright.mass`, `car-mass.verify.due`, `roll-run.informs.2`.

use schema::edit::{Change, Value};
use schema::read::places;
use schema::read::tree::{Content, NodeId, Tree};
use schema::records::Body;
use schema::renamed::{self, Use};
use schema::suggest;
use schema::words::shorten;

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
        let record = find(loaded, id)?;
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
            }
        }
        let route = [kind.plural(), id].into_iter().chain(keys).map(str::to_owned).collect();
        Ok(Self { record, route })
    }

    /// The change that sets it. A map with a `value`, such as an amount with its basis, keeps its other keys.
    pub fn set(&self, loaded: &Loaded, value: Value) -> Change {
        let mut route = self.route.clone();
        let is_long = with_tree(loaded, self.record, |tree| {
            let node = node_at(tree, &route)?;
            tree.entry(node, "value").map(|_| ())
        });
        if is_long.is_some() && matches!(value, Value::Scalar { .. }) {
            route.push("value".to_owned());
        }
        Change::set(route, value)
    }

    /// The text of the value; `None` if there is none, or if it is a list or a map.
    pub fn text(&self, loaded: &Loaded) -> Option<String> {
        with_tree(loaded, self.record, |tree| tree.text(node_at(tree, &self.route)?).map(str::to_owned))
    }
}

/// The record with an id.
///
/// # Errors
/// There is none.
pub(super) fn find(loaded: &Loaded, id: &str) -> Result<RecordId, Error> {
    loaded.find(id).ok_or_else(|| {
        let help = suggest::did_you_mean(id, loaded.ids(), "`tierod graph --format json` lists all records");
        Error::new(format!("no record with id `{}`", shorten(id))).help(help)
    })
}

/// Asks the tree of the file that a record is in.
pub(super) fn with_tree<T>(loaded: &Loaded, record: RecordId, ask: impl FnOnce(&Tree<'_>) -> Option<T>) -> Option<T> {
    let file = &loaded.snapshot.files[loaded.entries[record].file.index()];
    ask(&places(file.content.as_ref().ok()?)?)
}

/// The node at the end of a route of keys and items.
pub(super) fn node_at(tree: &Tree<'_>, route: &[String]) -> Option<NodeId> {
    let mut node = tree.root()?;
    for step in route {
        node = match tree.content(node) {
            Content::Map(_) => tree.entry(node, step)?[1],
            Content::List(items) => {
                let by_text = items.iter().find(|item| tree.text(**item) == Some(step)).copied();
                by_text.or_else(|| items.get(step.parse::<usize>().ok()?.checked_sub(1)?).copied())?
            }
            Content::Scalar { .. } => return None,
        };
    }
    Some(node)
}

/// The keys that a record has in its file.
fn keys_of(loaded: &Loaded, record: RecordId) -> Vec<String> {
    let own = loaded.record(record);
    let route = [own.kind().plural().to_owned(), own.id.to_string()];
    let keys = with_tree(loaded, record, |tree| {
        let entries = tree.entries(node_at(tree, &route)?);
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
