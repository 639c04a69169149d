//! From events in files to the lives of records.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Kind;

use super::log::{Log, RecordEvent};
use super::{Change, Life};

/// A record as one file has it: path, kind, and where its fields lie.
type Held = (u32, Kind, u32, u32);

struct Builder<'l> {
    log: &'l Log,
    lives: Vec<Life>,
    /// The life of an id, alive or not.
    of: HashMap<u32, usize>,
    alive: Vec<bool>,
    /// The fields at the end of each life, as far as it was told.
    last: Vec<HashMap<u32, u32>>,
    /// The files that hold a record, the first by its path counts.
    held: HashMap<u32, Vec<Held>>,
    formerly: Option<u32>,
}

/// Tells the lives of all records.
pub(super) fn lives(log: &Log) -> Vec<Life> {
    let formerly = log.strings.iter().position(|text| &**text == "formerly").map(|at| at as u32);
    let mut builder = Builder {
        log,
        lives: Vec::new(),
        of: HashMap::new(),
        alive: Vec::new(),
        last: Vec::new(),
        held: HashMap::new(),
        formerly,
    };
    for events in log.events.chunk_by(|a, b| a.step == b.step) {
        builder.step(events);
    }
    let mut lives = builder.lives;
    lives.retain(|life| !life.id.is_empty());
    lives
}

impl Builder<'_> {
    fn text(&self, string: u32) -> Arc<str> {
        self.log.strings[string as usize].clone()
    }

    fn step(&mut self, events: &[RecordEvent]) {
        let Some(step) = events.first().map(|event| event.step as usize) else { return };
        // In the order of the events: the numbers of strings depend on what was read before.
        let mut seen = HashSet::default();
        let touched: Vec<u32> = events.iter().map(|event| event.id).filter(|id| seen.insert(*id)).collect();
        let now = |held: &HashMap<u32, Vec<Held>>, id: u32| held.get(&id).and_then(|all| all.first().copied());
        let before: Vec<Option<Held>> = touched.iter().map(|id| now(&self.held, *id)).collect();
        for event in events {
            let all = self.held.entry(event.id).or_default();
            all.retain(|(path, ..)| *path != event.path);
            if let Some((kind, begin, end)) = event.set {
                all.push((event.path, kind, begin, end));
                let strings = &self.log.strings;
                all.sort_by(|a, b| strings[a.0 as usize].cmp(&strings[b.0 as usize]));
            }
        }
        let mut born = Vec::new();
        for (id, before) in touched.into_iter().zip(before) {
            match (before, now(&self.held, id)) {
                (None, Some(held)) => born.push((id, held)),
                (Some(_), None) => self.end(id, step),
                (Some(before), Some(after)) => {
                    if before.0 != after.0 {
                        let (from, to) = (self.text(before.0), self.text(after.0));
                        if let Some(life) = self.of.get(&id).copied() {
                            self.lives[life].moves.push((step, from, to));
                        }
                    }
                    self.change(id, step, after);
                }
                (None, None) => {}
            }
        }
        for (id, held) in born {
            self.begin(id, step, held);
        }
    }

    fn end(&mut self, id: u32, step: usize) {
        if let Some(&life) = self.of.get(&id) {
            self.alive[life] = false;
            self.lives[life].removed = Some(step);
        }
    }

    /// A record is there that was not: under a new name, again, or for the first time.
    fn begin(&mut self, id: u32, step: usize, held: Held) {
        let older = self.older(held);
        // A name that was given up goes on under the new one.
        let renamed = older.iter().copied().find(|life| !self.alive[*life] && self.of.get(&id) != Some(life));
        if let (Some(life), None) = (renamed, self.of.get(&id)) {
            self.rename(life, id, step);
        }
        let life = match self.of.get(&id) {
            Some(&life) => life,
            None => {
                self.lives.push(Life {
                    id: self.text(id),
                    kind: held.1,
                    older_ids: Vec::new(),
                    renames: Vec::new(),
                    moves: Vec::new(),
                    added: step,
                    removed: None,
                    changes: Vec::new(),
                });
                self.alive.push(true);
                self.last.push(HashMap::new());
                self.of.insert(id, self.lives.len() - 1);
                self.lives.len() - 1
            }
        };
        self.alive[life] = true;
        self.lives[life].removed = None;
        self.change(id, step, held);
    }

    fn rename(&mut self, life: usize, id: u32, step: usize) {
        let new = self.text(id);
        let old = std::mem::replace(&mut self.lives[life].id, new);
        self.lives[life].older_ids.push(old.clone());
        self.lives[life].renames.push((step, old));
        self.of.insert(id, life);
    }

    /// The lives that a record names as its own under older ids.
    fn older(&self, held: Held) -> Vec<usize> {
        let fields = &self.log.fields[held.2 as usize..held.3 as usize];
        let list = fields.iter().find(|(route, _)| Some(*route) == self.formerly);
        let list = list.map(|(_, text)| self.text(*text)).unwrap_or_default();
        let named = list.split(", ").filter(|id| !id.is_empty());
        let lives = named.filter_map(|id| self.lives.iter().position(|life| *life.id == *id));
        lives.collect()
    }

    /// The fields of a record become these.
    fn change(&mut self, id: u32, step: usize, held: Held) {
        let Some(&life) = self.of.get(&id) else { return };
        self.lives[life].kind = held.1;
        let fields = &self.log.fields[held.2 as usize..held.3 as usize];
        let mut last = std::mem::take(&mut self.last[life]);
        let mut now = HashMap::with_capacity(fields.len());
        let mut formerly = false;
        for &(route, text) in fields {
            let before = last.remove(&route);
            now.insert(route, text);
            if before != Some(text) {
                formerly |= Some(route) == self.formerly;
                let (route, before, after) = (self.text(route), before.map(|text| self.text(text)), self.text(text));
                self.lives[life].changes.push(Change { step, route, before, after: Some(after) });
            }
        }
        let mut removed: Vec<(Arc<str>, Arc<str>)> =
            last.into_iter().map(|(route, text)| (self.text(route), self.text(text))).collect();
        removed.sort();
        for (route, text) in removed {
            self.lives[life].changes.push(Change { step, route, before: Some(text), after: None });
        }
        self.last[life] = now;
        if formerly {
            for older in self.older(held) {
                if older != life
                    && !self.alive[older]
                    && self.lives[older].removed.is_some_and(|gone| gone <= self.lives[life].added)
                {
                    self.join(older, life, id);
                    break;
                }
            }
        }
    }

    /// The older id was named later than the rename: two lives become one.
    fn join(&mut self, older: usize, later: usize, id: u32) {
        let mut values: HashMap<Arc<str>, Arc<str>> = HashMap::new();
        for change in &self.lives[older].changes {
            match &change.after {
                Some(text) => drop(values.insert(change.route.clone(), text.clone())),
                None => drop(values.remove(&change.route)),
            }
        }
        let mut empty = self.lives[older].clone();
        empty.id = "".into();
        empty.older_ids.clear();
        let life = std::mem::replace(&mut self.lives[later], empty);
        let mut changes = Vec::new();
        for mut change in life.changes {
            if change.step == life.added {
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
            step: life.added,
            route,
            before: Some(text),
            after: None,
        });
        let at = changes.iter().position(|change| change.step > life.added).unwrap_or(changes.len());
        changes.splice(at..at, dropped);
        self.rename(older, id, life.added);
        self.of.insert(id, older);
        self.alive[older] = true;
        self.alive[later] = false;
        self.last.swap(older, later);
        let joined = &mut self.lives[older];
        joined.removed = life.removed;
        joined.kind = life.kind;
        joined.older_ids.extend(life.older_ids);
        joined.renames.extend(life.renames);
        joined.moves.extend(life.moves);
        joined.changes.extend(changes);
    }
}
