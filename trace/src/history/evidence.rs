//! What the numbers that are read from evidence files were at each commit: a changed file is a changed number.
//!
//! The fields of a record say where a number is read (`value.from`, `value.column`). From them and the file at the commit
//! follows its text, which becomes a field of the record like a number that is typed (`value`). So all that looks at the
//! history of a number sees both alike.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::records::Reading;
use schema::{Kind, Quantity};
use serde_json::{Map, Value};

use super::log::{Log, TableEvent};
use super::{Change, CommitIndex, History, RecordHistory};
use crate::evidence;
use crate::git::walk::CommitSource;
use crate::load::Loaded;
use crate::snapshot::inside;
use crate::table;

/// The number of bytes of earlier versions of files that are read for a history; each version counts as at least
/// [`LEAST`] of them.
const MOST_BYTES: usize = 128 << 20;
const LEAST: usize = 32 << 10;

/// The files that records read numbers from.
pub(super) fn files(loaded: &Loaded) -> Vec<String> {
    let records = loaded.entries.iter().flat_map(|entry| entry.record.body.readings());
    let all: BTreeSet<String> = records.filter_map(|(_, figure)| inside(&figure.reading()?.from)).collect();
    all.into_iter().collect()
}

/// Adds the numbers that were read to the records of a history and of its branches.
pub(super) fn add_numbers(history: &mut History, log: &Log, source: CommitSource<'_>) {
    let mut versions = Versions { source, texts: HashMap::new(), tables: table::Tables::new(MOST_BYTES) };
    add_to_chain(history, log, &mut versions, &|_| None);
}

/// `before` gives the blob of a file before the chain.
fn add_to_chain(
    history: &mut History,
    log: &Log,
    versions: &mut Versions<'_>,
    before: &dyn Fn(&str) -> Option<String>,
) {
    let mut tables = Tables { log, by_path: HashMap::new(), before };
    let has_numbers = |log: &Log| log.strings.iter().any(|text| text.ends_with(".from"));
    if !has_numbers(log) && !log.branches.iter().any(|branch| has_numbers(&branch.log)) {
        return;
    }
    for event in &log.tables {
        tables.by_path.entry(&log.strings[event.path as usize]).or_default().push(*event);
    }
    for record in &mut history.records {
        let is_number = |route: &str| match record.kind {
            Kind::Result => route == "value",
            Kind::Part => route.starts_with("amounts.") && route.ends_with(".value"),
            Kind::Analysis => route.starts_with("finds."),
            Kind::Decision => {
                route.starts_with("alternatives.") && route.contains(".sets.") && route.ends_with(".value")
            }
            Kind::Goal
            | Kind::Event
            | Kind::System
            | Kind::Target
            | Kind::Requirement
            | Kind::Revision
            | Kind::Waiver => false,
        };
        let routes = record.changes.iter().filter_map(|change| change.route.strip_suffix(".from"));
        let routes: BTreeSet<String> = routes.filter(|route| is_number(route)).map(str::to_owned).collect();
        if !routes.is_empty() {
            add_numbers_of(record, &routes, &tables, versions);
        }
    }
    let mut places: HashMap<&str, u32> = HashMap::new();
    for (place, commit) in log.commits.iter().enumerate() {
        places.entry(&commit.id).or_insert(place as u32);
    }
    for (branch, own) in history.branches.iter_mut().zip(&log.branches) {
        let fork = own.log.commits.first().and_then(|fork| places.get(fork.id.as_str()).copied());
        let fork = fork.unwrap_or(own.merge);
        add_to_chain(&mut branch.history, &own.log, versions, &|path| tables.blob_at(path, fork));
    }
}

/// The tables of a chain of commits.
struct Tables<'l> {
    log: &'l Log,
    by_path: HashMap<&'l str, Vec<TableEvent>>,
    before: &'l dyn Fn(&str) -> Option<String>,
}

impl Tables<'_> {
    fn events(&self, path: &str) -> &[TableEvent] {
        self.by_path.get(path).map_or(&[], Vec::as_slice)
    }

    /// The blob of a table after a commit.
    fn blob_at(&self, path: &str, commit: u32) -> Option<String> {
        let events = self.events(path);
        let blob = match events.partition_point(|event| event.commit <= commit).checked_sub(1) {
            Some(last) => events[last].new,
            None => match events.first() {
                Some(first) => first.old,
                None => return (self.before)(path),
            },
        };
        blob.map(|blob| self.log.strings[blob as usize].to_string())
    }
}

/// Adds the changes of the numbers of a record, given their routes.
fn add_numbers_of(
    record: &mut RecordHistory,
    routes: &BTreeSet<String>,
    tables: &Tables<'_>,
    versions: &mut Versions<'_>,
) {
    // Of each number, its own changes and those of the keys below it.
    let mut of_routes: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (at, change) in record.changes.iter().enumerate() {
        let ends = change.route.match_indices('.').map(|(end, _)| end).chain([change.route.len()]);
        for route in ends.filter_map(|end| routes.get(&change.route[..end])) {
            of_routes.entry(route).or_default().push(at);
        }
    }
    let (mut dropped, mut new) = (HashSet::default(), Vec::new());
    for (route, own) in of_routes {
        add_number(&mut record.changes, (route, &own), (&mut dropped, &mut new), (tables, versions));
    }
    let mut at = 0..;
    record.changes.retain(|_| at.next().is_none_or(|at| !dropped.contains(&at)));
    record.changes.extend(new);
    record.changes.sort_by_key(|change| change.commit);
}

/// Adds the changes of one number, given its route, and its present changes by their indices.
fn add_number(
    changes: &mut [Change],
    (route, own): (&str, &[usize]),
    (dropped, new): (&mut HashSet<usize>, &mut Vec<Change>),
    (tables, versions): (&Tables<'_>, &mut Versions<'_>),
) {
    let below = |change: &Change| {
        let rest = change.route.strip_prefix(route)?.strip_prefix('.')?;
        Some(rest.to_owned())
    };
    let mut commits: BTreeSet<CommitIndex> = BTreeSet::new();
    let mut first: Option<CommitIndex> = None;
    for change in own.iter().map(|at| &changes[*at]) {
        let Some(key) = below(change) else {
            commits.insert(change.commit);
            continue;
        };
        first = first.or(Some(change.commit)).min(Some(change.commit));
        commits.insert(change.commit);
        if let (true, Some(path)) = (key == "from", change.after.as_deref().and_then(inside)) {
            commits.extend(tables.events(&path).iter().map(|event| CommitIndex::new(event.commit as usize)));
        }
    }
    let mut keys: BTreeMap<String, Arc<str>> = BTreeMap::new();
    // The keys as the text by which known numbers are found; `None` until they are asked for.
    let mut shown: Option<Arc<str>> = None;
    let mut own = own.iter().copied().peekable();
    // The text of the number, and whether it was typed.
    let mut last: Option<(Arc<str>, bool)> = None;
    for commit in commits {
        let mut typed = None;
        while let Some(at) = own.next_if(|at| changes[*at].commit <= commit) {
            let Some(key) = below(&changes[at]) else {
                typed = Some(at);
                continue;
            };
            shown = None;
            match &changes[at].after {
                Some(text) => drop(keys.insert(key, text.clone())),
                None => drop(keys.remove(&key)),
            }
        }
        if let Some(path) = keys.get("from").map(|path| inside(path).unwrap_or_default()) {
            // The number that was typed before is not removed, but read.
            if let Some(at) = typed {
                last = changes[at].before.clone().map(|text| (text, true)).or(last);
                dropped.insert(at);
            }
            let found = first
                .is_some_and(|first| first <= commit)
                .then(|| versions.text(&keys, &mut shown, &path, tables.blob_at(&path, commit.index() as u32)));
            let Some(text) = found.flatten() else { continue };
            if !last.as_ref().is_some_and(|(before, typed)| *before == text || (*typed && rounds_to(&text, before))) {
                let before = last.take().map(|(text, _)| text);
                new.push(Change { commit, route: route.into(), before, after: Some(text.clone()) });
                last = Some((text, false));
            }
        } else if let Some(at) = typed {
            let change = &mut changes[at];
            change.before = change.before.take().or(last.map(|(text, _)| text));
            last = change.after.clone().map(|text| (text, true));
        } else if let Some((before, _)) = last.take_if(|(_, typed)| !*typed) {
            new.push(Change { commit, route: route.into(), before: Some(before), after: None });
        }
    }
}

/// Whether a number that is read is the one that was typed, to its last digit.
fn rounds_to(read: &str, typed: &str) -> bool {
    let (Ok(read), Ok(typed)) = (Quantity::parse(read), Quantity::parse(typed)) else { return false };
    read.unit().dimension() == typed.unit().dimension()
        && (read.si() - typed.si()).abs() <= typed.half_of_last_digit() * (1.0 + 1e-9)
}

/// The numbers of versions of files, each read once.
struct Versions<'s> {
    source: CommitSource<'s>,
    texts: HashMap<(String, Arc<str>), Option<Arc<str>>>,
    tables: table::Tables,
}

impl Versions<'_> {
    /// The text of a number from its keys and the blob of its file.
    fn text(
        &mut self,
        keys: &BTreeMap<String, Arc<str>>,
        shown: &mut Option<Arc<str>>,
        path: &str,
        blob: Option<String>,
    ) -> Option<Arc<str>> {
        if let Some(typed) = keys.get("typed") {
            return Some(typed.clone());
        }
        let blob = blob?;
        let shown = shown.get_or_insert_with(|| format!("{keys:?}").into());
        let key = (format!("{path}:{blob}"), Arc::clone(shown));
        if let Some(known) = self.texts.get(&key) {
            return known.clone();
        }
        let text = self.read(keys, path, &blob);
        self.texts.insert(key, text.clone());
        text
    }

    fn read(&mut self, keys: &BTreeMap<String, Arc<str>>, path: &str, blob: &str) -> Option<Arc<str>> {
        let reading = reading(keys)?;
        let name = format!("{path}:{blob}");
        if let Some(known) = evidence::read_known(&reading, &name, &mut self.tables) {
            return Some(known.ok()?.quantity.text().into());
        }
        let snapshot = self.source.snapshot;
        let now = snapshot.read(path);
        let is_now = |bytes: &Arc<[u8]>| blob.is_empty() || snapshot.is_object(bytes, blob);
        let content = match now.filter(|now| now.as_ref().is_ok_and(is_now)) {
            Some(now) => now.clone(),
            None => {
                self.tables.take_bytes(LEAST).then_some(())?;
                self.source.blobs(&[blob]).ok()?.pop()?
            }
        };
        let taken = evidence::read(&reading, Some(&content), &name, &mut self.tables).ok()?;
        Some(taken.quantity.text().into())
    }
}

/// The keys of a number as they were in its record.
fn reading(keys: &BTreeMap<String, Arc<str>>) -> Option<Reading> {
    let (mut all, mut conditions) = (Map::new(), Map::new());
    let mut parts: BTreeMap<&str, Value> = BTreeMap::new();
    for (key, text) in keys {
        let value = Value::from(&**text);
        match key.split_once('.') {
            None if key == "instrument" => {
                let texts = text.split(", ").map(Value::from);
                all.insert(key.clone(), texts.collect());
            }
            None => drop(all.insert(key.clone(), value)),
            Some(("where", column)) => drop(conditions.insert(column.to_owned(), value)),
            // One map, or a list whose items are counted from 1.
            Some(("instrument", rest)) => match rest.split_once('.') {
                Some((at, kind)) => drop(parts.insert(at, Map::from_iter([(kind.to_owned(), value)]).into())),
                None if rest.bytes().all(|byte| byte.is_ascii_digit()) => drop(parts.insert(rest, value)),
                None => drop(parts.insert("", Map::from_iter([(rest.to_owned(), value)]).into())),
            },
            Some(_) => return None,
        }
    }
    if !parts.is_empty() {
        all.insert("instrument".to_owned(), parts.into_values().collect());
    }
    all.insert("where".to_owned(), conditions.into());
    serde_json::from_value(all.into()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_keys_of_a_record_as_fields() {
        let read = |keys: &[(&str, &str)]| {
            let keys = keys.iter().map(|(key, text)| ((*key).to_owned(), Arc::from(*text))).collect();
            reading(&keys).unwrap()
        };
        let record = "results: {r: {of: t, date: 2027-01-01, value: {from: a.csv, column: x, unit: s, take: 95 %, where: {a.b: 1, run: \
                      ok}, instrument: [0.01 s, {within: 0.02 s}], typed: 4 s}}}";
        let all = schema::read::records(record.as_bytes());
        let schema::Body::Result(result) = &all.records[0].body else { panic!("{:?}", all.problems) };
        let flat = schema::read::flat::records(record.as_bytes()).unwrap();
        let keys: Vec<(&str, &str)> =
            flat[0].fields.iter().filter_map(|(key, text)| Some((key.strip_prefix("value.")?, &**text))).collect();
        assert_eq!(Some(&read(&keys)), result.value.as_ref().unwrap().reading());
        let one = [("from", "a.csv"), ("instrument.expanded", "0.01 s")];
        assert_eq!(read(&one).instrument.0.len(), 1);
        let two = [("from", "a.csv"), ("instrument", "0.01 s, 0.02 s")];
        assert_eq!(read(&two).instrument.0.len(), 2);
    }

    #[test]
    fn a_typed_number_is_the_one_that_is_read_to_its_last_digit() {
        assert!(rounds_to("4.3083 s ± 0.0021 s", "4.31 s") && !rounds_to("4.3183 s", "4.31 s"));
        assert!(rounds_to("4308.3 ms", "4.31 s") && !rounds_to("4.31 kg", "4.31 s"));
    }
}
