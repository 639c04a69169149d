//! What was driven at the contest: the values in the results of events, which are results of the targets that the events
//! read, too.

use foldhash::HashSet;
use schema::records::{Event, TestResult};
use schema::{Day, Id, Quantity};

use super::Graph;
use super::known::DrivenBy;
use crate::ids::RecordId;
use crate::load::Loaded;

/// A value that was driven for a target.
#[derive(Clone, Copy, Debug)]
pub struct Driven<'g> {
    /// The result of the event.
    pub result: RecordId,
    /// The name under `reads`.
    pub name: &'g Id,
    /// The value.
    pub value: &'g Quantity,
    /// The date of the result.
    pub date: Option<Day>,
}

/// The target that an event reads by a name; `None` if the name is of a formula, a quantity or another record.
pub(crate) fn target_read(loaded: &Loaded, event: &Event, name: &str) -> Option<RecordId> {
    let target = loaded.find(event.reads.get(name)?.text())?;
    loaded.target(target).map(|_| target)
}

/// The targets of which a result has a driven value, each with the name that the event gives it.
pub(super) fn targets_of<'l>(loaded: &'l Loaded, result: &'l TestResult) -> impl Iterator<Item = (&'l Id, RecordId)> {
    let event = result.of.as_ref().and_then(|of| loaded.event(loaded.find(of.as_str())?));
    let names = event.into_iter().flat_map(|event| result.reads.keys().map(move |name| (event, name)));
    names.filter_map(|(event, name)| Some((name, target_read(loaded, event, name.as_str())?)))
}

/// The targets that the results of events are results of, too: result and target.
pub(super) fn links(loaded: &Loaded) -> Vec<(RecordId, RecordId)> {
    let with_reads = loaded.results().filter(|(.., result)| !result.reads.is_empty());
    let links = with_reads.flat_map(|(id, _, result)| targets_of(loaded, result).map(move |(_, target)| (id, target)));
    let mut seen = HashSet::default();
    links.filter(|link| seen.insert(*link)).collect()
}

impl Graph {
    /// The values that were driven for a target, in the order of [`Graph::results`]: the latest is last.
    pub fn driven(&self, target: RecordId) -> Vec<Driven<'_>> {
        self.driven_by(target).iter().filter_map(|own| self.driven_value(own)).collect()
    }

    /// The latest value that was driven for a target.
    pub(crate) fn latest_driven(&self, target: RecordId) -> Option<Driven<'_>> {
        self.driven_by(target).iter().rev().find_map(|own| self.driven_value(own))
    }

    /// The latest value that was driven for a target, if it is not older than a date.
    pub fn driven_since(&self, target: RecordId, date: Option<Day>) -> Option<Driven<'_>> {
        self.latest_driven(target).filter(|driven| driven.date.is_some() && driven.date >= date)
    }

    /// Whether the latest result of a target can be what was driven.
    pub fn is_driven(&self, target: RecordId) -> bool {
        !self.driven_by(target).is_empty()
    }

    fn driven_value<'g>(&'g self, own: &'g DrivenBy) -> Option<Driven<'g>> {
        let value = self.loaded.result(own.result)?.reads.get(own.name.as_str())?;
        Some(Driven { result: own.result, name: &own.name, value, date: own.date })
    }
}
