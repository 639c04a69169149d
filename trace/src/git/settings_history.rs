//! Since when the settings of a project switch checks off.

use schema::Day;
use schema::settings::{self, Settings};

use super::project::Project;
use super::repository::Repository;
use crate::checks::is_switched_off;
use crate::finding::OffCheck;
use crate::history::{Commit, History};
use crate::study::Study;

/// No more commits than this are looked at: a check that is off for longer has no date.
const MOST_COMMITS: usize = 2000;

/// Since when a check is off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OffSince {
    /// The day of the commit that switched it off.
    Day(Day),
    /// The change of the settings is not committed.
    Uncommitted,
    /// There is no history to read it from.
    Unknown,
}

impl Project {
    /// The checks that the settings of a study switch off, each with the date since which it is off without a break.
    pub fn switched_off<'s>(&self, study: &'s Study) -> Vec<(&'s OffCheck, OffSince)> {
        let off = study.checks_off();
        let mut since = vec![OffSince::Unknown; off.len()];
        if let (Some(repository), Some(history), false) =
            (self.commits(&study.loaded.snapshot).repository, study.past().available(), off.is_empty())
        {
            since.fill(OffSince::Uncommitted);
            find(repository, study, history, &mut since);
        }
        off.iter().zip(since).collect()
    }
}

/// Follows the settings back from the last commit, for each check as long as it is off.
fn find(repository: &Repository, study: &Study, history: &History, since: &mut [OffSince]) {
    let off = study.checks_off();
    let mut found = vec![false; off.len()];
    let mut later: Option<(String, Settings)> = None;
    for (passed, commit) in history.commits.iter().rev().filter(|commit| commit.id.is_some()).enumerate() {
        if found.iter().all(|found| *found) {
            return;
        }
        if passed == MOST_COMMITS {
            since
                .iter_mut()
                .zip(&found)
                .filter(|(_, found)| !**found)
                .for_each(|(since, _)| *since = OffSince::Unknown);
            return;
        }
        // The project may have been without settings, or be unreadable, before.
        let Some(file) = settings_of(repository, commit) else { return };
        if later.as_ref().is_none_or(|(id, _)| *id != file) {
            let content = repository.blobs(&[&file]).ok().and_then(|mut all| all.pop()?.ok());
            let settings = content.map(|bytes| schema::read::settings(&bytes).0).unwrap_or_default();
            later = Some((file, settings));
        }
        let Some((_, settings)) = &later else { return };
        for ((off, since), found) in off.iter().zip(&mut *since).zip(&mut found).filter(|(_, found)| !**found) {
            if is_switched_off(off.check, settings, study.stage) {
                *since = OffSince::Day(commit.day);
            } else {
                *found = true;
            }
        }
    }
}

/// The object id of the settings file at a commit.
fn settings_of(repository: &Repository, commit: &Commit) -> Option<String> {
    let tree = Some(&commit.tree).filter(|tree| !tree.is_empty())?;
    repository.file_in(tree, settings::FILE).ok()?
}
