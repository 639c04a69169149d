//! The options that commands share, and how they turn into a request for a snapshot.

use std::path::PathBuf;

use clap::{Args, Parser, ValueEnum};
use schema::Day;
use trace::snapshot::{Request, State};
use trace::{Error, Loaded, Project};

use crate::commands::Command;

/// Ties every part of a race car to the points it is built to score.
#[derive(Parser)]
#[command(name = "tierod", version, about, max_term_width = 100, disable_help_subcommand = true)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
    /// Options of every command.
    #[command(flatten)]
    pub(crate) shared: Shared,
}

/// Options of every command.
#[derive(Args)]
pub(crate) struct Shared {
    /// Colour in the report: on a terminal, always or never
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    pub(crate) color: Color,
}

/// When to colour.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Color {
    /// On a terminal, unless NO_COLOR is set
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

/// Which records a command reads, and as of which day.
#[derive(Args)]
pub(crate) struct Records {
    /// The data root, or a folder in it [default: the nearest one upward]
    #[arg(value_name = "ROOT")]
    pub(crate) root: Option<PathBuf>,
    /// Read the index: exactly what the next commit will hold
    #[arg(long, conflicts_with = "rev")]
    pub(crate) staged: bool,
    /// Read a revision: a commit, branch or tag
    #[arg(long, value_name = "REV")]
    pub(crate) rev: Option<String>,
    /// The day to reckon with [default: `as-of` in the settings, else the day of the revision, else today]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    pub(crate) on: Option<Day>,
}

impl Records {
    /// Reads the records asked for.
    pub(crate) fn load(&self) -> Result<Loaded, Error> {
        self.project()?.load()
    }

    /// Opens the project that was asked for.
    pub(crate) fn project(&self) -> Result<Project, Error> {
        Ok(Project::open(&self.request()?))
    }

    /// Which state of which data root is asked for.
    pub(crate) fn request(&self) -> Result<Request, Error> {
        let state = match (&self.rev, self.staged) {
            (Some(revision), _) => State::Revision(revision.clone()),
            (None, true) => State::Index,
            (None, false) => State::Worktree,
        };
        Ok(Request { cwd: cwd()?, path: self.root.clone(), state })
    }

    /// The day to reckon with.
    pub(crate) fn day(&self, loaded: &Loaded) -> Day {
        loaded.day(self.on, today())
    }
}

/// The folder the command was started in.
pub(crate) fn cwd() -> Result<PathBuf, Error> {
    std::env::current_dir().map_err(|error| Error::new("the current folder cannot be found").because(error))
}

/// Today, where the user is.
pub(crate) fn today() -> Day {
    jiff::ZonedDateTime::now().date().into()
}
