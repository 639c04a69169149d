//! `points`: the planned, predicted and needed points of each event.

use clap::Args;
use trace::Error;

use super::{Done, TableFormat, folded};
use crate::args::{Records, Shared};
use crate::output::{csv, grids, json, points};

/// The arguments of `points`.
#[derive(Args)]
pub(crate) struct Points {
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: TableFormat,
}

impl Points {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let study = self.records.study()?;
        if study.goals().is_empty() {
            return Err(no_goal());
        }
        let broken = points::broken(&study);
        let text = match self.format {
            TableFormat::Terminal => folded(shared, |ink| broken.terminal(ink) + &points::terminal(&study, ink)),
            TableFormat::Json => json::text(&points::json(&study, &broken)),
            TableFormat::Csv => csv::text(&grids::points::grid(&study, &broken)),
        };
        let is_complete = study.goals().iter().all(|goal| goal.without_value.is_empty());
        Ok(Done::answer(text, is_complete && !broken.has_errors()))
    }
}

/// The error of commands that need a goal.
pub(super) fn no_goal() -> Error {
    Error::new("the project has no goal").help("add one under `goals:`, with the events that serve it")
}
