//! `schema`: the JSON Schema that editors read.

use clap::{Args, ValueEnum};
use trace::Error;

use super::Done;
use crate::output::json;

/// Print the JSON Schema of record files or of the settings.
#[derive(Args)]
pub(crate) struct Schema {
    /// Which files
    #[arg(value_name = "FILES", default_value = "records")]
    which: Which,
}

/// Which files a schema is of.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Which {
    /// Record files
    Records,
    /// tierod.yaml
    Settings,
}

impl Schema {
    pub(super) fn run(&self) -> Result<Done, Error> {
        Ok(text(self.which).into())
    }
}

/// The schema as it stands in a file.
pub(super) fn text(which: Which) -> String {
    json::text(&match which {
        Which::Records => schema::json_schema::records(),
        Which::Settings => schema::json_schema::settings(),
    })
}
