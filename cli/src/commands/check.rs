//! `check`: what is open or broken.

use clap::Args;
use trace::graph::Graph;
use trace::history::Past;
use trace::values::Values;
use trace::{Error, Report};

use super::{Done, Format};
use crate::args::{Records, Shared};
use crate::output::{json, terminal};
use crate::screen::Ink;

/// Tell what is open or broken.
#[derive(Args)]
pub(crate) struct Check {
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Check {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let loaded = self.records.load()?;
        let graph = Graph::new(&loaded);
        let values = Values::new(&graph);
        let day = self.records.day(&loaded);
        let report = Report::with_history(&values, day, &Past::of(&loaded, day));
        let text = match self.format {
            Format::Terminal => terminal::check(&report, &values, Ink::stdout(shared)),
            Format::Json => json::check(&report, &loaded),
        };
        Ok(Done { text, errors: report.has_errors() })
    }
}
