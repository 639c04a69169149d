//! Trees of text: the chains from a record to the goals, the records that serve it, and the whole graph from the goals
//! down.

use std::fmt::Write as _;

use trace::graph::Link;
use trace::stress::of_part;
use trace::{RecordId, Study};

use super::branches::{Branches, Direction, MOST_LINKS, RecordDetail};
use super::flow::flow;
use super::numbers::{margin, spread};
use super::table::{Paint, faint, plain};
use super::values::limit_text;
use super::{Paths, stress};
use crate::screen::{Ink, clean, count};

/// The output of `why`. `all`: everything below it, however much that is.
pub(crate) fn why(study: &Study, index: RecordId, all: bool, ink: Ink) -> String {
    let (graph, loaded) = (&study.graph, &study.loaded);
    let record = loaded.record(index);
    let file = loaded.path(loaded.file(index));
    let line = trace::RecordPositions::new(&graph.loaded).start(index).line;

    let mut branches = Branches::new(study, ink, RecordDetail::Reason);
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
        if !all {
            branches.fold_below(index);
        }
        branches.grow(index, "", Direction::Down);
        branches.end(&[index], Direction::Down);
        if branches.folded {
            let text = "`--all` shows what is below these, and `tierod why ID` what is below one of them";
            add(&mut branches.out, &[faint(text)]);
        }
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
    let Some(target) = study.target_status(index) else {
        return Some(now);
    };
    let margin = margin(target, values.unit(node)).map(|margin| format!(", margin {margin}")).unwrap_or_default();
    Some(format!("{now}, {}: {}{margin}", limit_text(&study.loaded, index), target.status.word()))
}

/// The whole graph from the goals down, or from one record, with value and status. `all`: each part has a line.
pub(crate) fn graph(study: &Study, top: Option<RecordId>, all: bool, ink: Ink) -> String {
    let graph = &study.graph;
    let mut branches = Branches::new(study, ink, if all { RecordDetail::StatusOfAll } else { RecordDetail::Status });
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
    use crate::screen::width;

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
                    for all in [false, true] {
                        assert_fits(&why(&study, index, all, ink), columns, &format!("why {id}"));
                    }
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
        assert_fits(&why(&study, study.loaded.named("t59").unwrap(), true, Ink::plain(60)), 60, "why");
    }
}
