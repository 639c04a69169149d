//! What the graph finds once, when it is first asked: the results of each record, what was driven, what is superseded.

use std::sync::OnceLock;

use foldhash::{HashMap, HashSet};
use schema::records::Method;
use schema::{Day, Id};

use super::{Graph, Link, driven};
use crate::ids::RecordId;
use crate::load::Loaded;

/// What was found so far.
#[derive(Debug, Default)]
pub(super) struct Known {
    superseded: OnceLock<HashSet<Id>>,
    results: OnceLock<HashMap<RecordId, ResultsOf>>,
    driven: OnceLock<HashMap<RecordId, Vec<DrivenBy>>>,
}

/// The results of a record.
#[derive(Debug, Default)]
pub(super) struct ResultsOf {
    /// All of them, by date: the latest is last.
    pub all: Vec<RecordId>,
    /// Those of them that no other one supersedes.
    pub current: Vec<RecordId>,
    /// The methods of the current ones, without results that lack an outcome.
    pub methods: Vec<Method>,
}

/// A value that was driven for a target: the result of the event, and the name under `reads`.
#[derive(Debug)]
pub(super) struct DrivenBy {
    pub date: Option<Day>,
    pub result: RecordId,
    pub name: Id,
}

impl Graph {
    /// The ids of analyses that a later one supersedes.
    pub fn superseded(&self) -> &HashSet<Id> {
        self.known.superseded.get_or_init(|| {
            self.loaded.analyses().flat_map(|(.., analysis)| analysis.supersedes.iter().cloned()).collect()
        })
    }

    /// The results of a record; `None` if it has none.
    pub(super) fn results_of(&self, id: RecordId) -> Option<&ResultsOf> {
        self.known.results.get_or_init(|| self.all_results()).get(&id)
    }

    /// What was driven for a target, by the date and the record of the result.
    pub(super) fn driven_by(&self, target: RecordId) -> &[DrivenBy] {
        self.known.driven.get_or_init(|| all_driven(&self.loaded)).get(&target).map_or(&[], Vec::as_slice)
    }

    fn all_results(&self) -> HashMap<RecordId, ResultsOf> {
        let mut all: HashMap<RecordId, ResultsOf> = HashMap::default();
        for (from, to, _) in self.pairs().filter(|(.., link)| *link == Link::Verifies) {
            if self.loaded.result(from).is_some() {
                all.entry(to).or_default().all.push(from);
            }
        }
        for (of, results) in &mut all {
            self.complete(*of, results);
        }
        all
    }

    /// Sorts the results of a record, and finds the current ones and their methods.
    fn complete(&self, of: RecordId, results: &mut ResultsOf) {
        let loaded = &*self.loaded;
        results.all.sort_by_key(|id| (loaded.result(*id).and_then(|result| result.date), *id));
        let bodies = results.all.iter().filter_map(|id| loaded.result(*id));
        let superseded: HashSet<&str> = bodies.flat_map(|result| result.supersedes.iter().map(Id::as_str)).collect();
        let is_current = |id: &&RecordId| !superseded.contains(loaded.record(**id).id.as_str());
        results.current = results.all.iter().filter(is_current).copied().collect();
        let planned = self.first_method(of);
        for id in &results.current {
            let Some(result) = loaded.result(*id).filter(|_| !self.lacks_outcome(of, *id)) else { continue };
            if let Some(method) = result.by.or(planned)
                && !results.methods.contains(&method)
            {
                results.methods.push(method);
            }
        }
    }
}

fn all_driven(loaded: &Loaded) -> HashMap<RecordId, Vec<DrivenBy>> {
    let mut all: HashMap<RecordId, Vec<DrivenBy>> = HashMap::default();
    for (id, _, result) in loaded.results().filter(|(.., result)| !result.reads.is_empty()) {
        for (name, target) in driven::targets_of(loaded, result) {
            let own = DrivenBy { date: result.date, result: id, name: name.clone() };
            all.entry(target).or_default().push(own);
        }
    }
    for driven in all.values_mut() {
        driven.sort_by_key(|own| (own.date, own.result));
    }
    all
}
