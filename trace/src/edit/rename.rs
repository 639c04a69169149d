//! A record under another id: the id itself, every key, list and formula that names it, and `formerly`.

use foldhash::HashSet;
use schema::edit::{self, Change, Value};
use schema::formula::Formula;
use schema::read::places;
use schema::read::tree::{Content, NodeId};
use schema::records::{Body, Expression, Kind};
use schema::settings::FILE;
use schema::settings::deck::Deck;
use schema::words::CAR;
use schema::{Id, Record};

use super::Edits;
use super::address::node_at;
use crate::graph::named_in;
use crate::trees::Trees;
use crate::{Error, Loaded, RecordId};

/// A text that has an id in it and is not changed, because it is prose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mention {
    /// The record.
    pub record: RecordId,
    /// The keys below it.
    pub route: Vec<String>,
}

/// Gives a record another id, with everything that names it.
///
/// # Errors
/// No such record; an id that is invalid, or that another record has or had; a name that cannot be replaced.
pub fn rename(edits: &mut Edits, old: &str, new: &str) -> Result<RecordId, Error> {
    let loaded = edits.loaded();
    let record = loaded.named(old)?;
    let new = Id::new(new).map_err(Error::new)?;
    if new.as_str() == CAR || new.as_str() == old {
        let why = if new.as_str() == CAR { "is the whole car" } else { "is the id already" };
        return Err(Error::new(format!("`{new}` {why}")).help("use another id"));
    }
    let other = loaded.find(new.as_str()).or_else(|| loaded.renamed(new.as_str()).filter(|other| *other != record));
    if let Some(other) = other {
        let other = loaded.record(other);
        let how = if other.id == new { "has" } else { "had" };
        let message = format!("{} {how} the id `{new}`", other.name());
        return Err(Error::new(message).help("use another id"));
    }
    if loaded.damaged.contains_key(new.as_str()) {
        return Err(Error::new(format!("a record with read errors has the id `{new}`")).help("use another id"));
    }
    let mut changes: Vec<(String, Change)> = Vec::new();
    let mut trees = Trees::new(loaded);
    for (from, _) in loaded.records() {
        let path = edits.path_of(from);
        changes.extend(
            names(loaded, &mut trees, from, [old, new.as_str()])?.into_iter().map(|change| (path.to_owned(), change)),
        );
    }
    if loaded.record(record).kind() == Kind::System {
        let settings = in_settings(loaded, old).into_iter();
        changes.extend(settings.map(|at| (FILE.to_owned(), Change::replace_name(at, old, new.as_str()))));
    }
    // A decision or a budget can be a slide of the talk.
    if matches!(loaded.record(record).kind(), Kind::Decision | Kind::Target) && !Deck::is_usual(old) {
        for (keys, _) in loaded.settings().deck.names().filter(|(_, id)| id.as_str() == old) {
            let at = keys.into_iter().chain([old]);
            let is_key = keys.ends_with(&["slides"]);
            let change =
                if is_key { Change::rename_key(at, new.as_str()) } else { Change::replace_name(at, old, new.as_str()) };
            changes.push((FILE.to_owned(), change));
        }
    }
    let path = edits.path_of(record).to_owned();
    let own = loaded.record(record);
    let base = [own.kind().plural().to_owned(), old.to_owned()];
    let formerly: Vec<String> = own.body.common().formerly().iter().map(ToString::to_string).collect();
    let key = |keys: &[&str]| {
        base.iter().map(String::as_str).chain(keys.iter().copied()).map(str::to_owned).collect::<Vec<_>>()
    };
    // A record that gets an earlier id back does not have it as an earlier one.
    if formerly.iter().any(|former| former == new.as_str()) {
        let rest = formerly.iter().filter(|former| *former != new.as_str());
        let rest: Vec<Value> = rest.chain([&old.to_owned()]).map(|id| Value::plain(id.as_str())).collect();
        changes.push((path.clone(), Change::set(key(&["formerly"]), Value::List(rest))));
    } else {
        changes.push((path.clone(), Change::append(key(&["formerly"]), Value::plain(old))));
    }
    changes.push((path, Change::rename_key(key(&[]), new.as_str())));
    for (path, change) in changes {
        edits.change(&path, change);
    }
    Ok(record)
}

/// The texts of the settings that name a system: those of an import, for the systems of a sheet.
fn in_settings(loaded: &Loaded, id: &str) -> Vec<Vec<String>> {
    let Some(Ok(bytes)) = loaded.snapshot.files.first().map(|file| &file.content) else { return Vec::new() };
    let Some(tree) = places(bytes) else { return Vec::new() };
    let mut all = Vec::new();
    let imports = tree.root().and_then(|root| tree.entry(root, "imports"));
    let mut rest: Vec<(NodeId, Vec<String>)> =
        imports.iter().map(|[_, node]| (*node, vec!["imports".to_owned()])).collect();
    while let Some((node, at)) = rest.pop() {
        if tree.text(node) == Some(id)
            && matches!(at.as_slice(), [.., key, names, _] if key == "in" && names == "names")
        {
            all.push(at.clone());
        }
        rest.extend(tree.entries(node).iter().rev().map(|[key, value]| {
            let step = tree.text(*key).unwrap_or_default().to_owned();
            (*value, at.iter().cloned().chain([step]).collect())
        }));
    }
    all
}

/// The changes of one record that names another one.
fn names(loaded: &Loaded, trees: &mut Trees<'_>, from: RecordId, [old, new]: [&str; 2]) -> Result<Vec<Change>, Error> {
    let record = loaded.record(from);
    let base = [record.kind().plural(), record.id.as_str()];
    let mut all: Vec<Change> = Vec::new();
    let is_named = |name: &str| name == old || name.strip_prefix(old).is_some_and(|rest| rest.starts_with('.'));
    let renamed = |name: &str| format!("{new}{}", &name[old.len()..]);
    let mut known: HashSet<Change> = HashSet::default();
    let mut add = |change: Change| {
        if known.insert(change.clone()) {
            all.push(change);
        }
    };
    for (route, to) in named_in(record) {
        if !is_named(to) {
            continue;
        }
        let whole: Vec<String> = base.iter().copied().chain(route.iter().copied()).map(str::to_owned).collect();
        let (last, above) = match whole.split_last() {
            Some((last, above)) => (last.clone(), above.to_vec()),
            None => continue,
        };
        let is_key = last == *to
            && trees.of_record(from).is_some_and(|tree| {
                node_at(tree, &above).is_some_and(|node| matches!(tree.content(node), Content::Map(_)))
            });
        if is_key {
            add(Change::rename_key(whole, &renamed(to)));
        } else {
            let at = text_of(trees, from, whole);
            add(Change::replace_name(at, old, new));
        }
    }
    for (route, text) in expressions(record) {
        let Ok(formula) = Formula::parse(text) else { continue };
        let used: Vec<&str> = formula.names().iter().map(|name| &*name.text).filter(|name| is_named(name)).collect();
        if used.is_empty() {
            continue;
        }
        let cannot = |cause: String, help: &str| {
            let message = format!("cannot rename `{old}` in {}.{}", record.id, route.join("."));
            Err(Error::new(message).because(cause).help(help))
        };
        if formula.unit_names().iter().any(|unit| *unit.text == *old) {
            return cannot(format!("`{old}` is a unit there, too"), "write the formula without one of them first");
        }
        // The name that a text defines means a record in it, and every other name of the record itself is its own.
        let defines = |id: &str| matches!(route.as_slice(), [.., "given" | "reads", name] if *name == id);
        let is_own = |id: &str| is_local(record, id) && !defines(id);
        let bare = used.contains(&old) && !is_own(old);
        if bare && is_own(new) {
            return cannot(format!("`{new}` is another value there"), "use another id, or rename that input first");
        }
        let at: Vec<String> = base.iter().copied().chain(route.iter().copied()).map(str::to_owned).collect();
        let at = text_of(trees, from, at);
        if bare {
            add(Change::replace_name(at, old, new));
        } else {
            for name in used.into_iter().filter(|name| *name != old) {
                add(Change::replace_name(at.clone(), name, &renamed(name)));
            }
        }
    }
    Ok(all)
}

/// The route of the text that has a name in it: below a `value` if the key has a map.
fn text_of(trees: &mut Trees<'_>, from: RecordId, route: Vec<String>) -> Vec<String> {
    let below = trees.of_record(from).and_then(|tree| {
        let node = node_at(tree, &route)?;
        (!tree.is_scalar(node)).then(|| tree.entry(node, "value").map(|_| "value"))?
    });
    route.into_iter().chain(below.map(str::to_owned)).collect()
}

/// Whether an id is the name of an input of a record's own formula.
fn is_local(record: &Record, id: &str) -> bool {
    record.body.own_names().iter().any(|(_, names)| names.get(id).is_some())
}

/// Whether a formula of a record names another one. A name of the record's own means no other.
pub(super) fn formulas_name(record: &Record, id: &str) -> bool {
    let is_named = |name: &str| name == id || name.strip_prefix(id).is_some_and(|rest| rest.starts_with('.'));
    let names =
        |text: &str| Formula::parse(text).is_ok_and(|formula| formula.names().iter().any(|name| is_named(&name.text)));
    expressions(record).iter().any(|(_, text)| names(text)) && !is_local(record, id)
}

/// Every formula of a record, with its keys.
fn expressions(record: &Record) -> Vec<(Vec<&str>, &str)> {
    let mut all: Vec<(Vec<&str>, &str)> = Vec::new();
    match &record.body {
        Body::Target(target) => {
            all.extend(target.formula.iter().map(|formula| (vec!["formula"], formula.text())));
            all.extend(target.given.iter().map(|(name, value)| (vec!["given", name.as_str()], value.text())));
        }
        Body::Analysis(analysis) => {
            all.extend(analysis.formula.iter().map(|formula| (vec!["formula"], formula.text())));
            // The other inputs of a model are files, units and words, in which an id may be by chance.
            let model = analysis.model.as_ref().and_then(|model| models::find(model.as_str()));
            let is_number = |name: &str| {
                model.and_then(|model| model.input(name)).is_none_or(|input| matches!(input.kind, models::Kind::Number))
            };
            let given = analysis.given.iter().filter(|(name, _)| is_number(name.as_str()));
            all.extend(given.map(|(name, value)| (vec!["given", name.as_str()], value.text())));
            if let Some(schema::records::Finds::Values(values)) = &analysis.finds {
                all.extend(values.iter().map(|(name, value)| (vec!["finds", name.as_str()], value.text())));
            }
        }
        Body::Event(event) => {
            all.extend(event.reads.iter().map(|(name, value)| (vec!["reads", name.as_str()], value.text())));
            all.extend(event.chance.iter().map(|chance| (vec!["chance"], chance.text())));
            if let Some(score) = &event.score {
                let own = [("formula", &score.formula), ("no-finish", &score.no_finish)];
                for (key, text) in own {
                    all.extend(text.iter().map(|text: &Expression| (vec!["score", key], text.text())));
                }
                let given = score.given.iter();
                all.extend(given.map(|(name, value)| (vec!["score", "given", name.as_str()], value.text())));
            }
        }
        Body::Goal(_)
        | Body::System(_)
        | Body::Requirement(_)
        | Body::Part(_)
        | Body::Decision(_)
        | Body::Result(_)
        | Body::Revision(_)
        | Body::Waiver(_) => {}
    }
    all
}

/// The prose that has an id in it: titles, reasons, notes and comments on evidence, which stay as they are.
pub fn mentions(loaded: &Loaded, id: &str) -> Vec<Mention> {
    let mut all = Vec::new();
    let mut trees = Trees::new(loaded);
    for (record, own) in loaded.records() {
        let route = vec![own.kind().plural().to_owned(), own.id.to_string()];
        let found = trees.of_record(record).and_then(|tree| {
            let mut found = Vec::new();
            let node = node_at(tree, &route)?;
            let is_prose = |text: &str| text.contains(' ') && edit::mentions(text, id) && Formula::parse(text).is_err();
            let mut rest = vec![(node, Vec::new())];
            while let Some((node, at)) = rest.pop() {
                match tree.content(node) {
                    Content::Scalar { text, .. } if is_prose(text) => found.push(at),
                    Content::Scalar { .. } => {}
                    Content::Map(entries) => rest.extend(entries.iter().rev().map(|[key, value]| {
                        let step = tree.text(*key).unwrap_or_default().to_owned();
                        (*value, at.iter().cloned().chain([step]).collect())
                    })),
                    Content::List(items) => {
                        rest.extend(items.iter().enumerate().rev().map(|(number, item)| {
                            (*item, at.iter().cloned().chain([(number + 1).to_string()]).collect())
                        }));
                    }
                }
            }
            Some(found)
        });
        all.extend(found.unwrap_or_default().into_iter().map(|route| Mention { record, route }));
    }
    all
}
