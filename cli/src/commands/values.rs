//! `values`: every target, event, goal and amount with its value.

use clap::Args;
use trace::Error;
use trace::graph::Graph;

use super::{Done, Format, warned};
use crate::args::{Records, Shared};
use crate::output::{json, values};
use crate::screen::Ink;

/// Show every value, its limit and where it stands.
#[derive(Args)]
pub(crate) struct Values {
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Values {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let loaded = self.records.load()?;
        let graph = Graph::new(&loaded);
        let all = trace::values::Values::new(&graph);
        let gradients = all.gradients();
        let ink = Ink::stdout(shared);
        Ok(match self.format {
            Format::Terminal => warned(&loaded, ink) + &values::terminal(&all, &gradients, ink),
            Format::Json => json::text(&values::json(&all, &gradients)),
        }
        .into())
    }
}
