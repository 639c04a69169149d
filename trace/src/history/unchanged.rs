//! Files that have not changed since the first commit, which need not be read for the checks.
//!
//! A file of the first commit that no later commit changes says only that its records were there from the beginning.
//! The history checks compare what changed, from a result, an analysis, a decision, a revision or a waiver on. So such
//! a file is skipped until something needs its records: it contains one of these, what one of these is about or a share
//! of a budget, a later commit changes it, or another file had a record with the same id. In a young project these are most files.

use std::sync::Arc;

use foldhash::{HashMap, HashSet, HashSetExt as _};
use schema::records::{Body, Finds};
use schema::{Id, Kind, Record};

use super::differences::read_added;
use super::log::{AT_ONCE, Log, Reader, RecordEvent};
use crate::Error;
use crate::load::Loaded;
use crate::snapshot::{Snapshot, Source};

/// A change of a file that a walk has found: commit, path, and the blobs before and after.
pub(super) type Work = (u32, u32, Option<u32>, Option<u32>);

/// The files that the first commit adds and no other of these commits changes.
pub(super) fn of_first_commit(work: &[Work]) -> Vec<u32> {
    let mut changes: HashMap<u32, usize> = HashMap::default();
    work.iter().for_each(|(_, path, ..)| *changes.entry(*path).or_default() += 1);
    let is_only = |(commit, path, old, new): &&Work| {
        *commit == 0 && old.is_none() && new.is_some() && changes.get(path) == Some(&1)
    };
    work.iter().filter(is_only).map(|(_, path, ..)| *path).collect()
}

/// Which of the skipped files a reader of the history needs.
#[derive(Clone, Copy)]
pub(super) enum Needed<'l> {
    /// All of them.
    All,
    /// Those that the history checks ask for in this state of the project.
    ByChecks(&'l Loaded),
}

impl Needed<'_> {
    /// The skipped files of a log that are needed for a state of the project.
    pub(super) fn among(self, log: &Log, snapshot: &Snapshot) -> HashSet<u32> {
        let Self::ByChecks(loaded) = self else { return log.skipped.iter().copied().collect() };
        // The file of a number can have changed although no record has.
        if log.skipped.is_empty() || (loaded.readings.is_empty() && is_first_commit(log, snapshot)) {
            return HashSet::new();
        }
        let files = &loaded.snapshot.files;
        let mut needed = vec![false; files.len()];
        for problem in &loaded.problems {
            needed[problem.file.index()] = true;
        }
        for (double, first) in &loaded.doubles {
            needed[double.file.index()] = true;
            needed[loaded.entries[*first].file.index()] = true;
        }
        let file_of = |id: &str| loaded.find(id).map(|index| loaded.entries[index].file.index());
        let any_starts = loaded.entries.iter().any(|entry| starts_a_comparison(entry.record.kind()));
        for entry in &loaded.entries {
            let starts = starts_a_comparison(entry.record.kind());
            // A share shows since when others rely on a limit.
            let is_share = matches!(&entry.record.body, Body::Target(target) if target.share_of.is_some());
            // Since when there is a system shows whether its parts can be new.
            let is_system = any_starts && entry.record.kind() == Kind::System;
            // The file of a number can change although its record does not.
            let is_read = !entry.record.body.readings().is_empty();
            if starts || is_read || is_share || is_system || !entry.record.body.common().formerly().is_empty() {
                needed[entry.file.index()] = true;
            }
            if starts {
                for id in subjects(&entry.record) {
                    // Also what a target is of.
                    let of = loaded.find(id).and_then(|index| loaded.record(index).about()).map(Id::as_str);
                    for file in std::iter::once(id).chain(of).filter_map(file_of) {
                        needed[file] = true;
                    }
                }
            }
        }
        for event in &log.events {
            if let Some(file) = file_of(&log.strings[event.id as usize]) {
                needed[file] = true;
            }
        }
        let unneeded: HashSet<&str> =
            files.iter().zip(&needed).filter(|(_, needed)| !**needed).map(|(file, _)| &*file.path).collect();
        let is_needed = |path: &&u32| !unneeded.contains(&*log.strings[**path as usize]);
        log.skipped.iter().filter(is_needed).copied().collect()
    }
}

/// What such a record is about: the ids in it.
fn subjects(record: &Record) -> Vec<&str> {
    let mut ids: Vec<&str> = record.about().map(Id::as_str).into_iter().collect();
    if let Body::Analysis(analysis) = &record.body {
        ids.extend(analysis.finds.as_ref().map(Finds::targets).unwrap_or_default().iter().map(|id| id.as_str()));
        let is_id = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        ids.extend(analysis.given.iter().flat_map(|(_, value)| value.text().split(move |c| !is_id(c))));
    }
    ids
}

/// Whether the state is that of the only commit: then nothing has changed yet.
fn is_first_commit(log: &Log, snapshot: &Snapshot) -> bool {
    let is_committed = || {
        let blobs: HashMap<&str, u32> =
            log.files.iter().filter_map(|event| Some((&*log.strings[event.path as usize], event.blob?))).collect();
        let mut files = snapshot.files.iter().skip(1);
        snapshot.files.len() == blobs.len() + 1
            && files.all(|file| match (blobs.get(&*file.path), &file.content) {
                (Some(blob), Ok(bytes)) => snapshot.is_object(bytes, &log.strings[*blob as usize]),
                _ => false,
            })
    };
    log.commits.len() == 1 && (matches!(snapshot.source, Source::Revision { .. }) || is_committed())
}

/// Whether the history checks compare what was before and after a record of this kind.
fn starts_a_comparison(kind: Kind) -> bool {
    match kind {
        Kind::Analysis | Kind::Decision | Kind::Result | Kind::Revision | Kind::Waiver => true,
        Kind::Goal | Kind::Event | Kind::System | Kind::Target | Kind::Requirement | Kind::Part => false,
    }
}

impl Reader<'_> {
    /// Reads those of the skipped files that are among these; `false` if there are none.
    pub(super) fn read_skipped(&mut self, paths: &HashSet<u32>) -> Result<bool, Error> {
        let (read, skipped) = std::mem::take(&mut self.log.skipped).into_iter().partition(|path| paths.contains(path));
        self.log.skipped = skipped;
        let read: Vec<u32> = read;
        if read.is_empty() {
            return Ok(false);
        }
        self.forget_readable();
        // The events have the order of the files in the commit, whenever they are read.
        let read: HashSet<u32> = read.into_iter().collect();
        let first: Vec<(u32, Option<u32>)> =
            self.log.files.iter().filter(|event| event.commit == 0).map(|event| (event.path, event.blob)).collect();
        let is_later = self.log.events.partition_point(|event| event.commit == 0);
        let later = self.log.events.split_off(is_later);
        let mut of_files: HashMap<u32, Vec<RecordEvent>> = HashMap::default();
        for event in std::mem::take(&mut self.log.events) {
            of_files.entry(event.path).or_default().push(event);
        }
        let mut unread: HashSet<u32> =
            self.log.unread.iter().filter(|(commit, _)| *commit == 0).map(|(_, path)| *path).collect();
        let new: Vec<(u32, Option<u32>)> = first.iter().filter(|(path, _)| read.contains(path)).copied().collect();
        let (mut rest, mut at_once) = (&new[..], AT_ONCE);
        while !rest.is_empty() {
            let contents = self.contents(rest.iter().take(at_once).map(|(_, blob)| *blob))?.into_iter();
            let contents: Vec<Option<Arc<[u8]>>> = contents.map(Option::flatten).collect();
            let (batch, later) = rest.split_at(contents.len());
            (rest, at_once) = (later, AT_ONCE.min(2 * batch.len()));
            for ((path, _), file) in batch.iter().zip(read_added(&contents)) {
                let Some(found) = file.and_then(|(_, found)| found) else {
                    unread.insert(*path);
                    continue;
                };
                let events = found.set.iter().map(|record| self.set_event(0, *path, record)).collect();
                of_files.insert(*path, events);
            }
        }
        self.log.events = first.iter().filter_map(|(path, _)| of_files.remove(path)).flatten().chain(later).collect();
        let later = self.log.unread.iter().filter(|(commit, _)| *commit > 0).copied();
        let unread = first.iter().filter(|(path, _)| unread.contains(path)).map(|(path, _)| (0, *path));
        self.log.unread = unread.chain(later).collect();
        Ok(true)
    }
}
