//! `example`: the car that ships with the tool, and how it came to be.

use std::path::PathBuf;

use clap::Args;
use trace::git::create_repository;
use trace::snapshot::{Request, State};
use trace::{Error, Loaded};

use super::{Done, Shared};
use crate::args::cwd;
use crate::screen::{clean, count};
use crate::season;

/// Lay out an invented car with its season, commit by commit, to try the commands on.
#[derive(Args)]
pub(crate) struct Example {
    /// The folder; empty, or not there yet
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
            "laid out {commits} from {first} to {last} in {shown}: an invented team, car and contest, {records} at the end

next, in {shown}
  tierod check                  what is open when the season is over
  tierod delta HEAD~10          what the last ten commits changed, mended and moved
  tierod history car-mass       every change of one record, with its reason
  tierod audit                  what was met, and how good the predictions were
  tierod points --rev {anchor}   the outlook in the middle of the build
",
            anchor = season.anchor(),
        )
        .into())
    }
}
