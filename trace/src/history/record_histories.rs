//! The histories of records, from the events in their files.

use std::collections::BTreeMap;
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Kind;

use super::log::{Log, RecordEvent};
use super::{ByRoute, Change, CommitIndex, RecordHistory};

/// A record in one file: path, kind, and the range of its fields.
type RecordInFile = (u32, Kind, u32, u32);

struct Builder<'l> {
    log: &'l Log,
    histories: Vec<RecordHistory>,
    /// The history that has each id as its present one.
    named: HashMap<Arc<str>, usize>,
    /// The history of each id, whether the record exists or not.
    by_id: HashMap<u32, usize>,
    /// Whether the record of each history exists.
    exists: Vec<bool>,
    /// The fields of each history after the commits so far.
    last: Vec<HashMap<u32, u32>>,
    /// The path of the file that contains, or last contained, the record of each history.
    paths: Vec<u32>,
    /// The files that contain a record, by path; the first one is used.
    in_files: HashMap<u32, BTreeMap<&'l str, RecordInFile>>,
    /// The number of the string `formerly`.
    formerly: Option<u32>,
}

/// The histories of all records.
pub(super) fn record_histories(log: &Log) -> Vec<RecordHistory> {
    let formerly = log.strings.iter().position(|text| &**text == "formerly").map(|at| at as u32);
    let mut builder = Builder {
        log,
        histories: Vec::new(),
        named: HashMap::new(),
        by_id: HashMap::new(),
        exists: Vec::new(),
        last: Vec::new(),
        paths: Vec::new(),
        in_files: HashMap::new(),
        formerly,
    };
    for events in log.events.chunk_by(|a, b| a.commit == b.commit) {
        builder.add_commit(events);
    }
    let mut histories = builder.histories;
    histories.retain(|history| !history.id.is_empty());
    histories
}

impl<'l> Builder<'l> {
    fn text(&self, string: u32) -> Arc<str> {
        self.log.strings[string as usize].clone()
    }

    fn add_commit(&mut self, events: &[RecordEvent]) {
        let Some(commit) = events.first().map(|event| CommitIndex::new(event.commit as usize)) else { return };
        // In the order of the events, because the numbers of strings depend on what was read before.
        let mut seen = HashSet::default();
        let touched: Vec<u32> = events.iter().map(|event| event.id).filter(|id| seen.insert(*id)).collect();
        let now = |files: &HashMap<u32, BTreeMap<&'l str, RecordInFile>>, id: u32| {
            files.get(&id).and_then(|all| all.values().next().copied())
        };
        let before: Vec<Option<RecordInFile>> = touched.iter().map(|id| now(&self.in_files, *id)).collect();
        for event in events {
            let all = self.in_files.entry(event.id).or_default();
            let path = &*self.log.strings[event.path as usize];
            match event.set {
                Some((kind, begin, end)) => drop(all.insert(path, (event.path, kind, begin, end))),
                None => drop(all.remove(path)),
            }
        }
        let mut added = Vec::new();
        for (id, before) in touched.into_iter().zip(before) {
            match (before, now(&self.in_files, id)) {
                (None, Some(found)) => added.push((id, found)),
                (Some(_), None) => self.remove(id, commit),
                (Some(_), Some(after)) => {
                    if let Some(history) = self.by_id.get(&id).copied() {
                        self.move_to(history, commit, after.0);
                    }
                    self.set_fields(id, commit, after);
                }
                (None, None) => {}
            }
        }
        for (id, found) in added {
            self.add(id, commit, found);
        }
    }

    /// Sets the file of a record, which is a move if it was another one.
    fn move_to(&mut self, history: usize, commit: CommitIndex, path: u32) {
        let before = std::mem::replace(&mut self.paths[history], path);
        if before != path {
            let (from, to) = (self.text(before), self.text(path));
            self.histories[history].moves.push((commit, from, to));
        }
    }

    fn remove(&mut self, id: u32, commit: CommitIndex) {
        if let Some(&history) = self.by_id.get(&id) {
            self.exists[history] = false;
            self.histories[history].removed = Some(commit);
        }
    }

    /// Adds a record that did not exist before: with a new id, again, or for the first time.
    fn add(&mut self, id: u32, commit: CommitIndex, found: RecordInFile) {
        let older = self.older(found);
        // The history of an id that is no longer used continues under the new id.
        let renamed =
            older.iter().copied().find(|history| !self.exists[*history] && self.by_id.get(&id) != Some(history));
        if let (Some(history), None) = (renamed, self.by_id.get(&id)) {
            self.rename(history, id, commit);
        }
        let name = self.text(id);
        let known = self.by_id.get(&id).copied();
        let history = match known.filter(|history| !self.histories[*history].id.is_empty()) {
            Some(history) if self.histories[history].id == name => history,
            // The record has its earlier id again.
            Some(history) if !self.exists[history] => {
                self.rename(history, id, commit);
                history
            }
            // The record that had this id has another one now.
            Some(_) | None => {
                self.named.insert(name.clone(), self.histories.len());
                self.histories.push(RecordHistory {
                    id: name,
                    kind: found.1,
                    older_ids: Vec::new(),
                    renames: Vec::new(),
                    moves: Vec::new(),
                    added: commit,
                    removed: None,
                    returns: Vec::new(),
                    changes: Vec::new(),
                    by_route: ByRoute::default(),
                });
                self.exists.push(true);
                self.last.push(HashMap::new());
                self.paths.push(found.0);
                self.by_id.insert(id, self.histories.len() - 1);
                self.histories.len() - 1
            }
        };
        self.exists[history] = true;
        self.move_to(history, commit, found.0);
        let own = &mut self.histories[history];
        // A rename removes the old id in the same commit.
        let removed = own.removed.take().filter(|removed| *removed < commit);
        own.returns.extend(removed.map(|removed| (removed, commit)));
        self.set_fields(id, commit, found);
    }

    fn rename(&mut self, history: usize, id: u32, commit: CommitIndex) {
        let new = self.text(id);
        self.named.insert(new.clone(), history);
        let old = std::mem::replace(&mut self.histories[history].id, new);
        if self.named.get(&old) == Some(&history) && old != self.histories[history].id {
            self.named.remove(&old);
        }
        self.histories[history].older_ids.push(old.clone());
        self.histories[history].renames.push((commit, old));
        self.by_id.insert(id, history);
    }

    /// The histories of the ids that a record lists under `formerly`.
    fn older(&self, found: RecordInFile) -> Vec<usize> {
        let fields = &self.log.fields[found.2 as usize..found.3 as usize];
        let list = fields.iter().find(|(route, _)| Some(*route) == self.formerly);
        let list = list.map(|(_, text)| self.text(*text)).unwrap_or_default();
        let named = list.split(", ").filter(|id| !id.is_empty());
        named.filter_map(|id| self.named.get(id).copied()).collect()
    }

    /// Adds the changes from the last fields of a record to these.
    fn set_fields(&mut self, id: u32, commit: CommitIndex, found: RecordInFile) {
        let Some(&history) = self.by_id.get(&id) else { return };
        self.histories[history].kind = found.1;
        let fields = &self.log.fields[found.2 as usize..found.3 as usize];
        let mut last = std::mem::take(&mut self.last[history]);
        let mut now = HashMap::with_capacity(fields.len());
        let mut formerly = false;
        for &(route, text) in fields {
            let before = last.remove(&route);
            now.insert(route, text);
            if before != Some(text) {
                formerly |= Some(route) == self.formerly;
                let (route, before, after) = (self.text(route), before.map(|text| self.text(text)), self.text(text));
                self.histories[history].changes.push(Change { commit, route, before, after: Some(after) });
            }
        }
        let mut removed: Vec<(Arc<str>, Arc<str>)> =
            last.into_iter().map(|(route, text)| (self.text(route), self.text(text))).collect();
        removed.sort();
        for (route, text) in removed {
            self.histories[history].changes.push(Change { commit, route, before: Some(text), after: None });
        }
        self.last[history] = now;
        if formerly {
            for older in self.older(found) {
                if older != history
                    && !self.exists[older]
                    && self.histories[older].removed.is_some_and(|removed| removed <= self.histories[history].added)
                {
                    self.join(older, history, id);
                    break;
                }
            }
        }
    }

    /// Joins two histories of one record, if its older id was added under `formerly` after the rename.
    fn join(&mut self, older: usize, later: usize, id: u32) {
        let mut values: HashMap<Arc<str>, Arc<str>> = HashMap::new();
        for change in &self.histories[older].changes {
            match &change.after {
                Some(text) => drop(values.insert(change.route.clone(), text.clone())),
                None => drop(values.remove(&change.route)),
            }
        }
        let mut empty = self.histories[older].clone();
        empty.id = "".into();
        empty.older_ids.clear();
        let history = std::mem::replace(&mut self.histories[later], empty);
        let mut changes = Vec::new();
        for mut change in history.changes {
            if change.commit == history.added {
                change.before = values.remove(&change.route);
                if change.before == change.after {
                    continue;
                }
            }
            changes.push(change);
        }
        let mut dropped: Vec<_> = values.into_iter().collect();
        dropped.sort();
        let dropped = dropped.into_iter().map(|(route, text)| Change {
            commit: history.added,
            route,
            before: Some(text),
            after: None,
        });
        let at = changes.iter().position(|change| change.commit > history.added).unwrap_or(changes.len());
        changes.splice(at..at, dropped);
        self.rename(older, id, history.added);
        self.by_id.insert(id, older);
        self.exists[older] = true;
        self.exists[later] = false;
        self.last.swap(older, later);
        let now = self.text(self.paths[later]);
        let from = self.text(self.paths[older]);
        self.paths[older] = self.paths[later];
        let to = history.moves.first().map_or(now, |(_, from, _)| from.clone());
        if from != to {
            self.histories[older].moves.push((history.added, from, to));
        }
        let joined = &mut self.histories[older];
        let gone = joined.removed.filter(|removed| *removed < history.added);
        joined.returns.extend(gone.map(|removed| (removed, history.added)));
        joined.returns.extend(history.returns);
        joined.removed = history.removed;
        joined.kind = history.kind;
        joined.older_ids.extend(history.older_ids);
        joined.renames.extend(history.renames);
        joined.moves.extend(history.moves);
        joined.changes.extend(changes);
    }
}
