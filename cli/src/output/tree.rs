//! Trees of text: the chains from a record to the goals, the records that serve it, and the whole graph from the goals
//! down.

use std::fmt::Write as _;

use trace::graph::{Edge, Graph, Link};
use trace::stress::of_part;
use trace::{RecordId, Study};

use super::numbers::{margin, spread};
use super::values::limit_text;
use super::{Paths, stress};
use crate::screen::{Ink, clean, count};

/// Draws the lines of a tree.
struct Branches<'g> {
    graph: &'g Graph,
    ink: Ink,
    out: String,
    /// Records that were drawn with their branches; they are only named a second time.
    drawn: Vec<bool>,
    /// Whether reasons are shown.
    reasons: bool,
    /// The depth of the branch that is drawn.
    depth: usize,
}

/// The largest depth, which no chain of a car reaches; deeper branches end with a note.
const DEEPEST: usize = 40;

/// The direction in which a tree grows.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Direction {
    Up,
    Down,
}

impl<'g> Branches<'g> {
    fn new(graph: &'g Graph, ink: Ink, reasons: bool) -> Self {
        Self { graph, ink, out: String::new(), drawn: vec![false; graph.len()], reasons, depth: 0 }
    }

    fn name(&self, index: RecordId) -> String {
        let record = self.graph.loaded.record(index);
        let id = self.ink.strong(record.id.as_str());
        match record.body.common().title() {
            Some(title) => format!("{id}  {}", clean(title)),
            None => id,
        }
    }

    fn next(&self, index: RecordId, direction: Direction) -> Vec<(RecordId, Edge<'g>)> {
        let links = if direction == Direction::Up { self.graph.outgoing(index) } else { self.graph.incoming(index) };
        links.into_iter().filter(|(_, edge)| edge.link == Link::Serves).collect()
    }

    /// Draws the branches of a record, one per link.
    fn grow(&mut self, index: RecordId, stem: &str, direction: Direction) {
        let next = self.next(index, direction);
        if self.depth == DEEPEST && !next.is_empty() {
            let id = &self.graph.loaded.record(index).id;
            let _ = writeln!(self.out, "{stem}{}", self.ink.faint(&format!("continues at {id}")));
            return;
        }
        self.depth += 1;
        let last = next.len().saturating_sub(1);
        for (number, (to, edge)) in next.into_iter().enumerate() {
            let (fork, below) = if number == last { ("└─ ", "   ") } else { ("├─ ", "│  ") };
            let again = self.drawn[to] && !self.next(to, direction).is_empty();
            let group = edge.group.map(|group| format!("  (inherited from {})", self.graph.loaded.record(group).id));
            let mut more = group.filter(|_| self.reasons).map(|text| self.ink.faint(&text)).unwrap_or_default();
            if again {
                more.push_str(&self.ink.faint("  (shown above)"));
            }
            let _ = writeln!(self.out, "{stem}{fork}{}{more}", self.name(to));
            let stem = format!("{stem}{below}");
            if self.reasons {
                let bar = if again || self.next(to, direction).is_empty() { ' ' } else { '│' };
                let text = match edge.reason.map(str::trim).filter(|reason| !reason.is_empty()) {
                    Some(reason) => reason.to_owned(),
                    None => "no reason given".to_owned(),
                };
                let mut block = String::new();
                self.ink.block(&mut block, "", 0, &text);
                for line in block.lines() {
                    let _ = writeln!(self.out, "{stem}{bar}{}", self.ink.faint(line));
                }
            }
            if !std::mem::replace(&mut self.drawn[to], true) {
                self.grow(to, &stem, direction);
            }
        }
        self.depth -= 1;
    }
}

/// The output of `why`.
pub(crate) fn why(study: &Study, index: RecordId, ink: Ink) -> String {
    let (graph, loaded) = (&study.graph, &study.loaded);
    let record = loaded.record(index);
    let file = loaded.path(loaded.file(index));
    let line = trace::report::RecordPositions::new(&graph.loaded).start(index).line;

    let mut branches = Branches::new(graph, ink, true);
    let _ = writeln!(branches.out, "{}", branches.name(index));
    let about = record.about().map(|about| format!(" of {about}")).unwrap_or_default();
    let lead = graph.lead(index).map(|lead| format!(", lead: {}", clean(lead))).unwrap_or_default();
    let position = format!("{}:{line}", clean(&Paths::new(loaded).shown(file)));
    let _ = writeln!(branches.out, "{}", ink.faint(&format!("{}{about}, {position}{lead}", record.kind())));

    if let Some(text) = value_text(study, index) {
        let _ = writeln!(branches.out, "{text}");
    }
    for line in super::evidence::lines(study, index) {
        let _ = writeln!(branches.out, "{}", clean(&line));
    }

    let heading = |out: &mut String, text: &str| {
        let _ = writeln!(out, "\n{}", ink.strong(text));
    };
    let linked: Vec<(RecordId, Link)> = graph
        .outgoing(index)
        .into_iter()
        .filter(|(_, edge)| !matches!(edge.link, Link::Serves | Link::In | Link::Of))
        .map(|(to, edge)| (to, edge.link))
        .collect();
    if !linked.is_empty() {
        heading(&mut branches.out, "linked to");
        for (to, link) in &linked {
            let _ = writeln!(branches.out, "{} {}", link.word(), branches.name(*to));
            branches.drawn[*to] = true;
            branches.grow(*to, "", Direction::Up);
        }
    }
    let chained = record.kind().needs_parent();
    if graph.parents(index).next().is_some() || (linked.is_empty() && chained) {
        heading(&mut branches.out, "why it exists");
        if graph.parents(index).next().is_none() {
            let _ = writeln!(branches.out, "it serves nothing");
        }
        branches.drawn[index] = true;
        branches.grow(index, "", Direction::Up);
    }

    if loaded.part(index).is_some() {
        stress::text(study, &of_part(study, index), &mut branches.out, ink);
    }
    for line in agreement(record) {
        let _ = writeln!(branches.out, "{line}");
    }
    let below = graph.below(index);
    if below.is_empty() && !chained {
        return branches.out;
    }
    heading(&mut branches.out, "served by");
    if below.is_empty() {
        let _ = writeln!(branches.out, "no record serves it");
    } else {
        branches.drawn.fill(false);
        branches.drawn[index] = true;
        branches.grow(index, "", Direction::Down);
    }

    let references: Vec<(RecordId, Link)> = graph
        .incoming(index)
        .into_iter()
        .filter(|(_, edge)| edge.link != Link::Serves)
        .map(|(from, edge)| (from, edge.link))
        .collect();
    if !references.is_empty() {
        heading(&mut branches.out, "referenced by");
        let width = references.iter().map(|(from, _)| loaded.record(*from).kind().singular().len()).max().unwrap_or(0);
        for (from, link) in references {
            let relation = match link {
                Link::Verifies => "measures it",
                Link::Reads => "has its value at the contest",
                Link::Finds => "finds its value",
                Link::Criteria => "uses it as a criterion",
                Link::Informs => "informs it",
                Link::In => "is in it",
                Link::Of => "is about it",
                Link::Serves => "serves it",
            };
            let kind = loaded.record(from).kind().singular();
            let _ = writeln!(branches.out, "{kind:width$}  {}  {}", branches.name(from), ink.faint(relation));
        }
    }
    branches.out
}

/// The content of a revision or a waiver, as lines.
fn agreement(record: &schema::Record) -> Vec<String> {
    use schema::records::Body;
    let (what, by, reason) = match &record.body {
        Body::Revision(r) => {
            let text = |q: &Option<schema::Quantity>| q.as_ref().map_or_else(|| "?".to_owned(), ToString::to_string);
            let date = r.date.map(|date| format!(" on {date}")).unwrap_or_default();
            (format!("from {} to {}{date}", text(&r.from), text(&r.to)), &r.agreed_by, &r.reason)
        }
        Body::Waiver(w) => {
            let id = |id: &Option<schema::Id>| id.as_ref().map_or_else(|| "?".to_owned(), ToString::to_string);
            let until = w.until.map(|until| format!(" until {until}")).unwrap_or_default();
            (format!("{} on {} is accepted{until}", id(&w.check), id(&w.of)), &w.agreed_by, &w.reason)
        }
        Body::Goal(_)
        | Body::Event(_)
        | Body::System(_)
        | Body::Target(_)
        | Body::Requirement(_)
        | Body::Part(_)
        | Body::Analysis(_)
        | Body::Decision(_)
        | Body::Result(_) => return Vec::new(),
    };
    let by = by.iter().map(|by| format!("agreed by the {}", clean(by)));
    std::iter::once(what).chain(by).chain(reason.iter().map(|reason| clean(reason))).collect()
}

/// The value of a record as text: with limit, status and margin for a target, with points for an event or a goal.
fn value_text(study: &Study, index: RecordId) -> Option<String> {
    let values = study.values();
    let node = values.record_node(index)?;
    let now = values.spread(node).map_or_else(|| "no value yet".to_owned(), |own| spread(&own, values.unit(node)));
    let Some(target) = study.target_statuses().iter().find(|target| target.index == index) else {
        return Some(now);
    };
    let margin = margin(target, values.unit(node)).map(|margin| format!(", margin {margin}")).unwrap_or_default();
    Some(format!("{now}, {}: {}{margin}", limit_text(&study.loaded, index), target.status.word()))
}

/// The whole graph from the goals down, or from one record.
pub(crate) fn graph(graph: &Graph, top: Option<RecordId>, ink: Ink) -> String {
    let mut branches = Branches::new(graph, ink, false);
    let tops: Vec<RecordId> = match top {
        Some(index) => vec![index],
        None => graph.loaded.goals().map(|(goal, ..)| goal).collect(),
    };
    for index in tops {
        let _ = writeln!(branches.out, "{}", branches.name(index));
        branches.drawn[index] = true;
        branches.grow(index, "", Direction::Down);
    }
    if top.is_none() {
        let chained = |index: &RecordId| graph.loaded.record(*index).kind().must_reach_goal();
        let unlinked: Vec<RecordId> =
            graph.loaded.record_ids().filter(|index| chained(index) && !branches.drawn[*index]).collect();
        if !unlinked.is_empty() {
            let _ = writeln!(branches.out, "\n{}", ink.strong("without a path to a goal"));
            for &index in &unlinked {
                let _ = writeln!(branches.out, "{}", branches.name(index));
            }
        }
        let edges = graph.edges().count();
        let _ = writeln!(branches.out, "\n{}, {}", count(graph.len(), "record"), count(edges, "link"));
    }
    branches.out
}
