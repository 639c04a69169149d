//! A record that is to be added: the file that it belongs in, and what is wrong with it before it is written.

use std::sync::Arc;

use foldhash::HashMap;
use schema::Kind;
use schema::edit::{Change, Value, edit};
use schema::read::ProblemKind;

use crate::graph::Graph;
use crate::load::Loaded;
use crate::snapshot::Snapshot;
use crate::{Error, RecordId, Study};

/// A record that is to be added.
#[derive(Clone, Debug)]
pub struct NewRecord {
    /// Its kind.
    pub kind: Kind,
    /// Its id.
    pub id: String,
    /// Its keys, in the order in which they are written.
    pub keys: Vec<(String, Value)>,
}

/// A problem with a key of a new record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeyProblem {
    /// The keys below the record.
    pub route: Vec<String>,
    /// Whether the key is required and missing.
    pub is_missing: bool,
    /// Whether it names a record that does not exist.
    pub is_unknown: bool,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// A state with the new record in one of its files, not written yet.
#[derive(Debug)]
pub struct Draft {
    snapshot: Snapshot,
}

impl NewRecord {
    /// Sets the value at the end of a route of keys. A value with keys below it is put under `value`, as the mass of a part
    /// that gets a basis.
    ///
    /// # Errors
    /// The key has a value already.
    pub fn set(&mut self, route: &[&str], value: Value) -> Result<(), Error> {
        fn set_below(keys: &mut Vec<(String, Value)>, route: &[&str], value: Value) -> bool {
            let Some((first, rest)) = route.split_first() else { return false };
            let found = keys.iter().position(|(key, _)| key == first);
            match (found, rest.is_empty()) {
                (Some(at), true) => match &mut keys[at].1 {
                    Value::Map(own) if own.iter().all(|(key, _)| key != "value") => {
                        own.insert(0, ("value".to_owned(), value));
                        true
                    }
                    _ => false,
                },
                (None, true) => {
                    keys.push(((*first).to_owned(), value));
                    true
                }
                (Some(at), false) => {
                    if let Value::Scalar { .. } = &keys[at].1 {
                        let scalar = std::mem::replace(&mut keys[at].1, Value::Map(Vec::new()));
                        keys[at].1 = Value::Map(vec![("value".to_owned(), scalar)]);
                    }
                    match &mut keys[at].1 {
                        Value::Map(own) => set_below(own, rest, value),
                        _ => false,
                    }
                }
                (None, false) => {
                    let mut own = Vec::new();
                    let done = set_below(&mut own, rest, value);
                    keys.push(((*first).to_owned(), Value::Map(own)));
                    done
                }
            }
        }
        if set_below(&mut self.keys, route, value) {
            return Ok(());
        }
        Err(Error::new(format!("`{}` is set twice", route.join("."))).help("give each key once"))
    }

    /// The record that it is about, or belongs to: `of` or `in`.
    fn about(&self) -> Option<&str> {
        self.keys.iter().find(|(key, _)| key == "of" || key == "in").and_then(|(_, value)| match value {
            Value::Scalar { text, .. } => Some(text.as_str()),
            _ => None,
        })
    }

    /// The file that it belongs in: that with most records of its kind about the same record, otherwise in the same section
    /// of the car, otherwise of its kind; a file named after the kind if there is none.
    pub fn file(&self, study: &Study) -> String {
        let loaded = &study.loaded;
        let about = self.about();
        let mut sections: HashMap<RecordId, Option<RecordId>> = HashMap::default();
        let mut section = |of: &str| {
            let of = loaded.find(of)?;
            *sections.entry(of).or_insert_with(|| section(study, of))
        };
        let own_section = about.and_then(&mut section);
        let mut files: Vec<(usize, [usize; 3])> = Vec::new();
        let mut places: HashMap<usize, usize> = HashMap::default();
        for (index, record) in loaded.records().filter(|(_, record)| record.kind() == self.kind) {
            let file = loaded.file(index).index();
            let at = *places.entry(file).or_insert_with(|| {
                files.push((file, [0; 3]));
                files.len() - 1
            });
            let counts = &mut files[at].1;
            let of = record.about().map(|id| id.as_str());
            counts[0] += usize::from(about.is_some() && of == about);
            counts[1] += usize::from(own_section.is_some() && of.and_then(&mut section) == own_section);
            counts[2] += 1;
        }
        // Of equal files, the first in the order of their paths.
        let most = files.iter().rev().max_by_key(|(_, counts)| *counts);
        let file = most.and_then(|(file, _)| loaded.snapshot.files.get(*file));
        file.map_or_else(|| format!("{}.yaml", self.kind.plural()), |file| file.path.clone())
    }

    /// The change of its file.
    pub fn change(&self) -> Change {
        Change::add_record(self.kind, &self.id, self.keys.iter().cloned())
    }

    /// The state with the record in a file.
    ///
    /// # Errors
    /// A record with this id exists; a file that cannot be read, or is not a record file; a text that cannot be edited.
    pub fn draft(&self, loaded: &Loaded, path: &str) -> Result<Draft, Error> {
        if let Some(other) = loaded.find(&self.id) {
            let record = loaded.record(other);
            let file = loaded.path(loaded.file(other));
            return Err(Error::new(format!("`{}` already exists: a {} in {file}", self.id, record.kind()))
                .help("use another id: ids are unique over all kinds"));
        }
        let snapshot = &loaded.snapshot;
        let known = snapshot.files.iter().skip(1).find(|file| file.path == path);
        let before = match known.map(|file| &file.content) {
            None => None,
            Some(Ok(bytes)) => Some(Arc::clone(bytes)),
            Some(Err(problem)) => {
                let error = Error::new(format!("{path} cannot be read")).because(&problem.message);
                return Err(error.help(problem.help.clone()));
            }
        };
        let text = match &before {
            None => "",
            Some(bytes) => std::str::from_utf8(bytes)
                .map_err(|error| Error::new(format!("{path} cannot be read")).because(error))?,
        };
        let after = edit(text, &[self.change()]).map_err(|error| {
            Error::new(format!("`{}` cannot be added to {path}", self.id)).because(&error).help(error.help())
        })?;
        let changed = snapshot.with_file(path, after.as_bytes());
        if before.is_none() && !changed.files.iter().skip(1).any(|file| file.path == path) {
            let error = Error::new(format!("{path} is not a record file of this project"));
            return Err(
                error.help("give a path in the project root that ends in .yaml and that `ignore:` does not match")
            );
        }
        Ok(Draft { snapshot: changed })
    }
}

/// The outermost system around a record, as an id; the record itself if it is one.
fn section(study: &Study, index: RecordId) -> Option<RecordId> {
    let systems = std::iter::once(index).chain(study.graph.enclosing(index));
    systems.filter(|around| study.loaded.system(*around).is_some()).last()
}

impl Draft {
    /// What is wrong with the keys of the record: what the reader reports, and names of records that are not there.
    pub fn problems(&self, id: &str) -> Vec<KeyProblem> {
        let loaded = Arc::new(Loaded::from_snapshot(self.snapshot.clone()));
        let own = loaded.problems.iter().map(|one| &one.problem).filter(|one| one.record.as_deref() == Some(id));
        let mut all: Vec<KeyProblem> = own
            .map(|problem| KeyProblem {
                route: problem.route.iter().skip(2).cloned().collect(),
                is_missing: problem.kind == ProblemKind::MissingKey,
                is_unknown: false,
                message: problem.message.clone(),
                help: problem.help.clone(),
            })
            .collect();
        if let Some(index) = loaded.find(id) {
            for broken in Graph::new(&loaded).broken.iter().filter(|broken| broken.from == index) {
                all.push(KeyProblem {
                    route: broken.route.clone(),
                    is_missing: false,
                    is_unknown: broken.missing.is_some(),
                    message: broken.message.clone(),
                    help: broken.help.clone(),
                });
            }
        }
        all
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::File;
    use schema::Day;

    fn study(files: &[(&str, &str)]) -> Study {
        let files =
            files.iter().map(|(path, text)| File { path: (*path).to_owned(), content: Ok(text.as_bytes().into()) });
        let loaded = Loaded::from_snapshot(Snapshot::in_memory(files.collect()));
        Study::without_history(loaded, Day::parse("2027-03-19").unwrap())
    }

    fn record(kind: Kind, keys: &[(&str, &str)]) -> NewRecord {
        let mut new = NewRecord { kind, id: "new".to_owned(), keys: Vec::new() };
        for (route, value) in keys {
            new.set(&route.split('.').collect::<Vec<_>>(), Value::typed(value)).unwrap();
        }
        new
    }

    #[test]
    fn a_record_goes_beside_those_it_is_like() {
        let car = study(&[
            ("brakes.yaml", "systems: {brakes: {in: car}}\nparts: {disc: {in: brakes}}\n"),
            ("results/brakes.yaml", "results: {m1: {of: disc}}\n"),
            ("results/engine.yaml", "results: {m2: {of: block}, m3: {of: block}}\n"),
            (
                "engine.yaml",
                "systems: {engine: {in: car}, oil: {in: engine}}\nparts: {block: {in: engine}, pump: {in: oil}}\n",
            ),
        ]);
        let file = |kind, keys: &[(&str, &str)]| record(kind, keys).file(&car);
        assert_eq!(file(Kind::Part, &[("in", "brakes")]), "brakes.yaml");
        assert_eq!(file(Kind::Part, &[("in", "oil")]), "engine.yaml");
        assert_eq!(file(Kind::Result, &[("of", "disc")]), "results/brakes.yaml");
        // No result is about the pump, but two are in its section.
        assert_eq!(file(Kind::Result, &[("of", "pump")]), "results/engine.yaml");
        assert_eq!(file(Kind::Decision, &[("of", "pump")]), "decisions.yaml");
    }

    #[test]
    fn routes_become_maps() {
        let new = record(
            Kind::Part,
            &[
                ("in", "brakes"),
                ("amounts.mass", "0.6 kg"),
                ("amounts.mass.basis", "drawn"),
                ("serves.stop", "It brakes."),
            ],
        );
        let draft = new.draft(&study(&[("a.yaml", "parts:\n  disc: {in: brakes}\n")]).loaded, "a.yaml").unwrap();
        let loaded = Loaded::from_snapshot(draft.snapshot);
        let part = loaded.part(loaded.find("new").unwrap()).unwrap();
        let mass = part.amounts.get("mass").unwrap();
        assert_eq!((mass.value.quantity().unwrap().text(), mass.basis.as_ref().unwrap().as_str()), ("0.6 kg", "drawn"));
        let twice =
            NewRecord { keys: vec![("in".to_owned(), Value::typed("x"))], ..new }.set(&["in"], Value::typed("y"));
        assert!(twice.is_err());
    }

    #[test]
    fn problems_name_their_key() {
        let car = study(&[("a.yaml", "systems: {brakes: {in: car}}\n")]);
        let new = record(Kind::Part, &[("in", "braks"), ("count", "many")]);
        let problems = new.draft(&car.loaded, "a.yaml").unwrap().problems("new");
        let routes: Vec<String> = problems.iter().map(|problem| problem.route.join(".")).collect();
        assert_eq!(routes, ["count", "in"], "{problems:?}");
        assert!(problems[1].help.contains("brakes"), "{problems:?}");
        let empty = record(Kind::Part, &[("title", "Disc")]).draft(&car.loaded, "b.yaml").unwrap();
        assert!(empty.problems("new").iter().any(|problem| problem.is_missing && problem.route == ["in"]));
    }
}
