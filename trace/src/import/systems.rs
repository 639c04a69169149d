//! The systems that a sheet has and the records do not.

use foldhash::{HashMap, HashSet};
use schema::edit::Value;
use schema::records::Body;
use schema::words::{CAR, to_kebab_case};
use schema::{Id, Kind, Record};

use super::rows::Item;
use crate::load::Loaded;
use crate::spreadsheet::Name;

/// The reason that the team has to give; `no-reason` reports it until then.
const REASON: &str = "todo";

/// The largest number of systems around one another.
const DEEPEST: usize = 100;

/// A system that the import adds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewSystem {
    /// Its id.
    pub id: Id,
    /// The text of the sheet that names it.
    pub title: Option<String>,
    /// The lead, if all its parts have the same one in the sheet.
    pub lead: Option<String>,
    /// What its parts serve, with a reason that is left to the team: the only target of the car.
    pub serves: Option<Id>,
}

impl NewSystem {
    /// Its keys.
    pub(super) fn record(&self) -> Value {
        let mut keys: Vec<(String, Value)> = Vec::new();
        keys.extend(self.title.as_deref().map(|title| ("title".to_owned(), Value::text(super::one_line(title)))));
        keys.push(("in".to_owned(), Value::plain(CAR)));
        keys.extend(self.lead.as_deref().map(|lead| ("lead".to_owned(), Value::text(super::one_line(lead)))));
        if let Some(target) = &self.serves {
            let serves = Value::Map(vec![(target.to_string(), Value::plain(REASON))]);
            keys.push(("for-parts".to_owned(), Value::Map(vec![("serves".to_owned(), serves)])));
        }
        Value::Map(keys)
    }

    /// The system of a text of a sheet.
    pub(super) fn of_section(id: Id, title: Option<String>, serves: Option<Id>) -> Self {
        Self { id, title, lead: None, serves }
    }
}

/// A system of the records, to be found by a text of a sheet.
pub(super) struct Known<'l> {
    /// Its id.
    pub(super) id: &'l str,
    /// Its title as it is compared.
    pub(super) title: Option<String>,
    /// The words of its id and title.
    pub(super) words: Vec<String>,
}

impl<'l> Known<'l> {
    /// A record, if it is a system.
    pub(super) fn of(record: &'l Record) -> Option<Self> {
        if record.kind() != Kind::System {
            return None;
        }
        let id = record.id.as_str();
        let title = record.body.common().title().unwrap_or_default();
        let words = [stems(id), stems(&to_kebab_case(title).unwrap_or_default())].concat();
        Some(Self { id, title: (!title.is_empty()).then(|| Name::of(title).folded), words })
    }
}

/// The words of an id, without the ends of their plurals and without short ones.
pub(super) fn stems(id: &str) -> Vec<String> {
    let words = id.split('-').filter(|word| word.len() > 2);
    words.map(|word| word.strip_suffix('s').unwrap_or(word).to_owned()).collect()
}

/// The systems of rows that the records do not have, in the order of the sheet.
pub(super) fn missing(loaded: &Loaded, items: &[Item]) -> Vec<NewSystem> {
    let mut all: Vec<NewSystem> = Vec::new();
    let mut places: HashMap<&Id, usize> = HashMap::default();
    let serves = only_target(loaded);
    // Whether the parts of a system differ in their lead.
    let mut differing: HashSet<usize> = HashSet::default();
    for item in items.iter().filter(|item| loaded.find(item.system.as_str()).is_none()) {
        if item.system.as_str() == CAR {
            continue;
        }
        let at = *places.entry(&item.system).or_insert_with(|| {
            let system = NewSystem::of_section(item.system.clone(), item.section.clone(), serves.clone());
            all.push(NewSystem { lead: item.lead.clone(), ..system });
            all.len() - 1
        });
        if all[at].lead != item.lead {
            differing.insert(at);
        }
    }
    for at in differing {
        all[at].lead = None;
    }
    all
}

/// The file for new systems: that with most systems, otherwise `systems.yaml`.
pub(super) fn file(loaded: &Loaded) -> String {
    let mut counts: HashMap<&str, usize> = HashMap::default();
    for entry in loaded.entries.iter().filter(|entry| entry.record.kind() == Kind::System) {
        *counts.entry(loaded.path(entry.file)).or_default() += 1;
    }
    // Of equal files the first in the order of their paths.
    let most = counts.into_iter().max_by(|(a, m), (b, n)| m.cmp(n).then_with(|| b.cmp(a)));
    most.map_or_else(|| format!("{}.yaml", Kind::System.plural()), |(path, _)| path.to_owned())
}

/// The target of the car, if there is exactly one: of several the team decides.
pub(super) fn only_target(loaded: &Loaded) -> Option<Id> {
    let of_car = |record: &&Record| match &record.body {
        Body::Target(target) => target.of.as_ref().is_some_and(|of| of.as_str() == CAR),
        _ => false,
    };
    let mut targets = loaded.entries.iter().map(|entry| &*entry.record).filter(of_car);
    let only = targets.next().filter(|_| targets.next().is_none());
    only.map(|record| record.id.clone())
}

/// The leads that parts inherit from their systems.
pub(super) struct Leads<'l> {
    loaded: &'l Loaded,
    new: HashMap<String, Option<String>>,
}

impl<'l> Leads<'l> {
    pub(super) fn new(loaded: &'l Loaded, systems: &[NewSystem]) -> Self {
        let new = systems.iter().map(|system| (system.id.to_string(), system.lead.clone())).collect();
        Self { loaded, new }
    }

    /// The lead of a system, or of a system around it.
    pub(super) fn of(&self, system: &Id) -> Option<&str> {
        if let Some(lead) = self.new.get(system.as_str()) {
            return lead.as_deref();
        }
        let mut at = self.loaded.find(system.as_str());
        for _ in 0..DEEPEST {
            let record = self.loaded.record(at?);
            if let Some(lead) = record.body.common().lead().filter(|lead| !lead.trim().is_empty()) {
                return Some(lead);
            }
            at = record.about().and_then(|about| self.loaded.find(about.as_str()));
        }
        None
    }
}
