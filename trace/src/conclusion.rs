//! What the results of a record show about it, and which of its planned verifications they close.
//!
//! The results of the latest date decide, except those that another result supersedes. A verification is closed when they
//! meet the record. One that cannot be read is no outcome, and neither are results of one date that contradict each other.

use std::sync::{Mutex, PoisonError};

use foldhash::HashMap;
use schema::records::{Method, Outcome, Target, TestResult};
use schema::{Day, Quantity};

use crate::ids::RecordId;
use crate::study::Study;
use crate::values::Status;

/// What the latest results of a record show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Conclusion {
    /// The record is met.
    Passed,
    /// It is not met.
    Failed,
    /// The limit is inside the uncertainty of the value.
    Uncertain,
    /// One result passes and another one of the same date fails.
    Contradicted,
    /// A key of the result could not be read.
    Unread,
}

impl Conclusion {
    /// Whether the record was measured or tested with a result that can be read, whatever it shows. Only one that passes
    /// closes a verification.
    pub fn is_outcome(self) -> bool {
        match self {
            Self::Passed | Self::Failed | Self::Uncertain => true,
            Self::Contradicted | Self::Unread => false,
        }
    }

    /// What the results of the latest date show together.
    fn of_latest(results: &[Concluded]) -> Option<Self> {
        let (last, ..) = results.last()?;
        let has = |wanted: Self| results.iter().any(|(date, _, own)| date == last && *own == wanted);
        if has(Self::Passed) && has(Self::Failed) {
            return Some(Self::Contradicted);
        }
        [Self::Unread, Self::Failed, Self::Uncertain, Self::Passed].into_iter().find(|own| has(*own))
    }
}

/// A result with its date and what it shows.
type Concluded = (Option<Day>, RecordId, Conclusion);

/// The conclusion of a record and the date of its latest results.
type Latest = (Option<Conclusion>, Option<Day>);

/// What the results of systems show, by method: each of their parts asks for it.
#[derive(Debug, Default)]
pub(crate) struct OfSystems(Mutex<HashMap<(RecordId, Option<Method>), Latest>>);

impl Study {
    /// What the latest results of a record show: those of one method, or of all methods for `None`. `None` if it has no
    /// result that shows anything. A later result that cannot be read does not end a failure.
    pub fn conclusion(&self, of: RecordId, method: Option<Method>) -> Option<Conclusion> {
        self.latest(of, method).0
    }

    /// The date of the latest results of a record that show something; of one method, or of all.
    pub(crate) fn latest_date(&self, of: RecordId, method: Option<Method>) -> Option<Day> {
        self.latest(of, method).1
    }

    fn latest(&self, of: RecordId, method: Option<Method>) -> Latest {
        if self.loaded.system(of).is_none() {
            return latest(self.concluded(of, method));
        }
        let mut known = self.of_systems.0.lock().unwrap_or_else(PoisonError::into_inner);
        *known.entry((of, method)).or_insert_with(|| latest(self.concluded(of, method)))
    }

    /// The results of the latest date, of one method or of all, each with what it shows.
    pub(crate) fn latest_of(&self, of: RecordId, method: Option<Method>) -> Vec<(RecordId, Conclusion)> {
        let results = self.concluded(of, method);
        let last = results.last().map(|(date, ..)| *date);
        results.into_iter().filter(|(date, ..)| Some(*date) == last).map(|(_, id, own)| (id, own)).collect()
    }

    /// The results of a record that show something, by date.
    fn concluded(&self, of: RecordId, method: Option<Method>) -> Vec<Concluded> {
        let graph = &self.graph;
        let results = graph.current_results(of).into_iter();
        let wanted = results.filter(|(_, result)| method.is_none_or(|own| graph.method(of, result) == Some(own)));
        let own = wanted.filter_map(|(id, result)| Some((result.date, id, self.conclusion_of(of, id, result)?)));
        let mut all: Vec<Concluded> = own.collect();
        if let Some(target) = self.loaded.target(of)
            && method.is_none_or(|own| graph.first_method(of).is_none_or(|first| first == own))
        {
            let driven = graph.driven(of).into_iter();
            let of_value = |value: &Quantity| self.conclusion_of_value(of, target, value);
            all.extend(driven.map(|driven| (driven.date, driven.result, of_value(driven.value))));
            all.sort_by_key(|(date, id, _)| (*date, *id));
        }
        all
    }

    /// What one result shows about its record.
    fn conclusion_of(&self, of: RecordId, id: RecordId, result: &TestResult) -> Option<Conclusion> {
        if self.graph.is_unread(id) {
            return Some(Conclusion::Unread);
        }
        match (result.outcome, result.quantity(), self.loaded.target(of)) {
            (Some(Outcome::Pass), ..) => Some(Conclusion::Passed),
            (Some(Outcome::Fail), ..) => Some(Conclusion::Failed),
            (None, Some(value), Some(target)) => Some(self.conclusion_of_value(of, target, value)),
            // The points of an event meet nothing, but they verify it.
            (None, Some(_), None) => self.graph.is_conclusive(of, result).then_some(Conclusion::Passed),
            (None, None, _) => None,
        }
    }

    /// What a measured value shows about its target.
    fn conclusion_of_value(&self, of: RecordId, target: &Target, value: &Quantity) -> Conclusion {
        let values = self.values();
        let (dimension, value, uncertainty) = values.in_team(value);
        let fits = values.record_node(of).is_some_and(|node| values.dimension(node) == dimension);
        match values.limit(target).measured(value, uncertainty) {
            _ if !fits => Conclusion::Unread,
            Status::Met => Conclusion::Passed,
            Status::Missed => Conclusion::Failed,
            _ => Conclusion::Uncertain,
        }
    }
}

/// What results in the order of their dates show. A later result that cannot be read does not end a failure.
fn latest(mut results: Vec<Concluded>) -> Latest {
    let date = results.last().and_then(|(date, ..)| *date);
    let latest = Conclusion::of_latest(&results);
    results.retain(|(.., own)| *own != Conclusion::Unread);
    let failed = latest == Some(Conclusion::Unread) && Conclusion::of_latest(&results) == Some(Conclusion::Failed);
    (if failed { Some(Conclusion::Failed) } else { latest }, date)
}
