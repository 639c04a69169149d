//! Branches of records: the ways up to the goals, and everything below.

use serde_json::{Value, json};
use trace::RecordId;
use trace::graph::{Edge, Link};

use super::PageView;

/// The largest depth, which no chain of a car reaches; deeper branches end with a link to where they continue.
const DEEPEST: usize = 40;

/// The bytes of text that count as a branch more.
const BYTES_OF_ONE: usize = 200;

/// The direction in which branches grow.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Direction {
    Up,
    Down,
}

/// Grows the branches of records, each only once, and no more than the page may have.
pub(super) struct Branches<'v, 't> {
    view: &'v PageView<'t>,
    direction: Direction,
    drawn: Vec<bool>,
    /// Whether each link shows its reason.
    reasons: bool,
}

impl<'v, 't> Branches<'v, 't> {
    pub(super) fn new(view: &'v PageView<'t>, direction: Direction) -> Self {
        Self {
            view,
            direction,
            drawn: vec![false; view.study.loaded.entries.len()],
            reasons: direction == Direction::Up,
        }
    }

    /// The same without the reasons.
    pub(super) fn titles(view: &'v PageView<'t>, direction: Direction) -> Self {
        Self { reasons: false, ..Self::new(view, direction) }
    }

    fn next(&self, index: RecordId) -> Vec<(RecordId, Edge<'t>)> {
        let graph = &self.view.study.graph;
        let links = if self.direction == Direction::Up { graph.outgoing(index) } else { graph.incoming(index) };
        links.into_iter().filter(|(_, edge)| edge.link == Link::Serves).collect()
    }

    /// The branches of a record, one per link.
    pub(super) fn grow(&mut self, index: RecordId) -> Vec<Value> {
        self.drawn[index] = true;
        self.branches(index, 0)
    }

    fn branches(&mut self, index: RecordId, depth: usize) -> Vec<Value> {
        let next = self.next(index);
        let left = self.view.branches_left.get();
        let cost: usize = next.iter().map(|(to, edge)| self.cost(*to, edge)).sum();
        self.view.branches_left.set(left.saturating_sub(cost));
        if (depth == DEEPEST || left < cost) && !next.is_empty() {
            return vec![
                json!({"record": self.view.link(index), "reason": Value::Null, "note": "continues here", "below": []}),
            ];
        }
        next.into_iter().map(|(to, edge)| self.branch(to, &edge, depth)).collect()
    }

    /// How many branches one counts as: more with a long title or reason.
    fn cost(&self, to: RecordId, edge: &Edge<'_>) -> usize {
        let reason = edge.reason.filter(|_| self.reasons).map_or(0, str::len);
        1 + (self.view.title(to).len() + reason) / BYTES_OF_ONE
    }

    fn branch(&mut self, to: RecordId, edge: &Edge<'_>, depth: usize) -> Value {
        let view = self.view;
        let again = self.drawn[to] && !self.next(to).is_empty();
        let below =
            if std::mem::replace(&mut self.drawn[to], true) { Vec::new() } else { self.branches(to, depth + 1) };
        let up = self.direction == Direction::Up;
        let reason = edge.reason.map(str::trim).filter(|reason| !reason.is_empty()).unwrap_or("no reason given");
        let group = edge.group.filter(|_| up).map(|group| format!("inherited from {}", view.title(group)));
        json!({
            "record": view.link(to),
            "reason": self.reasons.then_some(reason),
            "note": group.or_else(|| again.then(|| "shown above".to_owned())),
            "below": below,
        })
    }
}
