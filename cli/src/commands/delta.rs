//! `delta`: what a change does to findings, limits and values.

use std::mem::ManuallyDrop;
use std::path::PathBuf;

use clap::{Args, ValueEnum};
use schema::Day;
use trace::delta::Parents;
use trace::history::Logs;
use trace::load::ParseCache;
use trace::snapshot::{Request, State};
use trace::{Error, Project};

use super::{Done, folded};
use crate::args::{Shared, cwd, in_ci, may_be_ci, today};
use crate::output::delta::{self, DeltaView};
use crate::output::listed::{Baseline, Listed};
use crate::output::{Paths, github, gitlab, json, lines, sarif};

/// The arguments of `delta`.
#[derive(Args)]
pub(crate) struct Delta {
    /// The revision to compare with [default: auto]
    #[arg(value_name = "BASE", conflicts_with = "base_flag")]
    base: Option<String>,
    /// The revision with the change [default: the working tree]
    #[arg(value_name = "HEAD", conflicts_with = "staged")]
    head: Option<String>,
    /// Same as BASE; `auto` uses the target of the request or the state before the push in the CI of a forge, otherwise
    /// the merge base with the default branch
    #[arg(long = "base", value_name = "REV|auto")]
    base_flag: Option<String>,
    /// Compare the index: the content of the next commit
    #[arg(long)]
    staged: bool,
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(long, value_name = "FOLDER")]
    root: Option<PathBuf>,
    /// The date to use as today for both states [default: the later date of the two]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    on: Option<Day>,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
    /// Print the data for the template as JSON
    #[arg(long, conflicts_with = "format")]
    context: bool,
}

/// The output formats.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Text
    Terminal,
    /// Markdown for a pull request or the summary of a job
    Markdown,
    /// JSON for scripts (version 1, stable)
    Json,
    /// SARIF 2.1.0 with the state of each finding: new, unchanged or absent
    Sarif,
    /// One line per new finding, in compiler format: `path:line:column: level: message [check]`
    Lines,
    /// Annotations of GitHub Actions with the new findings
    Github,
    /// Code quality report of GitLab CI with the new findings
    Gitlab,
}

impl Delta {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let state = match (&self.head, self.staged) {
            (Some(revision), _) => State::Revision(revision.clone()),
            (None, true) => State::Index,
            (None, false) => State::Worktree,
        };
        let request = Request { cwd: cwd()?, path: self.root.clone(), state };
        let mut pool = ParseCache::default();
        let project = Project::open(&request);
        let head = project.load_with(&mut pool)?;
        if self.base.as_deref().or(self.base_flag.as_deref()) == Some("") {
            let help = "give a revision, or `auto`; in CI, check that the variable is set";
            return Err(Error::new("the base is empty").help(help));
        }
        let named = self.base.as_deref().or(self.base_flag.as_deref()).filter(|base| *base != "auto");
        let base = match named {
            Some(revision) => project.named_base(revision),
            None => project.find_base(in_ci())?,
        };
        let before = project.load_before(&base.revision, &head.snapshot, &mut pool)?;
        drop(pool);

        let day = self.on.unwrap_or_else(|| head.day(None, today).max(before.day(None, today)));
        let mut logs = Logs::default();
        // The process ends after the report: freeing large studies would take a tenth of the time.
        let head = ManuallyDrop::new(project.study_for_checks(head, day, &mut logs));
        let before = project.parent(before, &head.loaded, day, &mut logs);
        let parents = ManuallyDrop::new(Parents::of_base(before));
        drop(logs);
        head.evaluate_reports_with(&parents.first.seen);
        let delta = trace::Delta::new(&parents, &head);
        let template_of_base = may_be_ci();
        let view = DeltaView { delta: &delta, base: &parents.first.seen, head: &head, found: &base, template_of_base };
        // These formats are shown next to a change and list only new findings; SARIF lists all.
        let new: Vec<Listed<'_>> = delta.new.iter().map(|finding| (finding, Some(Baseline::New))).collect();
        let text = if self.context {
            json::text(&delta::context(&view))
        } else {
            match self.format {
                Format::Terminal => folded(shared, |ink| delta::terminal(&view, ink)),
                Format::Markdown => delta::markdown(&view)?,
                Format::Json => json::text(&delta::json(&view)),
                Format::Sarif => sarif::text(&delta::listed(&view), &head.loaded.snapshot.prefix),
                Format::Lines => lines::text(&new, &Paths::new(&head.loaded)),
                Format::Github => github::text(&new, &head.loaded.snapshot.prefix),
                Format::Gitlab => gitlab::text(&new, &head.loaded.snapshot.prefix),
            }
        };
        let errors = delta.stopping(delta.stops.request).next().is_some();
        let commands = !self.context && self.format == Format::Github;
        Ok(Done { errors, commands, ..text.into() })
    }
}
