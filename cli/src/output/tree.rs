//! Trees of text: the chains from a record to the goals, the records that serve it, and the whole graph from the goals
//! down.

use std::collections::HashMap;
use std::fmt::Write as _;

use schema::Kind;
use trace::graph::{Edge, Graph, Link};
use trace::stress::of_part;
use trace::{RecordId, Study};

use super::flow::{cut, flow};
use super::numbers::{margin, spread};
use super::standing::{Need, Standing, status};
use super::table::{Paint, faint, plain, strong};
use super::values::limit_text;
use super::{Paths, stress};
use crate::screen::{Ink, clean, count, width};

/// Draws the lines of a tree.
struct Branches<'g> {
    study: &'g Study,
    graph: &'g Graph,
    ink: Ink,
    out: String,
    /// Records that were drawn with their branches; they are only named a second time.
    drawn: Vec<bool>,
    /// What is beside each record.
    beside: Beside,
    /// The depth of the branch that is drawn.
    depth: usize,
    /// Whether parts were drawn as one line.
    folded: bool,
    /// How many links may still be drawn, and how many were.
    left: usize,
    links: usize,
    /// Whether some were not drawn because they are too many.
    is_cut: bool,
}

/// What a tree shows of each record.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Beside {
    /// The reason of the link, below the name.
    Reason,
    /// Value and status; several parts of a system are one line.
    Standing,
    /// Value and status, also of each part.
    StandingOfAll,
}

/// The largest depth, which no chain of a car reaches; deeper branches end with a note.
const DEEPEST: usize = 40;

/// The room that a text needs after the lines of the tree; branches without it end with a note.
const ROOM: usize = 24;

/// The most links below a heading of `why`.
const MOST_LINKS: usize = 3_000;

/// The narrowest title that is cut to fit its line.
const SHORT_TITLE: usize = 8;

/// The direction in which a tree grows.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Direction {
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
    fn new(study: &'g Study, ink: Ink, beside: Beside) -> Self {
        let graph = &study.graph;
        Self {
            study,
            graph,
            ink,
            out: String::new(),
            drawn: vec![false; graph.len()],
            beside,
            depth: 0,
            folded: false,
            left: usize::MAX,
            links: 0,
            is_cut: false,
        }
    }

    /// The id of a record, and its title.
    fn name(&self, index: RecordId) -> Vec<(String, Paint)> {
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
            let folds = self.beside == Beside::Standing && self.graph.loaded.kind(to) == Kind::Part;
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
    fn grow(&mut self, index: RecordId, stem: &str, direction: Direction) {
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
        let ends = !self.grows(to, direction);
        let again = self.drawn[to] && !ends;
        if self.beside == Beside::Reason {
            let mut pieces = self.name(to);
            let group = edge.group.map(|group| format!("(inherited from {})", self.graph.loaded.record(group).id));
            pieces.extend(group.map(faint));
            pieces.extend(again.then(|| faint("(shown above)")));
            let bar = if again || ends { "    " } else { "│   " };
            let rest = format!("{below}{bar}");
            flow(&mut self.out, self.ink, [fork, &rest], &pieces);
            let reason = edge.reason.map(str::trim).filter(|reason| !reason.is_empty()).unwrap_or("no reason given");
            let stem = format!("{below}{}", &bar[..bar.len() - 1]);
            flow(&mut self.out, self.ink, [&stem, &stem], &[faint(reason)]);
        } else {
            self.line(to, [fork, below], again);
        }
        if !std::mem::replace(&mut self.drawn[to], true) {
            self.grow(to, below, direction);
        }
    }

    /// Draws the line of a record with its value and its status; its title is cut so that it fits.
    fn line(&mut self, index: RecordId, stems: [&str; 2], again: bool) {
        let record = self.graph.loaded.record(index);
        let standing = Standing::of(self.study, index);
        let mut after: Vec<(String, Paint)> = Vec::new();
        if !standing.value.is_empty() {
            after.push(plain(standing.value));
        }
        after.extend(standing.status.map(|(word, need)| (word.to_owned(), need.paint())));
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
}

impl Branches<'_> {
    /// Begins the branches below a heading: as many links as `why` may show there.
    fn begin(&mut self) {
        (self.left, self.links, self.is_cut) = (MOST_LINKS, 0, false);
    }

    /// Ends them with the number of the links that are not shown, if they are too many.
    fn end(&mut self, from: &[RecordId], direction: Direction) {
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

/// The output of `why`.
pub(crate) fn why(study: &Study, index: RecordId, ink: Ink) -> String {
    let (graph, loaded) = (&study.graph, &study.loaded);
    let record = loaded.record(index);
    let file = loaded.path(loaded.file(index));
    let line = trace::report::RecordPositions::new(&graph.loaded).start(index).line;

    let mut branches = Branches::new(study, ink, Beside::Reason);
    let name = branches.name(index);
    let add = |out: &mut String, pieces: &[(String, Paint)]| flow(out, ink, ["", "  "], pieces);
    add(&mut branches.out, &name);
    let about = record.about().map(|about| format!(" of {about}")).unwrap_or_default();
    let lead = graph.lead(index).map(|lead| format!(", lead: {}", clean(lead))).unwrap_or_default();
    let position = format!("{}:{line}", clean(&Paths::new(loaded).shown(file)));
    add(&mut branches.out, &[faint(format!("{}{about}, {position}{lead}", record.kind()))]);

    if let Some(text) = value_text(study, index) {
        add(&mut branches.out, &[plain(text)]);
    }
    for line in super::evidence::lines(study, index) {
        let stem = if line.starts_with("  ") { "  " } else { "" };
        flow(&mut branches.out, ink, [stem, "    "], &[plain(line)]);
    }

    let heading = |out: &mut String, text: &str| {
        let _ = writeln!(out, "\n{}", ink.strong(text));
    };
    let more = |out: &mut String, all: usize| {
        if all > MOST_LINKS {
            flow(out, ink, ["", ""], &[faint(format!("and {} more", all - MOST_LINKS))]);
        }
    };
    let linked: Vec<(RecordId, Link)> = graph
        .outgoing(index)
        .into_iter()
        .filter(|(_, edge)| !matches!(edge.link, Link::Serves | Link::In | Link::Of))
        .map(|(to, edge)| (to, edge.link))
        .collect();
    if !linked.is_empty() {
        heading(&mut branches.out, "linked to");
        branches.begin();
        for (to, link) in linked.iter().take(MOST_LINKS) {
            let name = branches.name(*to);
            flow(&mut branches.out, ink, [&format!("{} ", link.word()), "    "], &name);
            branches.drawn[*to] = true;
            branches.grow(*to, "", Direction::Up);
        }
        more(&mut branches.out, linked.len());
        let tops: Vec<RecordId> = linked.iter().map(|(to, _)| *to).collect();
        branches.end(&tops, Direction::Up);
    }
    let chained = record.kind().needs_parent();
    if graph.parents(index).next().is_some() || (linked.is_empty() && chained) {
        heading(&mut branches.out, "why it exists");
        if graph.parents(index).next().is_none() {
            let _ = writeln!(branches.out, "it serves nothing");
        }
        branches.drawn[index] = true;
        branches.begin();
        branches.grow(index, "", Direction::Up);
        branches.end(&[index], Direction::Up);
    }

    if loaded.part(index).is_some() {
        stress::text(study, &of_part(study, index), &mut branches.out, ink);
    }
    for line in agreement(record) {
        add(&mut branches.out, &[plain(line)]);
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
        branches.begin();
        branches.grow(index, "", Direction::Down);
        branches.end(&[index], Direction::Down);
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
        let all = references.len();
        for (from, link) in references.into_iter().take(MOST_LINKS) {
            let relation = relation(link);
            let kind = format!("{:width$}  ", loaded.record(from).kind().singular());
            let mut pieces = branches.name(from);
            pieces.push(faint(relation));
            flow(&mut branches.out, ink, [&kind, &" ".repeat(width + 2)], &pieces);
        }
        more(&mut branches.out, all);
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

/// The whole graph from the goals down, or from one record, with value and status. `all`: each part has a line.
pub(crate) fn graph(study: &Study, top: Option<RecordId>, all: bool, ink: Ink) -> String {
    let graph = &study.graph;
    let mut branches = Branches::new(study, ink, if all { Beside::StandingOfAll } else { Beside::Standing });
    let tops: Vec<RecordId> = match top {
        Some(index) => vec![index],
        None => graph.loaded.goals().map(|(goal, ..)| goal).collect(),
    };
    for index in tops {
        branches.line(index, ["", ""], false);
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
                branches.line(index, ["", ""], false);
            }
        }
        let edges = graph.edges().count();
        let _ = writeln!(branches.out, "\n{}, {}", count(graph.len(), "record"), count(edges, "link"));
        if branches.folded {
            let _ = writeln!(branches.out, "{}", ink.faint("`--all` lists each part"));
        }
    }
    branches.out
}

/// What a record does that names another one by a link, in words: `is in it`.
pub(crate) fn relation(link: Link) -> &'static str {
    match link {
        Link::Verifies => "measures it",
        Link::Reads => "has its value at the contest",
        Link::Finds => "finds its value",
        Link::Criteria => "uses it as a criterion",
        Link::Informs => "informs it",
        Link::In => "is in it",
        Link::Of => "is about it",
        Link::Serves => "serves it",
    }
}

#[cfg(test)]
mod tests {
    use std::path::{Path, PathBuf};

    use trace::snapshot::{Request, State};
    use trace::{Project, Study};

    use super::*;
    use crate::output::compare::{self, Comparison, View, When};

    fn study(folder: &Path) -> Study {
        let request = Request { cwd: folder.to_owned(), path: None, state: State::Worktree };
        let project = Project::open(&request);
        let loaded = project.load().unwrap().with_all_stress_files(&project);
        let day = loaded.day(None, || schema::Day::parse("2027-07-20").unwrap());
        Study::without_history(loaded, day)
    }

    /// The example car as it ships, and at the end of its season.
    fn studies() -> Vec<Study> {
        let example = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../example-car");
        let season = tempfile::tempdir().unwrap();
        let last = crate::season::read().unwrap().commits().unwrap().pop().unwrap();
        for (path, bytes) in &last.files {
            let path = season.path().join(path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        }
        vec![study(&example), study(season.path())]
    }

    #[track_caller]
    fn assert_fits(text: &str, columns: usize, what: &str) {
        for line in text.lines() {
            assert!(width(line) <= columns, "{what} at {columns} columns: {} wide\n{line}", width(line));
        }
    }

    /// For every record and decision of the example and of its season.
    #[test]
    fn no_line_is_wider_than_the_terminal() {
        let mut records = 0;
        let mut decisions = 0;
        for study in studies() {
            for columns in [80, 60] {
                let ink = Ink::plain(columns);
                for index in study.loaded.record_ids() {
                    let id = study.loaded.record(index).id.as_str();
                    assert_fits(&why(&study, index, ink), columns, &format!("why {id}"));
                    records += 1;
                    if study.loaded.decision(index).is_none() {
                        continue;
                    }
                    let view = View::new(&study, index, None).unwrap();
                    for then in [None, Some(Ok(&view)), Some(Err("there was no goal".to_owned()))] {
                        let comparison = Comparison { now: &view, when: When::Both, chosen_at: None, then };
                        assert_fits(&compare::terminal(&comparison, ink), columns, &format!("compare {id}"));
                    }
                    decisions += 1;
                }
                for all in [false, true] {
                    assert_fits(&graph(&study, None, all, ink), columns, "graph");
                }
            }
        }
        assert!(records > 1400 && decisions >= 24, "{records} records, {decisions} decisions");
    }

    #[test]
    fn a_deep_chain_stays_inside_the_width() {
        use std::fmt::Write as _;
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("tierod.yaml"), "season: 2027\n").unwrap();
        let mut text = "targets:\n  t0: {of: car, at-most: 1 s}\n".to_owned();
        for number in 1..60 {
            let _ = writeln!(
                text,
                "  t{number}: {{of: car, at-most: 1 s, serves: {{t{}: It is a longer reason.}}}}",
                number - 1
            );
        }
        std::fs::write(folder.path().join("deep.yaml"), text).unwrap();
        let study = study(folder.path());
        let top = study.loaded.named("t0").unwrap();
        let shown = graph(&study, Some(top), false, Ink::plain(60));
        assert_fits(&shown, 60, "graph");
        assert!(shown.contains("continues at t13\n"), "{shown}");
        assert_fits(&why(&study, study.loaded.named("t59").unwrap(), Ink::plain(60)), 60, "why");
    }
}
