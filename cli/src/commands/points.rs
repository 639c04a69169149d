//! `points`: show the points planned, needed and predicted, by event.

use clap::Args;
use trace::Error;
use trace::graph::Graph;
use trace::values::Values;

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
        let loaded = self.records.load()?;
        let graph = Graph::new(&loaded);
        let values = Values::new(&graph);
        let gradients = values.gradients();
        let goals = values.goals(&gradients);
        if goals.is_empty() {
            return Err(no_goal());
        }
        let ink = Ink::stdout(shared);
        Ok(match self.format {
            Format::Terminal => warned(&loaded, ink) + &points::terminal(&values, &goals, ink),
            Format::Json => json::text(&points::json(&values, &goals)),
        }
        .into())
    }
}

/// Nothing can be said about points without a goal.
pub(super) fn no_goal() -> Error {
    Error::new("there is no goal").help("write one under `goals:`, with the events that serve it")
}
