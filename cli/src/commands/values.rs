//! `values`: every target, event, goal and amount with its value.

use clap::Args;
use trace::Error;

use super::{Done, TableFormat, folded};
use crate::args::{Records, Shared};
use crate::output::{csv, grids, json, values};

/// The arguments of `values`.
#[derive(Args)]
pub(crate) struct Values {
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: TableFormat,
}

impl Values {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let study = self.records.study()?;
        let broken = values::broken(&study);
        Ok(match self.format {
            TableFormat::Terminal => folded(shared, |ink| broken.terminal(ink) + &values::terminal(&study, ink)),
            TableFormat::Json => json::text(&values::json(&study, &broken)),
            TableFormat::Csv => csv::text(&grids::values::grid(&study, &broken, grids::values::Which::All)),
        }
        .into())
    }
}
