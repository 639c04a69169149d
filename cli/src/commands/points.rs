//! `points`: the planned, predicted and needed points of each event.

use clap::Args;
use trace::Error;

use super::{Done, Format, warning};
use crate::args::{Records, Shared};
use crate::output::{json, points};
use crate::screen::Ink;

/// The arguments of `points`.
#[derive(Args)]
pub(crate) struct Points {
    #[command(flatten)]
    records: Records,
    /// Output format
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
            Format::Terminal => warning(&study.loaded, ink) + &points::terminal(&study, ink),
            Format::Json => json::text(&points::json(&study)),
        }
        .into())
    }
}

/// The error of commands that need a goal.
pub(super) fn no_goal() -> Error {
    Error::new("the project has no goal").help("add one under `goals:`, with the events that serve it")
}
