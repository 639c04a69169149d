//! The output of `audit`: one document, and a file for each format.

mod csv;
mod document;
mod html;
mod markdown;
mod numbers;
mod terminal;

pub(crate) use csv::{TABLES, csv};
pub(crate) use document::json;
pub(crate) use html::html;
pub(crate) use markdown::{context, markdown};
pub(crate) use terminal::terminal;

use trace::audit::{Audit, Season};
use trace::finding::OffCheck;
use trace::git::OffSince;
use trace::snapshot::Content;
use trace::{RecordId, Study};

/// What the audit shows.
pub(crate) struct AuditView<'t> {
    pub(crate) audit: &'t Audit,
    pub(crate) study: &'t Study,
    pub(crate) season: Option<&'t Season>,
    /// Why the season is missing or incomplete.
    pub(crate) note: Option<String>,
    /// The team's template of the format.
    pub(crate) template: Option<&'t Content>,
    /// The checks that the settings switch off.
    pub(crate) off: Vec<(&'t OffCheck, OffSince)>,
}

impl AuditView<'_> {
    fn id(&self, index: RecordId) -> &str {
        self.study.loaded.record(index).id.as_str()
    }

    fn title(&self, index: RecordId) -> &str {
        self.study.loaded.record(index).name()
    }
}
