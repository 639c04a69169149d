//! Questions to the graph: the way up to a goal, how far it is, what cannot be reached.

use std::collections::VecDeque;

use petgraph::Direction;
use schema::Kind;

use super::{Graph, Link};

/// The shortest way from every record up to a goal.
pub struct Chains {
    hop: Vec<Option<usize>>,
    distance: Vec<Option<u32>>,
}

impl Chains {
    /// Finds them all in one walk down from the goals.
    ///
    /// Records in the chain go up by `serves` alone. Those that hang on it (results, analyses, decisions)
    /// are led to what they verify, find, weigh or inform.
    pub fn new(graph: &Graph<'_>) -> Self {
        let mut chains = Self { hop: vec![None; graph.len()], distance: vec![None; graph.len()] };
        let goals = (0..graph.len()).filter(|index| graph.loaded.record(*index).kind() == Kind::Goal);
        let mut queue: VecDeque<usize> = goals.collect();
        for &goal in &queue {
            chains.distance[goal] = Some(0);
        }
        chains.spread(graph, &mut queue, &[Link::Serves]);
        // The distance of what hangs on the chain is not asked for: only its way.
        let mut hanging = Self { hop: chains.hop.clone(), distance: chains.distance.clone() };
        let mut queue: VecDeque<usize> = (0..graph.len()).filter(|index| hanging.distance[*index].is_some()).collect();
        hanging.spread(graph, &mut queue, &[Link::Verifies, Link::Finds, Link::Criteria, Link::Informs]);
        for index in 0..graph.len() {
            let is_revision = graph.loaded.record(index).kind() == Kind::Revision;
            let of_revision = || graph.linked(index, Link::Of, Direction::Outgoing).next().filter(|_| is_revision);
            let first_parent = || graph.parents(index).next();
            chains.hop[index] = hanging.hop[index].or_else(first_parent).or_else(of_revision);
        }
        chains
    }

    fn spread(&mut self, graph: &Graph<'_>, queue: &mut VecDeque<usize>, links: &[Link]) {
        while let Some(at) = queue.pop_front() {
            let next = self.distance[at].unwrap_or(0) + 1;
            for &link in links {
                // petgraph gives the newest edge first; the first written is the one to follow.
                let mut below: Vec<usize> = graph.linked(at, link, Direction::Incoming).collect();
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
    pub fn distance(&self, index: usize) -> Option<u32> {
        self.distance[index]
    }

    /// The records from this one up to the goal, itself first; as far as the way goes where it leads to none,
    /// and no more than 50 steps.
    pub fn up(&self, index: usize) -> Vec<usize> {
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

impl Graph<'_> {
    /// All parts, systems and targets that stand below a record, nearest first, each once.
    pub fn below(&self, index: usize) -> Vec<usize> {
        let mut seen = vec![false; self.len()];
        seen[index] = true;
        let mut queue = VecDeque::from([index]);
        let mut all = Vec::new();
        while let Some(at) = queue.pop_front() {
            let mut children: Vec<usize> = self.children(at).collect();
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
}
