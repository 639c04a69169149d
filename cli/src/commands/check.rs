//! `check`: what is open or broken.

use clap::Args;
use trace::graph::Graph;
use trace::values::Values;
use trace::{Error, Report};

use super::{Done, FindingsFormat};
use crate::args::{Records, Shared};
use crate::output::{Paths, github, gitlab, json, lines, sarif, terminal};
use crate::screen::Ink;

/// Tell what is open or broken.
#[derive(Args)]
pub(crate) struct Check {
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: FindingsFormat,
}

impl Check {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let loaded = self.records.load()?;
        let graph = Graph::new(&loaded);
        let values = Values::new(&graph);
        let report = Report::new(&values, self.records.day(&loaded));
        // Formats that tell waived findings mark them; the others leave them out.
        let all: Vec<_> = report.findings.iter().chain(&report.waived).map(|finding| (finding, None)).collect();
        let prefix = &loaded.snapshot.prefix;
        let text = match self.format {
            FindingsFormat::Terminal => terminal::check(&report, &values, Ink::stdout(shared)),
            FindingsFormat::Json => json::check(&report, &loaded),
            FindingsFormat::Sarif => sarif::text(&all, prefix),
            FindingsFormat::Lines => lines::text(&all, &Paths::new(&loaded)),
            FindingsFormat::Github => github::text(&all, prefix),
            FindingsFormat::Gitlab => gitlab::text(&all, prefix),
        };
        Ok(Done { text, errors: report.has_errors() })
    }
}
