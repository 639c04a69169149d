//! `audit`: a review of the season.

use clap::{Args, ValueEnum};
use trace::audit::{Audit as Review, DecisionReview, Provenance, Season};
use trace::{Error, Project, Study};

use super::{Done, folded};
use crate::args::{Records, Shared, may_be_ci};
use crate::output::{audit, json};
use crate::screen::Progress;

/// What the exit status means.
const AFTER_HELP: &str = "\
Exit status: 1 if `tierod check` reports an error for the same records and date, 2 if tierod could not do its work, \
otherwise 0. Whether the goal was reached does not count.";

/// The arguments of `audit`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Audit {
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
    /// With `--format csv`: the table to print [default: targets]
    #[arg(long, value_name = "TABLE", value_parser = audit::TABLES)]
    table: Option<String>,
    /// One page for print: place and chance, causes, at-risk periods, limits that changed, what is unproven
    #[arg(long, conflicts_with_all = ["table", "context"])]
    brief: bool,
    /// Print the data for the templates as JSON
    #[arg(long, conflicts_with = "format")]
    context: bool,
}

/// The output formats.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Text
    Terminal,
    /// Markdown for a wiki or a forge
    Markdown,
    /// JSON for scripts (version 1, stable)
    Json,
    /// One table for a spreadsheet: see `--table`
    Csv,
    /// One page with charts, for a browser
    Html,
}

/// The season from the history, if there is one; the progress is shown meanwhile.
pub(super) fn season(project: &Project, study: &Study) -> Option<Season> {
    let history = study.past().available()?;
    let mut progress = Progress::new();
    Some(Season::from_history(project, &study.graph, history, &mut |done, all| progress.tick(done, all)))
}

impl Audit {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        if let Some(table) = self.table.as_deref().filter(|_| self.context || self.format != Format::Csv) {
            let error = Error::new("`--table` is for the format `csv`");
            return Err(error.help(format!("add `--format csv`: `tierod audit --format csv --table {table}`")));
        }
        let project = self.records.project()?;
        let study = self.records.study_with_history(&project)?;
        let season = season(&project, &study);
        let review = Review::new(&study, season.as_ref());
        let note = note(&study, &review, season.as_ref().and_then(|season| season.note.clone()));
        // A change under review must not decide how the page about it looks.
        let name = match self.format {
            Format::Markdown => "audit.md",
            _ => "audit.html",
        };
        let snapshot = &study.loaded.snapshot;
        let of_base;
        let template = match (may_be_ci(), snapshot.template(name)) {
            (true, Some(_)) => {
                let base = project.find_base(true).ok();
                of_base = base.and_then(|base| project.template_at(&base, snapshot, name));
                of_base.as_ref()
            }
            (_, own) => own,
        };
        let view = audit::AuditView {
            template,
            audit: &review,
            study: &study,
            season: season.as_ref(),
            note,
            decisions: if self.needs_decisions() { DecisionReview::all(&project, &study) } else { Vec::new() },
            made: Provenance::of(&study),
            off: project.switched_off(&study),
        };
        let text = if self.context {
            json::text(&audit::context(&view))
        } else if self.brief {
            match self.format {
                Format::Terminal => folded(shared, |ink| audit::brief::terminal(&view, ink)),
                Format::Markdown => audit::brief::markdown(&view)?,
                Format::Json => json::text(&audit::brief::json(&view)),
                Format::Csv => audit::brief::csv(&view),
                Format::Html => audit::brief::html(&view)?,
            }
        } else {
            match self.format {
                Format::Terminal => folded(shared, |ink| audit::terminal(&view, ink)),
                Format::Markdown => audit::markdown(&view)?,
                Format::Json => json::text(&audit::json(&view)),
                Format::Csv => audit::csv(&view, self.table.as_deref().unwrap_or("targets")),
                Format::Html => audit::html(&view)?,
            }
        };
        Ok(Done { errors: study.report().has_errors(), ..text.into() })
    }
}

impl Audit {
    /// Whether what is printed has the decisions, for which earlier states are evaluated.
    fn needs_decisions(&self) -> bool {
        let is_other_table = self.table.as_deref().is_some_and(|table| table != "decisions");
        !self.brief && (self.format != Format::Csv || (self.table.is_some() && !is_other_table))
    }
}

/// What the reader has to know first: missing git data, commits that are not evaluated, a later start of the history checks, and results with a future date.
fn note(study: &Study, review: &Review, not_evaluated: Option<String>) -> Option<String> {
    let missing = study.past().reason().map(|why| format!("git data is missing: {why}"));
    let since = study.settings().history.since().filter(|_| missing.is_none());
    let start = since.map(|day| format!("the history checks start after {day} (`history: since` in the settings)"));
    let future = match review.future_results {
        0 => None,
        1 => Some("1 result with a date".to_owned()),
        more => Some(format!("{more} results with a date")),
    };
    let future = future.map(|results| {
        format!("the audit counts {results} after {}: `--rev` shows the records as they were", review.day)
    });
    let notes: Vec<String> = missing.into_iter().chain(not_evaluated).chain(start).chain(future).collect();
    (!notes.is_empty()).then(|| notes.join("; "))
}
