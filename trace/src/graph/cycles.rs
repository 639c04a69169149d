//! Cycles of links.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, VecDeque};
use std::hash::Hash;

use foldhash::{HashMap, HashMapExt as _};
use petgraph::algo::{kosaraju_scc, toposort};
use petgraph::graph::DiGraph;
use schema::records::Body;

use super::{Graph, Link, node, record_of};
use crate::ids::RecordId;

/// Links that lead back to their first record.
pub struct Cycle {
    /// The records in the order of their links, the smallest id first; the last links to the first.
    pub path: Vec<RecordId>,
    /// The key of these links.
    pub key: &'static str,
}

/// The key of a record that names others without a link in the graph, and these ids.
fn ids_without_link(body: &Body) -> Option<(&'static str, &[schema::Id])> {
    match body {
        Body::Target(target) => Some(("share-of", target.share_of.as_slice())),
        Body::Analysis(analysis) => Some(("supersedes", analysis.supersedes.as_slice())),
        Body::Result(result) => Some(("supersedes", result.supersedes.as_slice())),
        Body::Goal(_)
        | Body::Event(_)
        | Body::System(_)
        | Body::Requirement(_)
        | Body::Part(_)
        | Body::Decision(_)
        | Body::Revision(_)
        | Body::Waiver(_) => None,
    }
}

impl Graph {
    /// One cycle for every strongly connected component of links of one kind: the shortest one through its first record.
    pub fn cycles(&self) -> Vec<Cycle> {
        let by_link = |link: Link| self.pairs().filter(move |(.., own)| *own == link).map(|(from, to, _)| (from, to));
        let mut all = Vec::new();
        all.extend(self.cycles_of("serves", by_link(Link::Serves)));
        all.extend(self.cycles_of("in", by_link(Link::In)));
        let mut by_key: BTreeMap<&str, Vec<(RecordId, RecordId)>> = BTreeMap::new();
        for (from, record) in self.loaded.records() {
            let Some((key, ids)) = ids_without_link(&record.body) else { continue };
            let pairs = ids.iter().filter_map(|id| Some((from, self.loaded.find(id.as_str())?)));
            by_key.entry(key).or_default().extend(pairs);
        }
        for (key, pairs) in by_key {
            all.extend(self.cycles_of(key, pairs.into_iter()));
        }
        all
    }

    fn cycles_of(&self, key: &'static str, pairs: impl Iterator<Item = (RecordId, RecordId)>) -> Vec<Cycle> {
        let mut pairs = pairs.peekable();
        if pairs.peek().is_none() {
            return Vec::new();
        }
        let mut links: DiGraph<(), (), u32> = DiGraph::with_capacity(self.len(), self.len());
        for _ in 0..self.len() {
            links.add_node(());
        }
        let mut to_itself = Vec::new();
        for (from, to) in pairs {
            links.add_edge(node(from), node(to), ());
            if from == to {
                to_itself.push(from);
            }
        }
        if toposort(&links, None).is_ok() {
            return Vec::new();
        }
        let mut out: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
        for edge in links.raw_edges() {
            out.entry(record_of(edge.source())).or_default().push(record_of(edge.target()));
        }
        let components = kosaraju_scc(&links).into_iter().filter(|component| component.len() > 1);
        let mut cycles: Vec<Cycle> = components
            .filter_map(|component| {
                let members: foldhash::HashSet<RecordId> = component.iter().map(|node| record_of(*node)).collect();
                let start = members.iter().copied().min_by_key(|index| &self.loaded.record(*index).id)?;
                let next = |id| out.get(&id).into_iter().flatten().copied().filter(|next| members.contains(next));
                Some(Cycle { path: shortest_cycle(start, next)?, key })
            })
            .collect();
        cycles.extend(to_itself.into_iter().map(|id| Cycle { path: vec![id], key }));
        cycles.sort_by_key(|cycle| cycle.path.first().map(|index| &self.loaded.record(*index).id));
        cycles
    }
}

/// The shortest path from a node of a graph back to itself, starting with the node; `None` if there is no such path.
pub(crate) fn shortest_cycle<N: Copy + Eq + Hash, I: Iterator<Item = N>>(
    start: N,
    mut next: impl FnMut(N) -> I,
) -> Option<Vec<N>> {
    let mut came_from: HashMap<N, N> = HashMap::new();
    let mut queue = VecDeque::from([start]);
    while let Some(at) = queue.pop_front() {
        for to in next(at) {
            if to == start {
                let mut path = vec![at];
                let mut back = at;
                while back != start {
                    back = *came_from.get(&back)?;
                    path.push(back);
                }
                path.reverse();
                return Some(path);
            }
            if let Entry::Vacant(new) = came_from.entry(to) {
                new.insert(at);
                queue.push_back(to);
            }
        }
    }
    None
}
