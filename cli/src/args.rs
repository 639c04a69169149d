//! The options that commands share, and the request for a snapshot that they give.

use std::path::{Path, PathBuf};

use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{Args, ValueEnum};
use schema::Day;
use schema::renamed::Use;
use trace::history::Past;
use trace::snapshot::{Request, State};
use trace::{Error, Project, Study};

/// The status of a command without a finding at error level.
pub(crate) const CLEAN: u8 = 0;
/// The status if there are findings at error level.
pub(crate) const FINDINGS: u8 = 1;
/// The status if the tool could not do its work, the arguments are wrong, or the answer cannot be had from the records.
pub(crate) const FAILED: u8 = 2;

/// Options of every command.
#[derive(Clone, Args)]
pub(crate) struct Shared {
    /// When to use colour
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    pub(crate) color: Color,
}

/// When to use colour.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Color {
    /// If the output is a terminal and NO_COLOR is not set
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

/// Which records a command reads, and the date to use as today.
#[derive(Args)]
pub(crate) struct Records {
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(value_name = "ROOT")]
    pub(crate) root: Option<PathBuf>,
    /// Read the index: the content of the next commit
    #[arg(long, conflicts_with = "rev")]
    pub(crate) staged: bool,
    /// Read a revision: a commit, branch or tag
    #[arg(long, value_name = "REV")]
    pub(crate) rev: Option<String>,
    /// The date to use as today [default: `as-of` in the settings, otherwise the date of the revision, otherwise today]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    pub(crate) on: Option<Day>,
}

impl Records {
    /// Takes the first argument of a command as the project root if it is not a name, as a single argument is the root in every
    /// other command: a folder that is written as a path, or that contains the settings. A folder `car-mass` is not taken in
    /// place of the value `car-mass`.
    pub(crate) fn take_root(&mut self, first: &mut Option<String>) {
        let is_root = |word: &str| {
            let path = Path::new(word);
            let is_name = word.split('.').all(schema::words::is_kebab_case);
            path.is_dir() && (!is_name || path.join(schema::settings::FILE).is_file())
        };
        if self.root.is_none() && first.as_deref().is_some_and(is_root) {
            self.root = first.take().map(Into::into);
        }
    }

    /// Opens the project that the options name.
    pub(crate) fn project(&self) -> Result<Project, Error> {
        Ok(Project::open(&self.request()?))
    }

    /// Reads the records and evaluates them, without their history.
    pub(crate) fn study(&self) -> Result<Study, Error> {
        self.study_of(&self.project()?)
    }

    /// Reads the records of an open project and evaluates them, without their history.
    pub(crate) fn study_of(&self, project: &Project) -> Result<Study, Error> {
        let loaded = project.load()?;
        let day = self.day(&loaded);
        Ok(Study::without_history(loaded, day))
    }

    /// Reads the records of an open project and evaluates them, with the history of all records.
    pub(crate) fn study_with_history(&self, project: &Project) -> Result<Study, Error> {
        let loaded = project.load()?;
        let day = self.day(&loaded);
        let past = Past::for_audit(project, &loaded, day);
        Ok(project.study(loaded, day, past))
    }

    /// The state and the project root that the options name.
    pub(crate) fn request(&self) -> Result<Request, Error> {
        let state = match (&self.rev, self.staged) {
            (Some(revision), _) => State::Revision(revision.clone()),
            (None, true) => State::Index,
            (None, false) => State::Worktree,
        };
        Ok(Request { cwd: cwd()?, path: self.root.clone(), state })
    }

    /// The date to use as today.
    pub(crate) fn day(&self, loaded: &trace::Loaded) -> Day {
        loaded.day(self.on, today)
    }
}

/// The folder in which the command was started.
pub(crate) fn cwd() -> Result<PathBuf, Error> {
    std::env::current_dir().map_err(|error| Error::new("cannot find the current folder").because(error))
}

/// Today in the time zone of the user.
pub(crate) fn today() -> Day {
    jiff::ZonedDateTime::now().date().into()
}

/// The error for an old name of a command or of a table; `None` if the arguments have none.
pub(crate) fn renamed(error: &clap::Error) -> Option<Error> {
    let text = |kind: ContextKind| match error.get(kind)? {
        ContextValue::String(text) => Some(text.as_str()),
        _ => None,
    };
    let (used_as, old, how) = match error.kind() {
        ErrorKind::InvalidSubcommand => (Use::Command, text(ContextKind::InvalidSubcommand)?, "run `tierod"),
        ErrorKind::InvalidValue if text(ContextKind::InvalidArg)?.starts_with("--table") => {
            (Use::Table, text(ContextKind::InvalidValue)?, "use `--table")
        }
        _ => return None,
    };
    let (message, new) = schema::renamed::notice(used_as, old)?;
    Some(Error::new(message).help(format!("{how} {new}`")))
}

/// Whether the CI of a forge runs this: all of them set `CI`.
pub(crate) fn in_ci() -> bool {
    is_set("CI")
}

/// Whether any CI may run this: what it checks may be written by a stranger, and no template of it may decide what is
/// reported.
pub(crate) fn may_be_ci() -> bool {
    const OTHERS: [&str; 8] = [
        "BITBUCKET_BUILD_NUMBER",
        "BUILDKITE",
        "CODEBUILD_BUILD_ID",
        "GITHUB_ACTIONS",
        "GITLAB_CI",
        "JENKINS_URL",
        "TEAMCITY_VERSION",
        "TF_BUILD",
    ];
    in_ci() || OTHERS.into_iter().any(is_set)
}

fn is_set(name: &str) -> bool {
    std::env::var(name).is_ok_and(|value| !matches!(value.as_str(), "" | "0" | "false"))
}
