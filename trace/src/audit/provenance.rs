//! Who made the state that the audit shows: team, car, commit and day.

use schema::Day;

use crate::history::Commit;
use crate::snapshot::Source;
use crate::study::Study;

/// Who made a state, and when.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Provenance {
    /// The team in the settings.
    pub team: Option<String>,
    /// The car in the settings.
    pub car: Option<String>,
    /// The full id of the last commit that changed the records, and its day; `None` without a history.
    pub commit: Option<(String, Day)>,
    /// Whether the state has changes that are not in that commit.
    pub uncommitted: bool,
}

impl Provenance {
    /// Who made the state of a study.
    pub fn of(study: &Study) -> Self {
        let settings = study.settings();
        let commits: &[Commit] = study.past().available().map_or(&[], |history| &history.commits);
        let of_history = || commits.iter().rev().find_map(|commit| Some((commit.id.clone()?, commit.day)));
        let commit = match &study.loaded.snapshot.source {
            Source::Revision { commit, day } => Some((commit.clone(), *day)),
            Source::Worktree | Source::Index | Source::Nothing => of_history(),
        };
        Self {
            team: settings.team.clone(),
            car: settings.car.clone(),
            commit,
            uncommitted: commits.last().is_some_and(|commit| commit.id.is_none()),
        }
    }
}
