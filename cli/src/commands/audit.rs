//! `audit`: the season looked back on.

use clap::{Args, ValueEnum};
use trace::Error;
use trace::audit::{Audit as Look, Season};
use trace::history::Past;

use super::Done;
use crate::args::{Records, Shared};
use crate::output::{audit, json};
use crate::screen::{Ink, Progress};

/// Look back on the season: was the goal reached, which targets were met, how good were the predictions.
#[derive(Args)]
pub(crate) struct Audit {
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
    /// Which table to print as CSV
    #[arg(long, value_name = "TABLE", default_value = "targets", value_parser = audit::TABLES)]
    table: String,
    /// Print what the templates see, as JSON
    #[arg(long, conflicts_with = "format")]
    context: bool,
}

/// The forms of the report.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people
    Terminal,
    /// For a wiki or a forge
    Markdown,
    /// For programs (version 1, stable)
    Json,
    /// One table for a spreadsheet: see --table
    Csv,
    /// One page with pictures, for a browser
    Html,
}

impl Audit {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let study = self.records.study_with_history(&project)?;
        let mut progress = Progress::new();
        let mut tick = |done, all| progress.tick(done, all);
        let season =
            study.past().available().map(|history| Season::from_history(&project, &study.loaded, history, &mut tick));
        drop(progress);
        let look = Look::new(&study, season.as_ref());
        let note = note(study.past(), &look);
        let view = audit::AuditView { audit: &look, study: &study, season: season.as_ref(), note };
        let text = if self.context {
            json::text(&audit::context(&view))
        } else {
            match self.format {
                Format::Terminal => audit::terminal(&view, Ink::stdout(shared)),
                Format::Markdown => audit::markdown(&view)?,
                Format::Json => json::text(&audit::json(&view)),
                Format::Csv => audit::csv(&view, &self.table),
                Format::Html => audit::html(&view)?,
            }
        };
        Ok(Done { text, errors: study.report().has_errors() })
    }
}

/// What the reader is to know before all else.
fn note(past: &Past, look: &Look) -> Option<String> {
    let missing = past.reason().map(|why| format!("what git would tell is missing: {why}"));
    let ahead = match look.future_results {
        0 => None,
        1 => Some("a result is dated".to_owned()),
        more => Some(format!("{more} results are dated")),
    };
    let ahead = ahead.map(|dated| {
        format!(
            "{dated} after {}, and the audit counts what lies ahead: `--rev` shows the records as they were",
            look.day
        )
    });
    let notes: Vec<String> = missing.into_iter().chain(ahead).collect();
    (!notes.is_empty()).then(|| notes.join("; "))
}
