//! Queries of the graph: chains to the goals, what serves a record, what encloses it, and its results and revisions.

use std::collections::VecDeque;

use petgraph::Direction;
use schema::read::Damage;
use schema::records::{Method, Revision, TestResult};

use super::{Graph, Link};
use crate::ids::RecordId;

/// The most records or values of one chain in an answer.
///
/// No real chain is this long; without a limit, those of a generated one would fill the memory.
pub(crate) const LONGEST_CHAIN: usize = 50;

/// The shortest chain from every record to a goal.
#[derive(Debug)]
pub struct Chains {
    next: Vec<Option<RecordId>>,
    distance: Vec<Option<u32>>,
}

impl Chains {
    /// Finds all chains in one breadth-first search down from the goals.
    ///
    /// Goals, events, targets, requirements, systems and parts are linked by `serves`. Other records (results, analyses,
    /// decisions) continue at what they verify, find, inform, or use as criteria.
    pub fn new(graph: &Graph) -> Self {
        let mut chains = Self { next: vec![None; graph.len()], distance: vec![None; graph.len()] };
        let mut queue: VecDeque<RecordId> = graph.loaded.goals().map(|(goal, ..)| goal).collect();
        for &goal in &queue {
            chains.distance[goal] = Some(0);
        }
        chains.spread(graph, &mut queue, &[Link::Serves]);
        // Of records outside the chain only the next record is needed, not the distance.
        let mut linked = Self { next: chains.next.clone(), distance: chains.distance.clone() };
        let mut queue: VecDeque<RecordId> =
            graph.loaded.record_ids().filter(|index| linked.distance[*index].is_some()).collect();
        linked.spread(graph, &mut queue, &[Link::Verifies, Link::Finds, Link::Criteria, Link::Informs]);
        for index in graph.loaded.record_ids() {
            let by_subject = graph.loaded.kind(index).roles().chain_by_subject;
            let subject = || graph.linked(index, Link::Of, Direction::Outgoing).next().filter(|_| by_subject);
            let first_parent = || graph.parents(index).next();
            chains.next[index] = linked.next[index].or_else(first_parent).or_else(subject);
        }
        chains
    }

    fn spread(&mut self, graph: &Graph, queue: &mut VecDeque<RecordId>, links: &[Link]) {
        while let Some(at) = queue.pop_front() {
            let distance = self.distance[at].unwrap_or(0) + 1;
            for &link in links {
                // petgraph returns the newest edge first; the first in the file comes first here.
                let mut below: Vec<RecordId> = graph.linked(at, link, Direction::Incoming).collect();
                below.reverse();
                for child in below {
                    if self.distance[child].is_none() {
                        self.distance[child] = Some(distance);
                        self.next[child] = Some(at);
                        queue.push_back(child);
                    }
                }
            }
        }
    }

    /// The number of `serves` links from a record to a goal; `None` if no path leads there.
    pub fn distance(&self, index: RecordId) -> Option<u32> {
        self.distance[index]
    }

    /// The records from this one to the goal, itself first. A chain without a goal ends where its links end; at most 50
    /// records are returned.
    pub fn chain(&self, index: RecordId) -> Vec<RecordId> {
        let mut chain = vec![index];
        let mut at = index;
        while let Some(next) = self.next[at] {
            if chain.len() == LONGEST_CHAIN || chain.contains(&next) {
                break;
            }
            chain.push(next);
            at = next;
        }
        chain
    }
}

impl Graph {
    /// All records that serve a record, directly or through others: nearest first, each once.
    pub fn below(&self, index: RecordId) -> Vec<RecordId> {
        let mut seen = vec![false; self.len()];
        seen[index] = true;
        let mut queue = VecDeque::from([index]);
        let mut all = Vec::new();
        while let Some(at) = queue.pop_front() {
            let mut children: Vec<RecordId> = self.children(at).collect();
            children.reverse();
            for child in children {
                if !std::mem::replace(&mut seen[child], true) {
                    all.push(child);
                    queue.push_back(child);
                }
            }
        }
        all
    }

    /// The revisions of a target in the order of their dates, as in [`Graph::results`]: the latest is last.
    pub fn revisions(&self, id: RecordId) -> Vec<(RecordId, &Revision)> {
        let linked = self.linked(id, Link::Of, Direction::Incoming);
        let mut all: Vec<_> = linked.filter_map(|id| Some((id, self.loaded.revision(id)?))).collect();
        all.sort_by_key(|(id, revision)| (revision.date, *id));
        all
    }

    /// The record and what encloses it: see [`Loaded::enclosing`](crate::Loaded::enclosing).
    pub fn enclosing(&self, id: RecordId) -> impl Iterator<Item = RecordId> {
        self.loaded.enclosing(id)
    }

    /// The analyses that inform a decision or a part, in the order of the records.
    pub fn informing(&self, id: RecordId) -> Vec<RecordId> {
        let mut all: Vec<RecordId> = self.linked(id, Link::Informs, Direction::Incoming).collect();
        all.sort_unstable();
        all.dedup();
        all
    }

    /// The results of a record in the order of their dates, and of their records for the same date: the latest is last.
    /// A result without a date, which is an error by itself, comes first.
    pub fn results(&self, id: RecordId) -> Vec<(RecordId, &TestResult)> {
        self.with_bodies(self.results_of(id).map_or(&[], |own| &own.all))
    }

    fn with_bodies(&self, results: &[RecordId]) -> Vec<(RecordId, &TestResult)> {
        results.iter().filter_map(|id| Some((*id, self.loaded.result(*id)?))).collect()
    }

    /// Whether a record has a result.
    pub(crate) fn has_result(&self, id: RecordId) -> bool {
        self.results_of(id).is_some()
    }

    /// The place in the latest result of a goal that has one, and that result.
    pub fn place_reached(&self, goal: RecordId) -> Option<(u32, RecordId)> {
        let place = |(id, result): (RecordId, &TestResult)| Some((result.place.filter(|place| *place > 0)?, id));
        self.results(goal).into_iter().rev().find_map(place)
    }

    /// Whether the place of a goal was reached; `None` as long as no result has a place, or if the goal is none.
    pub fn is_place_reached(&self, goal: RecordId) -> Option<bool> {
        is_place_enough(self.place_reached(goal)?.0, self.loaded.goal(goal)?.place)
    }

    /// The results of a record as in [`Graph::results`], except those that another one of them supersedes.
    pub fn current_results(&self, id: RecordId) -> Vec<(RecordId, &TestResult)> {
        self.with_bodies(self.results_of(id).map_or(&[], |own| &own.current))
    }

    /// The method that a result of a record is of: its own, otherwise the first one that is planned.
    pub fn method(&self, of: RecordId, result: &TestResult) -> Option<Method> {
        result.by.or_else(|| self.first_method(of))
    }

    /// The first method that is planned for a record.
    pub fn first_method(&self, of: RecordId) -> Option<Method> {
        let group = || self.loaded.system(of)?.for_parts.as_ref()?.verify.as_ref();
        let verify = self.loaded.verify(of).map(|verify| verify.value).or_else(group);
        verify.and_then(|verify| verify.0.first()).map(|planned| planned.by)
    }

    /// The planned methods of a record without a result, its own or one of the group that it inherits the plan from. A
    /// result that could not be read is not missing.
    pub fn methods_without_result(&self, id: RecordId) -> Vec<Method> {
        let Some(verify) = self.loaded.verify(id) else { return Vec::new() };
        let mut methods = verify.value.methods();
        if self.is_driven(id) {
            let first = self.first_method(id);
            methods.retain(|method| Some(*method) != first);
        }
        for of in std::iter::once(id).chain(verify.group) {
            let with_result = self.results_of(of).map_or(&[][..], |own| &own.methods);
            methods.retain(|method| !with_result.contains(method));
        }
        methods
    }

    /// Whether a key of a result that decides could not be read.
    pub fn is_unread(&self, result: RecordId) -> bool {
        let damage = self.loaded.damaged.get(self.loaded.record(result).id.as_str());
        let is_undecided = |damage: &Damage| ["value", "outcome", "date", "by"].iter().any(|key| damage.has(key));
        let is_read = |result: &TestResult| result.value.is_none() || result.quantity().is_some();
        damage.is_some_and(is_undecided) || !self.loaded.result(result).is_none_or(is_read)
    }

    /// Whether a result says if a record is met. A number alone does not, if the record has no limit.
    pub fn is_conclusive(&self, of: RecordId, result: &TestResult) -> bool {
        result.outcome.is_some() || (result.value.is_some() && self.loaded.kind(of).roles().has_value)
    }

    /// Whether a result of a record has a number but no outcome, although the record has no limit. An outcome that could
    /// not be read is not missing.
    pub fn lacks_outcome(&self, of: RecordId, id: RecordId) -> bool {
        let Some(result) = self.loaded.result(id).filter(|result| result.value.is_some()) else { return false };
        let damage = self.loaded.damaged.get(self.loaded.record(id).id.as_str());
        let is_unread = damage.is_some_and(|damage| damage.has("outcome"));
        !is_unread && !self.is_conclusive(of, result)
    }
}

/// Whether a place is enough for a goal; `None` if the goal is not a place.
pub(crate) fn is_place_enough(place: u32, aim: Option<u32>) -> Option<bool> {
    Some(place <= aim?)
}
