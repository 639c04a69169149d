//! `schema`: the JSON Schemas of files and of answers.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use serde_json::Value;
use trace::snapshot::{Request, State};
use trace::{Error, Loaded, Project};

use super::Done;
use crate::args::cwd;
use crate::output::shapes::{self, Answer};
use crate::output::{editors, json};

/// The arguments of `schema`.
#[derive(Args)]
pub(crate) struct Schema {
    /// The files or the answer to describe
    #[arg(value_name = "WHAT", default_value = "records")]
    which: Which,
    /// For editors: offer the ids and bases of this project (folder with tierod.yaml) in the schema of its files
    #[arg(long, value_name = "ROOT")]
    project: Option<PathBuf>,
}

/// What a schema describes.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Which {
    /// Record files
    Records,
    /// The settings, tierod.yaml
    Settings,
    /// The JSON of `check`
    Check,
    /// The JSON of `delta`
    Delta,
    /// The data for `templates/delta.md`
    DeltaContext,
    /// The JSON of `graph`
    Graph,
    /// The JSON of `why`
    Why,
    /// The JSON of `values`
    Values,
    /// The JSON of `points`
    Points,
    /// The JSON of `budget`
    Budget,
    /// The JSON of `worth`
    Worth,
    /// The JSON of `compare`
    Compare,
    /// The JSON of `history`
    History,
    /// The JSON of `audit`
    Audit,
    /// The data for `templates/audit.md` and `templates/audit.html`
    AuditContext,
    /// The JSON of `audit --brief`
    AuditBrief,
    /// The JSON of `explain`
    Explain,
    /// The JSON of `set`, `revise` and `rename`
    Edit,
    /// The JSON of `import`
    Import,
    /// The JSON of `add`
    Add,
    /// The JSON of `export`
    Export,
}

impl Which {
    /// The answer of this name; `None` if it is a file.
    pub(crate) fn answer(self) -> Option<&'static Answer> {
        let own = self.to_possible_value()?;
        shapes::ALL.into_iter().find(|answer| answer.name == own.get_name())
    }
}

impl Schema {
    pub(super) fn run(&self) -> Result<Done, Error> {
        let Some(root) = &self.project else { return Ok(text(self.which).into()) };
        if self.which.answer().is_some() {
            let error = Error::new("`--project` is for the schema of files, not of an answer");
            return Err(error.help("use `tierod schema records` or `tierod schema settings`"));
        }
        let request = Request { cwd: cwd()?, path: Some(root.clone()), state: State::Worktree };
        let loaded = Project::open(&request).load()?;
        Ok(json::text(&of_files(self.which, Some(&loaded))).into())
    }
}

/// The schema as text.
pub(super) fn text(which: Which) -> String {
    json::text(&which.answer().map_or_else(|| of_files(which, None), shapes::of_answer))
}

fn of_files(which: Which, project: Option<&Loaded>) -> Value {
    match which {
        Which::Settings => editors::settings(project),
        _ => editors::records(project),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_answer_has_its_name() {
        let named: Vec<&str> = Which::value_variants().iter().filter_map(|which| Some(which.answer()?.name)).collect();
        assert_eq!(named, shapes::ALL.map(|answer| answer.name));
        let files = Which::value_variants().iter().filter(|which| which.answer().is_none());
        assert!(files.eq([Which::Records, Which::Settings].iter()));
    }
}
