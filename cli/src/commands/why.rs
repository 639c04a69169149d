//! `why`: the chain from a record to the goal with every reason, and the records that serve it.

use clap::Args;
use trace::{Error, Study};

use super::{Done, Format, folded};
use crate::args::{Records, Shared};
use crate::output::{json, tree};

/// The arguments of `why`.
#[derive(Args)]
pub(crate) struct Why {
    /// The id of the record
    id: String,
    #[command(flatten)]
    records: Records,
    /// Show all records that serve it; by default a long list stops at one level and says how many are below
    #[arg(long)]
    all: bool,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Why {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let loaded = project.load()?.with_all_stress_files(&project);
        let day = self.records.day(&loaded);
        let study = Study::without_history(loaded, day);
        let index = study.loaded.named(&self.id)?;
        Ok(match self.format {
            Format::Terminal => folded(shared, |ink| tree::why(&study, index, self.all, ink)),
            Format::Json => json::text(&json::why(&study, index)),
        }
        .into())
    }
}
