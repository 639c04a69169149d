//! Links that lead back to where they began.

use std::collections::VecDeque;

use foldhash::{HashMap, HashMapExt as _};
use petgraph::algo::kosaraju_scc;
use petgraph::graph::DiGraph;
use schema::records::Body;

use super::{Graph, Link, node};

/// A way that leads back to its start.
pub struct Cycle {
    /// The records on the way, the one with the smallest id first; the last leads back to it.
    pub way: Vec<usize>,
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

impl Graph<'_> {
    /// One cycle, the shortest through its first record, for every knot of links of one kind.
    pub fn cycles(&self) -> Vec<Cycle> {
        let by_link =
            |link: Link| self.edges().filter(move |(.., edge)| edge.link == link).map(|(from, to, _)| (from, to));
        let mut all = Vec::new();
        all.extend(self.knots("serves", by_link(Link::Serves)));
        all.extend(self.knots("in", by_link(Link::In)));
        for (key, is_target) in [("share-of", true), ("supersedes", false)] {
            let entries = self.loaded.entries.iter().enumerate();
            let own = entries.filter(|(_, entry)| matches!(entry.record.body, Body::Target(_)) == is_target);
            let pairs = own.flat_map(|(from, entry)| {
                named(&entry.record.body).into_iter().filter_map(move |id| Some((from, self.loaded.find(id)?)))
            });
            all.extend(self.knots(key, pairs.collect::<Vec<_>>().into_iter()));
        }
        all
    }

    fn knots(&self, key: &'static str, pairs: impl Iterator<Item = (usize, usize)>) -> Vec<Cycle> {
        let mut links: DiGraph<(), (), u32> = DiGraph::with_capacity(self.len(), self.len());
        for _ in 0..self.len() {
            links.add_node(());
        }
        let mut out: HashMap<usize, Vec<usize>> = HashMap::new();
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
                let members: foldhash::HashSet<usize> = knot.iter().map(|index| index.index()).collect();
                let start = members.iter().copied().min_by_key(|index| &self.loaded.record(*index).id)?;
                Some(Cycle { way: shortest(&out, start, &members)?, key })
            })
            .collect();
        cycles.extend(loops.into_iter().map(|one| Cycle { way: vec![one], key }));
        cycles.sort_by_key(|cycle| cycle.way.first().map(|index| &self.loaded.record(*index).id));
        cycles
    }
}

/// The shortest way from a record back to itself inside its knot.
fn shortest(out: &HashMap<usize, Vec<usize>>, start: usize, members: &foldhash::HashSet<usize>) -> Option<Vec<usize>> {
    let mut came_from: HashMap<usize, usize> = HashMap::new();
    let mut queue = VecDeque::from([start]);
    while let Some(at) = queue.pop_front() {
        for &next in out.get(&at).into_iter().flatten().filter(|next| members.contains(next)) {
            if next == start {
                let mut way = vec![at];
                let mut back = at;
                while back != start {
                    back = *came_from.get(&back)?;
                    way.push(back);
                }
                way.reverse();
                return Some(way);
            }
            if let std::collections::hash_map::Entry::Vacant(new) = came_from.entry(next) {
                new.insert(at);
                queue.push_back(next);
            }
        }
    }
    None
}
