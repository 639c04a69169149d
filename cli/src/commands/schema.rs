//! `schema`: the JSON Schemas of files and of answers.

use clap::{Args, ValueEnum};
use trace::Error;

use super::Done;
use crate::output::json;
use crate::output::shapes::{self, Answer};

/// The arguments of `schema`.
#[derive(Args)]
pub(crate) struct Schema {
    /// The files or the answer to describe
    #[arg(value_name = "WHAT", default_value = "records")]
    which: Which,
}

/// What a schema describes.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Which {
    /// Record files
    Records,
    /// The settings, tierod.yaml
    Settings,
    /// The JSON of `check`
    Check,
    /// The JSON of `delta`
    Delta,
    /// The data for `templates/delta.md`
    DeltaContext,
    /// The JSON of `graph`
    Graph,
    /// The JSON of `why`
    Why,
    /// The JSON of `values`
    Values,
    /// The JSON of `points`
    Points,
    /// The JSON of `budget`
    Budget,
    /// The JSON of `worth`
    Worth,
    /// The JSON of `compare`
    Compare,
    /// The JSON of `history`
    History,
    /// The JSON of `audit`
    Audit,
    /// The data for `templates/audit.md` and `templates/audit.html`
    AuditContext,
    /// The JSON of `audit --brief`
    AuditBrief,
    /// The JSON of `explain`
    Explain,
    /// The JSON of `set`, `revise` and `rename`
    Edit,
    /// The JSON of `import`
    Import,
    /// The JSON of `add`
    Add,
    /// The JSON of `export`
    Export,
}

impl Which {
    /// The answer, if it is not a file.
    pub(crate) fn answer(self) -> Option<&'static Answer> {
        Some(match self {
            Self::Records | Self::Settings => return None,
            Self::Check => &shapes::CHECK,
            Self::Delta => &shapes::DELTA,
            Self::DeltaContext => &shapes::DELTA_CONTEXT,
            Self::Graph => &shapes::GRAPH,
            Self::Why => &shapes::WHY,
            Self::Values => &shapes::VALUES,
            Self::Points => &shapes::POINTS,
            Self::Budget => &shapes::BUDGET,
            Self::Worth => &shapes::WORTH,
            Self::Compare => &shapes::COMPARE,
            Self::History => &shapes::HISTORY,
            Self::Audit => &shapes::AUDIT,
            Self::AuditContext => &shapes::AUDIT_CONTEXT,
            Self::AuditBrief => &shapes::AUDIT_BRIEF,
            Self::Explain => &shapes::EXPLAIN,
            Self::Edit => &shapes::EDIT,
            Self::Import => &shapes::IMPORT,
            Self::Add => &shapes::ADD,
            Self::Export => &shapes::EXPORT,
        })
    }
}

impl Schema {
    pub(super) fn run(&self) -> Result<Done, Error> {
        Ok(text(self.which).into())
    }
}

/// The schema as text.
pub(super) fn text(which: Which) -> String {
    json::text(&match which {
        Which::Settings => schema::json_schema::settings(),
        _ => which.answer().map_or_else(schema::json_schema::records, shapes::of_answer),
    })
}
