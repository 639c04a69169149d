//! The report of `audit`: one document, and a file for each form of it.

mod csv;
mod document;
mod html;
mod markdown;
mod numbers;
mod pictures;
mod scale;
mod terminal;

pub(crate) use csv::{TABLES, csv};
pub(crate) use document::json;
pub(crate) use html::html;
pub(crate) use markdown::{context, markdown};
pub(crate) use terminal::terminal;

use schema::records::Body;
use trace::Report;
use trace::audit::{Audit, Season};
use trace::values::Values;

/// What is told.
pub(crate) struct Told<'t> {
    pub(crate) audit: &'t Audit,
    pub(crate) values: &'t Values<'t, 't>,
    pub(crate) report: &'t Report,
    pub(crate) season: Option<&'t Season>,
    /// Why there is no season, or not all of it.
    pub(crate) note: Option<String>,
}

impl Told<'_> {
    fn id(&self, index: usize) -> &str {
        self.values.graph.loaded.record(index).id.as_str()
    }

    fn title(&self, index: usize) -> &str {
        self.values.graph.loaded.record(index).name()
    }

    /// The outermost system that a record belongs to; `car` where it is the car's own.
    fn system(&self, index: usize) -> Option<String> {
        let loaded = self.values.graph.loaded;
        let mut at = index;
        let mut system = matches!(loaded.record(at).body, Body::System(_)).then_some(at);
        for _ in 0..20 {
            let Some(about) = loaded.record(at).about() else { break };
            if about.as_str() == schema::words::CAR {
                return Some(system.map_or_else(|| "car".to_owned(), |system| self.id(system).to_owned()));
            }
            let Some(next) = loaded.find(about.as_str()) else { break };
            at = next;
            if matches!(loaded.record(at).body, Body::System(_)) {
                system = Some(at);
            }
        }
        system.map(|system| self.id(system).to_owned())
    }
}
