//! Questions to the graph: the way up to a goal, how far it is, what cannot be reached.

use std::collections::VecDeque;

use foldhash::HashSet;
use petgraph::Direction;
use schema::Kind;
use schema::records::{Revision, TestResult};

use super::{Graph, Link};
use crate::ids::RecordId;

/// The shortest way from every record up to a goal.
#[derive(Debug)]
pub struct Chains {
    hop: Vec<Option<RecordId>>,
    distance: Vec<Option<u32>>,
}

impl Chains {
    /// Finds them all in one walk down from the goals.
    ///
    /// Records in the chain go up by `serves` alone. Those that hang on it (results, analyses, decisions)
    /// are led to what they verify, find, weigh or inform.
    pub fn new(graph: &Graph) -> Self {
        let mut chains = Self { hop: vec![None; graph.len()], distance: vec![None; graph.len()] };
        let mut queue: VecDeque<RecordId> = graph.loaded.goals().map(|(goal, ..)| goal).collect();
        for &goal in &queue {
            chains.distance[goal] = Some(0);
        }
        chains.spread(graph, &mut queue, &[Link::Serves]);
        // The distance of what hangs on the chain is not asked for: only its way.
        let mut hanging = Self { hop: chains.hop.clone(), distance: chains.distance.clone() };
        let mut queue: VecDeque<RecordId> =
            graph.loaded.record_ids().filter(|index| hanging.distance[*index].is_some()).collect();
        hanging.spread(graph, &mut queue, &[Link::Verifies, Link::Finds, Link::Criteria, Link::Informs]);
        for index in graph.loaded.record_ids() {
            let is_revision = graph.loaded.record(index).kind() == Kind::Revision;
            let of_revision = || graph.linked(index, Link::Of, Direction::Outgoing).next().filter(|_| is_revision);
            let first_parent = || graph.parents(index).next();
            chains.hop[index] = hanging.hop[index].or_else(first_parent).or_else(of_revision);
        }
        chains
    }

    fn spread(&mut self, graph: &Graph, queue: &mut VecDeque<RecordId>, links: &[Link]) {
        while let Some(at) = queue.pop_front() {
            let next = self.distance[at].unwrap_or(0) + 1;
            for &link in links {
                // petgraph gives the newest edge first; the first written is the one to follow.
                let mut below: Vec<RecordId> = graph.linked(at, link, Direction::Incoming).collect();
                below.reverse();
                for child in below {
                    if self.distance[child].is_none() {
                        self.distance[child] = Some(next);
                        self.hop[child] = Some(at);
                        queue.push_back(child);
                    }
                }
            }
        }
    }

    /// How many `serves` links a record is away from a goal; none when no way leads there.
    pub fn distance(&self, index: RecordId) -> Option<u32> {
        self.distance[index]
    }

    /// The records from this one up to the goal, itself first; as far as the way goes where it leads to none,
    /// and no more than 50 steps.
    pub fn up(&self, index: RecordId) -> Vec<RecordId> {
        // No car has so long a chain; without a bound, findings on a made one would fill the memory.
        const MOST: usize = 50;
        let mut way = vec![index];
        let mut at = index;
        while let Some(next) = self.hop[at] {
            if way.len() == MOST || way.contains(&next) {
                break;
            }
            way.push(next);
            at = next;
        }
        way
    }
}

impl Graph {
    /// All parts, systems and targets that stand below a record, nearest first, each once.
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

    /// The revisions of a target, the latest last, by the same rule as its results.
    pub fn revisions(&self, id: RecordId) -> Vec<(RecordId, &Revision)> {
        let linked = self.linked(id, Link::Of, Direction::Incoming);
        let mut all: Vec<_> = linked.filter_map(|id| Some((id, self.loaded.revision(id)?))).collect();
        all.sort_by_key(|(id, revision)| (revision.date, *id));
        all
    }

    /// The record and what it lies in, from the inside out: a part, its system, the system around that. Ends at the car,
    /// where a name leads nowhere, and where it would come back to a record.
    pub fn enclosing(&self, id: RecordId) -> impl Iterator<Item = RecordId> {
        // More than any car has; a long chain that somebody made must not take the time of its square.
        const DEEPEST: usize = 64;
        let mut way: Vec<RecordId> = Vec::new();
        std::iter::from_fn(move || {
            let next = match way.last() {
                None => id,
                Some(last) => self.loaded.find(self.loaded.record(*last).about()?.as_str())?,
            };
            if way.len() > DEEPEST || way.contains(&next) {
                return None;
            }
            way.push(next);
            Some(next)
        })
    }

    /// The ids of analyses that a later one supersedes.
    pub fn superseded(&self) -> HashSet<&str> {
        let analyses = self.loaded.analyses();
        analyses.flat_map(|(.., analysis)| analysis.supersedes.iter().map(schema::Id::as_str)).collect()
    }

    /// The results of a record, the latest last: by date, and of one day by their order in the records. One without a
    /// date, which is an error of its own, comes before all that have one.
    pub fn results(&self, id: RecordId) -> Vec<(RecordId, &TestResult)> {
        let linked = self.linked(id, Link::Verifies, Direction::Incoming);
        let mut all: Vec<_> = linked.filter_map(|id| Some((id, self.loaded.result(id)?))).collect();
        all.sort_by_key(|(id, result)| (result.date, *id));
        all
    }
}
