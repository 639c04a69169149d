//! `points`: show the points planned, needed and predicted, by event.

use clap::Args;
use trace::Error;

use super::{Done, Format, warned};
use crate::args::{Records, Shared};
use crate::output::{json, points};
use crate::screen::Ink;

/// Show the points planned, needed and predicted, by event.
#[derive(Args)]
pub(crate) struct Points {
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Points {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let study = self.records.study()?;
        if study.goals().is_empty() {
            return Err(no_goal());
        }
        let ink = Ink::stdout(shared);
        Ok(match self.format {
            Format::Terminal => warned(&study.loaded, ink) + &points::terminal(study.values(), study.goals(), ink),
            Format::Json => json::text(&points::json(study.values(), study.goals())),
        }
        .into())
    }
}

/// Nothing can be said about points without a goal.
pub(super) fn no_goal() -> Error {
    Error::new("there is no goal").help("write one under `goals:`, with the events that serve it")
}
