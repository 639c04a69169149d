//! Branches of text: the lines of a tree up or down the chain, within a width and a number of links.

use std::collections::HashMap;
use std::fmt::Write as _;

use schema::Kind;
use trace::graph::{Edge, Graph, Link};
use trace::{RecordId, Study};

use super::flow::{cut, flow};
use super::shown_status::{Need, ShownStatus, status};
use super::table::{Paint, faint, plain, strong};
use crate::screen::{Ink, clean, count, width};

/// Draws the lines of a tree.
pub(super) struct Branches<'g> {
    study: &'g Study,
    graph: &'g Graph,
    ink: Ink,
    pub(super) out: String,
    /// Records that were drawn with their branches; they are only named a second time.
    pub(super) drawn: Vec<bool>,
    /// What is shown of each record.
    detail: RecordDetail,
    /// The depth of the branch that is drawn.
    depth: usize,
    /// The depth below which branches are only counted.
    pub(super) levels: usize,
    /// Whether parts were drawn as one line.
    pub(super) folded: bool,
    /// How many links may still be drawn, and how many were.
    left: usize,
    links: usize,
    /// Whether some were not drawn because they are too many.
    is_cut: bool,
}

/// What a tree shows of each record.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum RecordDetail {
    /// The reason of the link, below the name.
    Reason,
    /// Value and status; several parts of a system are one line.
    Status,
    /// Value and status, also of each part.
    StatusOfAll,
}

/// The largest depth, which no chain of a car reaches; deeper branches end with a note.
const DEEPEST: usize = 40;

/// The room that a text needs after the lines of the tree; branches without it end with a note.
const ROOM: usize = 24;

/// The most links below a heading of `why`.
pub(super) const MOST_LINKS: usize = 3_000;

/// From this number of links on, the records that serve another one are shown only as deep as fewer links go.
const MANY_LINKS: usize = 40;

/// The narrowest title that is cut to fit its line.
const SHORT_TITLE: usize = 8;

/// The direction in which a tree grows.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Direction {
    Up,
    Down,
}

/// What a branch leads to.
enum Twig<'g> {
    Record(RecordId, Edge<'g>),
    /// Parts of one system.
    Parts(RecordId, Vec<RecordId>),
}

impl<'g> Branches<'g> {
    pub(super) fn new(study: &'g Study, ink: Ink, detail: RecordDetail) -> Self {
        let graph = &study.graph;
        Self {
            study,
            graph,
            ink,
            out: String::new(),
            drawn: vec![false; graph.len()],
            detail,
            depth: 0,
            levels: usize::MAX,
            folded: false,
            left: usize::MAX,
            links: 0,
            is_cut: false,
        }
    }

    /// The id of a record, and its title.
    pub(super) fn name(&self, index: RecordId) -> Vec<(String, Paint)> {
        let record = self.graph.loaded.record(index);
        let title = record.body.common().title().map(plain);
        std::iter::once(strong(record.id.as_str())).chain(title).collect()
    }

    fn next(&self, index: RecordId, direction: Direction) -> Vec<(RecordId, Edge<'g>)> {
        let links = if direction == Direction::Up { self.graph.outgoing(index) } else { self.graph.incoming(index) };
        links.into_iter().filter(|(_, edge)| edge.link == Link::Serves).collect()
    }

    /// Whether a record has branches.
    fn grows(&self, index: RecordId, direction: Direction) -> bool {
        match direction {
            Direction::Up => self.graph.parents(index).next().is_some(),
            Direction::Down => self.graph.children(index).next().is_some(),
        }
    }

    /// The branches of a record: one per link, or one for several parts of a system.
    fn twigs(&self, index: RecordId, direction: Direction) -> Vec<Twig<'g>> {
        let mut twigs: Vec<Twig<'g>> = Vec::new();
        let mut of_systems: HashMap<RecordId, usize> = HashMap::new();
        for (to, edge) in self.next(index, direction) {
            let folds = self.detail == RecordDetail::Status && self.graph.loaded.kind(to) == Kind::Part;
            let system = if folds && !self.grows(to, direction) { system_of(self.graph, to) } else { None };
            let Some(system) = system else {
                twigs.push(Twig::Record(to, edge));
                continue;
            };
            let at = *of_systems.entry(system).or_insert(twigs.len());
            match twigs.get_mut(at) {
                Some(Twig::Parts(_, parts)) => parts.push(to),
                _ => twigs.push(Twig::Parts(system, vec![to])),
            }
        }
        twigs
    }

    /// Draws the branches of a record.
    pub(super) fn grow(&mut self, index: RecordId, stem: &str, direction: Direction) {
        if !self.grows(index, direction) {
            return;
        }
        let is_narrow = width(stem) + ROOM > self.ink.columns();
        if self.depth == DEEPEST || is_narrow || self.left == 0 {
            self.is_cut |= self.left == 0;
            let text = format!("continues at {}", self.graph.loaded.record(index).id);
            flow(&mut self.out, self.ink, [stem, stem], &[faint(text)]);
            return;
        }
        let next = self.twigs(index, direction);
        self.depth += 1;
        let last = next.len().saturating_sub(1);
        for (number, twig) in next.into_iter().enumerate() {
            if self.left == 0 {
                self.is_cut = true;
                let text = format!("and {} more of {}", last + 1 - number, self.graph.loaded.record(index).id);
                flow(&mut self.out, self.ink, [&format!("{stem}└─ "), stem], &[faint(text)]);
                break;
            }
            self.left -= 1;
            self.links += 1;
            let (fork, below) = if number == last { ("└─ ", "   ") } else { ("├─ ", "│  ") };
            let (fork, below) = (format!("{stem}{fork}"), format!("{stem}{below}"));
            match twig {
                Twig::Record(to, edge) => self.twig(to, edge, [&fork, &below], direction),
                Twig::Parts(system, parts) => self.parts(system, &parts, [&fork, &below]),
            }
        }
        self.depth -= 1;
    }

    /// Draws one branch: `stems` are before its name and before what is below it.
    fn twig(&mut self, to: RecordId, edge: Edge<'g>, [fork, below]: [&str; 2], direction: Direction) {
        let folds = self.depth >= self.levels && !self.drawn[to] && self.grows(to, direction);
        let ends = folds || !self.grows(to, direction);
        let again = self.drawn[to] && !ends;
        if self.detail == RecordDetail::Reason {
            let mut pieces = self.name(to);
            let group = edge.group.map(|group| format!("(inherited from {})", self.graph.loaded.record(group).id));
            pieces.extend(group.map(faint));
            pieces.extend(again.then(|| faint("(shown above)")));
            pieces.extend(folds.then(|| faint(format!("({} directly below)", self.graph.children(to).count()))));
            let bar = if again || ends { "    " } else { "│   " };
            let rest = format!("{below}{bar}");
            flow(&mut self.out, self.ink, [fork, &rest], &pieces);
            let reason = edge.reason.map(str::trim).filter(|reason| !reason.is_empty()).unwrap_or("no reason given");
            let stem = format!("{below}{}", &bar[..bar.len() - 1]);
            flow(&mut self.out, self.ink, [&stem, &stem], &[faint(reason)]);
        } else {
            self.line(to, [fork, below], again);
        }
        if folds {
            self.folded = true;
        } else if !std::mem::replace(&mut self.drawn[to], true) {
            self.grow(to, below, direction);
        }
    }

    /// Draws the line of a record with its value and its status; its title is cut so that it fits.
    pub(super) fn line(&mut self, index: RecordId, stems: [&str; 2], again: bool) {
        let record = self.graph.loaded.record(index);
        let shown = ShownStatus::of(self.study, index);
        let mut after: Vec<(String, Paint)> = Vec::new();
        if !shown.value.is_empty() {
            after.push(plain(shown.value));
        }
        after.extend(shown.status.map(|(word, need)| (word.to_owned(), need.paint())));
        after.extend(again.then(|| faint("(shown above)")));
        let mut pieces = vec![strong(record.id.as_str())];
        if let Some(title) = record.body.common().title() {
            let others: usize = pieces.iter().chain(&after).map(|(text, _)| width(text) + 2).sum();
            let room = self.ink.room().saturating_sub(width(stems[0]) + others);
            // Value and status stay on one line; a title without room for a word is left out.
            if room >= SHORT_TITLE {
                pieces.push(plain(cut(&clean(title), room)));
            }
        }
        pieces.extend(after);
        if self.ink.is_terminal() {
            let rest = format!("{}    ", stems[1]);
            flow(&mut self.out, self.ink, [stems[0], &rest], &pieces);
        } else {
            let texts = pieces.iter().map(|(text, paint)| paint.on(&clean(text), self.ink));
            let _ = writeln!(self.out, "{}{}", stems[0], texts.collect::<Vec<_>>().join("  "));
        }
    }

    /// Draws one line for parts of a system; a single part is drawn itself.
    fn parts(&mut self, system: RecordId, parts: &[RecordId], stems: [&str; 2]) {
        if let [part] = parts {
            self.drawn[*part] = true;
            return self.line(*part, stems, false);
        }
        self.folded = true;
        let mut statuses: Vec<((&'static str, Need), usize)> = Vec::new();
        for part in parts {
            self.drawn[*part] = true;
            let Some(own) = status(self.study, *part) else { continue };
            match statuses.iter_mut().find(|(known, _)| *known == own) {
                Some((_, number)) => *number += 1,
                None => statuses.push((own, 1)),
            }
        }
        // What asks for most is first.
        let urgent = [Need::Failed, Need::Attention, Need::Unknown, Need::Expected, Need::Done];
        statuses.sort_by_key(|((word, need), _)| (urgent.iter().position(|own| own == need), *word));
        let name = format!("{} of {}", count(parts.len(), "part"), self.graph.loaded.record(system).id);
        let mut pieces = vec![plain(name)];
        pieces.extend(statuses.iter().map(|((word, need), number)| (format!("{number} {word}"), need.paint())));
        let rest = format!("{}    ", stems[1]);
        flow(&mut self.out, self.ink, [stems[0], &rest], &pieces);
    }

    /// Begins the branches below a heading: as many links as `why` may show there.
    pub(super) fn begin(&mut self) {
        (self.left, self.links, self.is_cut) = (MOST_LINKS, 0, false);
    }

    /// Limits what is drawn below a record to as many levels as have not too many links, but at least one.
    pub(super) fn fold_below(&mut self, index: RecordId) {
        let (mut seen, mut level, mut links) = (vec![false; self.graph.len()], vec![index], 0);
        for depth in 0.. {
            let mut next = Vec::new();
            for at in level {
                if !std::mem::replace(&mut seen[at], true) {
                    next.extend(self.graph.children(at));
                }
            }
            links += next.len();
            if links > MANY_LINKS || next.is_empty() {
                self.levels = if next.is_empty() { usize::MAX } else { depth.max(1) };
                return;
            }
            level = next;
        }
    }

    /// Ends them with the number of the links that are not shown, if they are too many.
    pub(super) fn end(&mut self, from: &[RecordId], direction: Direction) {
        if !self.is_cut {
            return;
        }
        let all = self.count_links(from, direction);
        let text = format!(
            "{} of {} are shown: `tierod why ID` shows those of another record",
            self.links,
            count(all, "link")
        );
        flow(&mut self.out, self.ink, ["", ""], &[faint(text)]);
    }

    /// How many links the records have that are reached from some, each record once.
    fn count_links(&self, from: &[RecordId], direction: Direction) -> usize {
        let (mut seen, mut queue, mut links) = (vec![false; self.graph.len()], from.to_vec(), 0);
        while let Some(at) = queue.pop() {
            if std::mem::replace(&mut seen[at], true) {
                continue;
            }
            let before = queue.len();
            match direction {
                Direction::Up => queue.extend(self.graph.parents(at)),
                Direction::Down => queue.extend(self.graph.children(at)),
            }
            links += queue.len() - before;
        }
        links
    }
}

/// The system that a part is in.
fn system_of(graph: &Graph, part: RecordId) -> Option<RecordId> {
    graph.loaded.find(graph.loaded.record(part).about()?.as_str())
}
