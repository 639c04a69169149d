//! What the commands that edit records have in common: the project, `--dry-run`, and the output of what an edit does.

use std::path::PathBuf;

use clap::Args;
use schema::Day;
use trace::edit::{Edits, Outcome};
use trace::snapshot::{Request, State};
use trace::{Error, Project};

use super::{Done, Format, folded};
use crate::args::{Shared, cwd, today};
use crate::output::edit::{self, EditView};
use crate::output::json;

/// The options of commands that edit records.
#[derive(Args)]
pub(crate) struct Options {
    /// Show the change and its effect without writing it
    #[arg(long)]
    dry_run: bool,
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(long, value_name = "FOLDER")]
    root: Option<PathBuf>,
    /// The date to use as today [default: `as-of` in the settings, otherwise today]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    on: Option<Day>,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

/// What a command says of its edit besides the change.
pub(super) struct About {
    /// The id of the record after the edit.
    pub(super) id: String,
    /// The id of the revision that was added.
    pub(super) revision: Option<String>,
    /// The earlier id of a renamed record.
    pub(super) earlier: Option<String>,
}

impl About {
    /// An edit of a record.
    pub(super) fn record(id: &str) -> Self {
        Self { id: id.to_owned(), revision: None, earlier: None }
    }
}

/// Collects changes of the working tree, checks them, writes them unless `--dry-run` is given, and shows what they do.
/// Status 1 if they bring an error that stops a commit.
pub(super) fn run(
    options: &Options,
    shared: &Shared,
    collect: impl FnOnce(&mut Edits) -> Result<About, Error>,
) -> Result<Done, Error> {
    let project = Project::open(&Request { cwd: cwd()?, path: options.root.clone(), state: State::Worktree });
    let loaded = project.load()?;
    let day = loaded.day(options.on, today);
    let mut edits = Edits::new(loaded, day);
    let about = collect(&mut edits)?;
    let outcome = edits.outcome(&project)?;
    let written = !options.dry_run && !outcome.files.is_empty();
    let About { id, revision, earlier } = about;
    let view =
        EditView { outcome: &outcome, id: &id, revision: revision.as_deref(), earlier: earlier.as_deref(), written };
    let text = match options.format {
        Format::Terminal => folded(shared, |ink| edit::terminal(&view, ink)),
        Format::Json => json::text(&edit::json(&view)),
    };
    Ok(Done { errors: stops_commit(&outcome), ..finish(&project, &outcome, written, text)? })
}

/// Writes an edit if it is to be written. Its answer is complete before, so that a command that takes too long changes nothing.
pub(super) fn finish(project: &Project, outcome: &Outcome, writes: bool, text: String) -> Result<Done, Error> {
    if writes {
        outcome.write(project)?;
    }
    Ok(text.into())
}

/// Whether an edit brings an error that stops a commit.
pub(super) fn stops_commit(outcome: &Outcome) -> bool {
    outcome.delta.stopping(outcome.delta.stops.commit).next().is_some()
}
