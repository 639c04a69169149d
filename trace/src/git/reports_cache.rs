//! The reports of earlier runs: the findings of a commit on a date do not change.
//!
//! `check --staged` compares the next commit with the last one, which is the same one for many runs.

use schema::Day;
use sha2::{Digest as _, Sha256};

use super::cache_file::CacheFile;
use super::walk::CommitSource;
use crate::finding::{Report, encoded};
use crate::history::Past;
use crate::snapshot::{Snapshot, Source};
use crate::study::Study;

/// The key of a report: the commit and the date.
fn key(snapshot: &Snapshot, day: Day) -> Option<[u8; 32]> {
    let Source::Revision { commit, .. } = &snapshot.source else { return None };
    Some(Sha256::digest(format!("{commit} {day}")).into())
}

/// The report of a commit for a date, if an earlier run kept it.
pub(super) fn read(commits: CommitSource<'_>, day: Day) -> Option<Report> {
    let key = key(commits.snapshot, day)?;
    encoded::decode(CacheFile::of_reports(commits)?.read().get(&key)?)
}

/// Keeps the report of a commit, unless something that it depends on could be read later and not now: files, or the
/// history.
pub(super) fn keep(commits: CommitSource<'_>, study: &Study) {
    let snapshot = commits.snapshot;
    let all_read = snapshot.files.iter().all(|file| file.content.is_ok())
        && snapshot.others.values().all(|file| file.content.as_ref().is_none_or(Result::is_ok));
    let has_history = matches!(study.past(), Past::Known(_) | Past::Off);
    if let (true, true, Some(key), Some(cache)) =
        (all_read, has_history, key(snapshot, study.day), CacheFile::of_reports(commits))
        && let Some(bytes) = encoded::encode(study.report())
    {
        cache.write(&cache.read(), &[(&key, bytes)]);
    }
}
