//! Branches of records as HTML: the ways up to the goals, and everything below. There can be many of them, so that no template
//! renders them.

use std::collections::HashSet;
use std::fmt::Write as _;

use trace::RecordId;
use trace::graph::{Edge, Link};

use super::PageView;
use crate::output::pictures::escaped;
use crate::output::pictures::typeset::typeset;

/// The largest depth, which no chain of a car reaches; deeper branches end with a link to where they continue.
const DEEPEST: usize = 40;

/// The bytes of text that count as a branch more.
const BYTES_OF_ONE: usize = 200;

/// The most branches of one list.
const MOST_OF_ONE: usize = 10_000;

/// This many branches that are only counted cost as much as one that is drawn.
const COUNTED: usize = 8;

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
    drawn: HashSet<RecordId>,
    /// How many branches may still be drawn.
    left: usize,
    /// Whether each link shows its reason.
    reasons: bool,
    out: String,
}

impl<'v, 't> Branches<'v, 't> {
    pub(super) fn new(view: &'v PageView<'t>, direction: Direction) -> Self {
        let reasons = direction == Direction::Up;
        Self { view, direction, drawn: HashSet::new(), left: MOST_OF_ONE, reasons, out: String::new() }
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

    /// Whether a record has branches.
    fn grows(&self, index: RecordId) -> bool {
        let graph = &self.view.study.graph;
        match self.direction {
            Direction::Up => graph.parents(index).next().is_some(),
            Direction::Down => graph.children(index).next().is_some(),
        }
    }

    /// The branches of a record as a list, one per link; empty if it has none.
    pub(super) fn grow(&mut self, index: RecordId) -> String {
        self.drawn.insert(index);
        self.branches(index, 0);
        std::mem::take(&mut self.out)
    }

    fn branches(&mut self, index: RecordId, depth: usize) {
        if !self.grows(index) {
            return;
        }
        self.out.push_str("<ul>");
        let left = self.left.min(self.view.branches_left.get());
        if depth == DEEPEST || (left == 0 && depth > 0) {
            self.continues(index);
        } else {
            let next = self.next(index);
            let mut cost = 0;
            let fit = next.iter().take_while(|(to, edge)| {
                cost += self.cost(*to, edge);
                cost <= left
            });
            let fit = fit.count();
            self.spend(cost.min(left) + (next.len() - fit) / COUNTED);
            if fit < next.len() && depth > 0 {
                self.continues(index);
            } else {
                let more = next.len() - fit;
                for (to, edge) in next.into_iter().take(fit) {
                    self.branch(to, &edge, depth);
                }
                if more > 0 {
                    let id = self.view.id(index);
                    let _ = write!(self.out, "<li>and {more} more: <code>tierod why {}</code>", html(id));
                }
            }
        }
        self.out.push_str("</ul>");
    }

    fn spend(&mut self, branches: usize) {
        self.left = self.left.saturating_sub(branches);
        self.view.branches_left.set(self.view.branches_left.get().saturating_sub(branches));
    }

    /// Where the branches of a record are shown.
    fn continues(&mut self, index: RecordId) {
        self.out.push_str("<li>");
        self.link(index);
        self.out.push_str(" <i>continues here</i>");
    }

    fn link(&mut self, index: RecordId) {
        let (id, title) = (html(self.view.id(index)), html(self.view.title(index)));
        let _ = write!(self.out, "<a href=\"#{id}\">{title}</a>");
    }

    /// How many branches one counts as: more with a long title or reason.
    fn cost(&self, to: RecordId, edge: &Edge<'_>) -> usize {
        let reason = edge.reason.filter(|_| self.reasons).map_or(0, str::len);
        1 + (self.view.title(to).len() + reason) / BYTES_OF_ONE
    }

    fn branch(&mut self, to: RecordId, edge: &Edge<'_>, depth: usize) {
        let view = self.view;
        let first = self.drawn.insert(to);
        self.out.push_str("<li>");
        self.link(to);
        let group = edge.group.filter(|_| self.direction == Direction::Up);
        let group = group.map(|group| format!("inherited from {}", view.title(group)));
        let again = || (!first && self.grows(to)).then(|| "shown above".to_owned());
        if let Some(note) = group.or_else(again) {
            let _ = write!(self.out, " <i>{}</i>", html(&typeset(&note)));
        }
        if self.reasons {
            let reason = edge.reason.map(str::trim).filter(|reason| !reason.is_empty()).unwrap_or("no reason given");
            let _ = write!(self.out, "<q>{}</q>", html(&typeset(reason)));
        }
        if first {
            self.branches(to, depth + 1);
        }
    }
}

/// A text as a template of the page writes it.
fn html(text: &str) -> String {
    escaped(text).replace("&#39;", "&#x27;")
}
