//! `example`: a repository with the car that ships with the tool, and its season.

use std::path::PathBuf;

use clap::Args;
use trace::git::create_repository;
use trace::snapshot::{Request, State};
use trace::{Error, Loaded};

use super::{Done, Shared};
use crate::args::cwd;
use crate::screen::{clean, count};
use crate::season;

/// The arguments of `example`.
#[derive(Args)]
pub(crate) struct Example {
    /// The folder; empty, or created if missing
    folder: PathBuf,
}

impl Example {
    pub(super) fn run(&self, _: &Shared) -> Result<Done, Error> {
        let folder = cwd()?.join(&self.folder);
        let season = season::read()?;
        let commits = season.commits()?;
        create_repository(&folder, &commits)?;
        let loaded = Loaded::from_request(&Request { cwd: folder, path: None, state: State::Worktree })?;
        let (commits, records) = (count(commits.len(), "commit"), count(loaded.entries.len(), "record"));
        let (first, last) = season.days();
        let shown = clean(&self.folder.display().to_string());
        Ok(format!(
            "created {commits} from {first} to {last} in {shown}: a fictional team, car and contest, {records} at the end

next, in {shown}
  tierod check                  findings at the end of the season
  tierod delta HEAD~10          what the last ten commits changed
  tierod history car-mass       every change of one record
  tierod audit                  which targets were met, and how good the predictions were
  tierod points --rev {anchor}   the expected points in the middle of the build
",
            anchor = season.anchor(),
        )
        .into())
    }
}
