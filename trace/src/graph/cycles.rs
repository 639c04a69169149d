//! Links that lead back to where they began.

use std::collections::VecDeque;
use std::collections::hash_map::Entry;
use std::hash::Hash;

use foldhash::{HashMap, HashMapExt as _};
use petgraph::algo::kosaraju_scc;
use petgraph::graph::DiGraph;
use schema::records::Body;

use super::{Graph, Link, node, record_of};
use crate::ids::RecordId;

/// A way that leads back to its start.
pub struct Cycle {
    /// The records on the way, the one with the smallest id first; the last leads back to it.
    pub path: Vec<RecordId>,
    /// The key whose links make it.
    pub key: &'static str,
}

/// The ids that a record names under `share-of` or `supersedes`.
fn named(body: &Body) -> Vec<&str> {
    match body {
        Body::Target(target) => target.share_of.iter().map(schema::Id::as_str).collect(),
        Body::Analysis(analysis) => analysis.supersedes.iter().map(schema::Id::as_str).collect(),
        _ => Vec::new(),
    }
}

impl Graph {
    /// One cycle, the shortest through its first record, for every knot of links of one kind.
    pub fn cycles(&self) -> Vec<Cycle> {
        let by_link = |link: Link| self.pairs().filter(move |(.., own)| *own == link).map(|(from, to, _)| (from, to));
        let mut all = Vec::new();
        all.extend(self.knots("serves", by_link(Link::Serves)));
        all.extend(self.knots("in", by_link(Link::In)));
        for (key, is_target) in [("share-of", true), ("supersedes", false)] {
            let records = self.loaded.records();
            let own = records.filter(|(_, record)| matches!(record.body, Body::Target(_)) == is_target);
            let pairs = own.flat_map(|(from, record)| {
                named(&record.body).into_iter().filter_map(move |id| Some((from, self.loaded.find(id)?)))
            });
            all.extend(self.knots(key, pairs.collect::<Vec<_>>().into_iter()));
        }
        all
    }

    fn knots(&self, key: &'static str, pairs: impl Iterator<Item = (RecordId, RecordId)>) -> Vec<Cycle> {
        let mut links: DiGraph<(), (), u32> = DiGraph::with_capacity(self.len(), self.len());
        for _ in 0..self.len() {
            links.add_node(());
        }
        let mut out: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
        let mut loops = Vec::new();
        for (from, to) in pairs {
            links.add_edge(node(from), node(to), ());
            out.entry(from).or_default().push(to);
            if from == to {
                loops.push(from);
            }
        }
        let knots = kosaraju_scc(&links).into_iter().filter(|knot| knot.len() > 1);
        let mut cycles: Vec<Cycle> = knots
            .filter_map(|knot| {
                let members: foldhash::HashSet<RecordId> = knot.iter().map(|node| record_of(*node)).collect();
                let start = members.iter().copied().min_by_key(|index| &self.loaded.record(*index).id)?;
                let next = |id| out.get(&id).into_iter().flatten().copied().filter(|next| members.contains(next));
                Some(Cycle { path: shortest_cycle(start, next)?, key })
            })
            .collect();
        cycles.extend(loops.into_iter().map(|one| Cycle { path: vec![one], key }));
        cycles.sort_by_key(|cycle| cycle.path.first().map(|index| &self.loaded.record(*index).id));
        cycles
    }
}

/// The shortest way from a node of a graph back to itself, the node first; none where no way leads back.
pub(crate) fn shortest_cycle<N: Copy + Eq + Hash, I: Iterator<Item = N>>(
    start: N,
    mut next: impl FnMut(N) -> I,
) -> Option<Vec<N>> {
    let mut came_from: HashMap<N, N> = HashMap::new();
    let mut queue = VecDeque::from([start]);
    while let Some(at) = queue.pop_front() {
        for to in next(at) {
            if to == start {
                let mut way = vec![at];
                let mut back = at;
                while back != start {
                    back = *came_from.get(&back)?;
                    way.push(back);
                }
                way.reverse();
                return Some(way);
            }
            if let Entry::Vacant(new) = came_from.entry(to) {
                new.insert(at);
                queue.push_back(to);
            }
        }
    }
    None
}
