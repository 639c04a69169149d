//! The place of each record: why it exists, what is below it, its worth, its verification, its history and its findings.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};

use schema::records::Outcome;
use schema::{Day, Kind};
use serde_json::{Value, json};
use trace::RecordPositions;
use trace::audit::TargetAudit;
use trace::conclusion::Conclusion;
use trace::graph::Link;
use trace::history::story::Stories;
use trace::planned::Planned;
use trace::values::{Origin, Status};
use trace::{CommitIndex, Finding, RecordId};

use super::super::tree::relation;
use super::facts::facts;
use super::tree::{Branches, Direction};
use super::{PageView, Worths, changes, decisions, drawn, stress, worth};
use crate::output::numbers::{margin, spread};
use crate::output::values::limit_text;
use crate::screen::count;

/// The changes of a record that are listed; the latest are more important.
const MOST_CHANGES: usize = 30;

/// The class of a status, which decides colour and sign.
pub(super) fn class_of(status: Status) -> &'static str {
    match status {
        Status::Met | Status::OnTarget => "good",
        Status::AtRisk | Status::Uncertain => "warn",
        Status::Missed => "bad",
        Status::NoValue => "none",
    }
}

/// What a planned verification is now, in words, with its class.
pub(super) fn state_of(planned: &Planned<'_>, day: Day) -> (&'static str, &'static str) {
    match planned.conclusion {
        Some(Conclusion::Passed) => ("passed", "good"),
        Some(Conclusion::Failed) => ("failed", "bad"),
        Some(Conclusion::Uncertain) => ("limit inside the uncertainty", "warn"),
        Some(Conclusion::Contradicted) => ("results contradict each other", "bad"),
        Some(Conclusion::Unread) => ("result cannot be read", "bad"),
        None if !planned.is_open => ("result recorded", "good"),
        None if planned.days_left(day).is_some_and(|days| days < 0) => ("overdue", "bad"),
        None => ("no result yet", "none"),
    }
}

/// The status of a record: that of a target, otherwise the worst of its verifications, otherwise the worst of the targets
/// and requirements about it; null if it has none of them.
pub(super) fn status(view: &PageView<'_>, index: RecordId) -> Value {
    let own = own_status(view, index);
    let about = || view.study.graph.incoming(index).into_iter().filter(|(_, edge)| edge.link == Link::Of);
    let worst = own.or_else(|| worst(about().filter_map(|(from, _)| own_status(view, from))));
    worst.map_or(Value::Null, |(text, class)| json!({"text": text, "class": class}))
}

/// The words and the class of what a record says of itself.
fn own_status(view: &PageView<'_>, index: RecordId) -> Option<(&'static str, &'static str)> {
    if let Some(target) = view.study.target_status(index) {
        return Some((target.status.word(), class_of(target.status)));
    }
    let own = worst(view.study.planned(index).iter().map(|planned| state_of(planned, view.study.day)));
    let is_old = own.is_some_and(|(_, class)| class == "good") && view.changed_since.contains(&index);
    if is_old { Some(("passed before a change", "warn")) } else { own }
}

fn worst(states: impl Iterator<Item = (&'static str, &'static str)>) -> Option<(&'static str, &'static str)> {
    states.min_by_key(|(_, class)| ["bad", "warn", "none", "good"].iter().position(|own| own == class))
}

/// The most records with a place: a browser opens a page with these at once.
const MOST_PLACES: usize = 10_000;

/// The most entries of one list of links.
const LONGEST_LIST: usize = 1_000;

/// What the places of all records are made from.
pub(super) struct Places<'v, 't> {
    view: &'v PageView<'t>,
    worths: Option<&'v Worths<'t>>,
    findings: HashMap<&'v str, Vec<&'v Finding>>,
    targets: HashMap<RecordId, &'v TargetAudit>,
    positions: RecordPositions<'v>,
    /// What the histories are made from; `None` without a history.
    stories: Option<Stories<'v>>,
    /// The decisions that have a place, until the section of the decisions takes them: comparing alternatives is slow.
    decided: RefCell<HashMap<RecordId, Value>>,
}

impl<'v, 't> Places<'v, 't> {
    pub(super) fn new(view: &'v PageView<'t>, worths: Option<&'v Worths<'t>>) -> Self {
        let report = view.study.report();
        let mut findings: HashMap<&str, Vec<&Finding>> = HashMap::new();
        for finding in report.findings.iter().chain(&report.waived) {
            if let Some(record) = &finding.record {
                findings.entry(record.as_str()).or_default().push(finding);
            }
        }
        let targets = view.audit.targets.iter().map(|target| (target.status.index, target)).collect();
        let stories = view.study.past().available().map(Stories::new);
        let positions = RecordPositions::new(&view.study.loaded);
        Self { view, worths, findings, targets, positions, stories, decided: RefCell::default() }
    }

    /// A decision as it is in its place, without the picture; `None` if it has no place, or was taken already.
    pub(super) fn decided(&self, index: RecordId) -> Option<Value> {
        self.decided.borrow_mut().remove(&index)
    }

    fn findings(&self, index: RecordId) -> &[&'v Finding] {
        self.findings.get(self.view.id(index)).map(Vec::as_slice).unwrap_or_default()
    }

    /// What the checks say of a record, without what was waived.
    pub(super) fn open(&self, index: RecordId) -> impl Iterator<Item = &'v Finding> {
        self.findings(index).iter().copied().filter(|finding| finding.waiver.is_none())
    }

    /// The records with a place, in their order: all, or as many as a page may have, the most important ones.
    pub(super) fn with_place(&self) -> Vec<RecordId> {
        let loaded = &self.view.study.loaded;
        let mut all: Vec<RecordId> = loaded.record_ids().collect();
        if all.len() > MOST_PLACES {
            let rank = |index: &RecordId| match loaded.kind(*index) {
                Kind::Goal => 0,
                Kind::Event => 1,
                _ if loaded.record(*index).safety_critical() => 2,
                Kind::Target => 3,
                Kind::Requirement => 4,
                Kind::Decision => 5,
                Kind::System => 6,
                Kind::Part | Kind::Analysis | Kind::Result | Kind::Revision | Kind::Waiver => {
                    if self.findings(*index).is_empty() { 8 } else { 7 }
                }
            };
            all.sort_by_cached_key(|index| (rank(index), *index));
            all.truncate(MOST_PLACES);
            all.sort_unstable();
        }
        all
    }

    /// The row of a record in the list of all.
    pub(super) fn row(&self, index: RecordId) -> Value {
        let view = self.view;
        let record = view.study.loaded.record(index);
        json!({
            "id": record.id.as_str(),
            "title": view.words(index),
            "kind": record.kind().singular(),
            "section": section(view, index),
            "lead": view.study.graph.lead(index),
            "safety": record.safety_critical(),
            "status": status(view, index),
            "now": now(view, index),
            "findings": self.findings(index).len(),
        })
    }

    /// The place of a record.
    pub(super) fn place(&mut self, index: RecordId) -> Value {
        let line = self.positions.start(index).line;
        place(self, index, line)
    }
}

fn section(view: &PageView<'_>, index: RecordId) -> Option<Value> {
    view.study.section(index).map(|section| view.named(section)["title"].clone())
}

/// The value of a target, an event or a goal as text.
fn now(view: &PageView<'_>, index: RecordId) -> Option<String> {
    let values = view.study.values();
    let node = values.record_node(index)?;
    values.whole_value(node).and_then(|_| values.spread(node)).map(|own| spread(&own, values.unit(node)))
}

/// The entries of a list of links that are shown, and how many more there are: no more than one list and a page may have.
fn bounded<T>(view: &PageView<'_>, mut all: Vec<T>) -> (Vec<T>, usize) {
    let most = LONGEST_LIST.min(view.entries_left.get());
    let more = all.len().saturating_sub(most);
    all.truncate(most);
    view.entries_left.set(view.entries_left.get() - all.len());
    (all, more)
}

/// The number of records below one in words, and whether they are few. Where records are above each other in long chains
/// they are counted up to a number only.
fn count_below(view: &PageView<'_>, index: RecordId) -> (String, bool) {
    const FEW: usize = 16;
    const LEAST: usize = 100;
    let most = view.links_left.get().max(LEAST);
    let (mut seen, mut queue, mut links) = (HashSet::from([index]), vec![index], 0);
    let mut is_whole = true;
    'all: while let Some(at) = queue.pop() {
        for child in view.study.graph.children(at) {
            if links == most {
                is_whole = false;
                break 'all;
            }
            links += 1;
            if seen.insert(child) {
                queue.push(child);
            }
        }
    }
    view.links_left.set(view.links_left.get().saturating_sub(links));
    let below = seen.len() - 1;
    let text = count(below, "record");
    (if is_whole { text } else { format!("more than {text}") }, is_whole && below < FEW)
}

fn place(places: &Places<'_, '_>, index: RecordId, line: u32) -> Value {
    let (view, worths) = (places.view, places.worths);
    let study = view.study;
    let (graph, loaded) = (&study.graph, &study.loaded);
    let record = loaded.record(index);
    let (below_count, below_is_open) = count_below(view, index);
    let (results, more_results) = bounded(view, graph.results(index).into_iter().rev().collect());
    let results: Vec<Value> = results.into_iter().map(|(id, _)| result(view, id)).collect();
    let (linked, more_linked) = bounded(view, linked(view, index));
    let (subjects, more_subjects) = bounded(view, subjects(view, index));
    let (references, more_references) = bounded(view, references(view, index));
    let linked = grown(view, linked);
    let subjects: Vec<Value> =
        subjects.into_iter().map(|from| json!({"record": view.link(from), "status": status(view, from)})).collect();
    let reference = |(from, link): (RecordId, Link)| json!({"record": view.link(from), "kind": loaded.kind(from).singular(), "relation": relation(link)});
    let references: Vec<Value> = references.into_iter().map(reference).collect();
    let target = places.targets.get(&index);
    let limits: Vec<Value> =
        target.into_iter().flat_map(|target| changes::of_target(view, target)).map(|(_, row)| row).collect();
    let file = format!("{}{}:{line}", loaded.snapshot.prefix, loaded.path(loaded.file(index)));
    json!({
        "id": record.id.as_str(),
        "title": view.words(index),
        "kind": record.kind().singular(),
        "about": record.about().map(|about| view.named(about.as_str())),
        "lead": graph.lead(index),
        "safety": record.safety_critical(),
        "file": file,
        "status": status(view, index),
        "value": value(view, index),
        "picture": target.and_then(|target| drawn::target(view, target)),
        "facts": facts(view, index),
        "linked": linked,
        "more_linked": more_linked,
        "chained": record.kind().needs_parent(),
        "up": Branches::new(view, Direction::Up).grow(index),
        "below": Branches::new(view, Direction::Down).grow(index),
        "below_count": below_count,
        "below_is_open": below_is_open,
        "references": references,
        "more_references": more_references,
        "amounts": amounts(view, worths, index),
        "cost": cost(view, worths, index),
        "worth": worths.filter(|_| loaded.goal(index).is_none()).and_then(|own| worth::of_record(view, own, index, None)),
        "verify": study.planned(index).iter().map(|own| planned(view, own)).collect::<Vec<_>>(),
        "subjects": subjects,
        "more_subjects": more_subjects,
        "results": results,
        "more_results": more_results,
        "evidence": record.all_evidence(),
        "readings": crate::output::evidence::lines(study, index),
        "stress": stress::of_part(view, index),
        "decision": loaded.decision(index).map(|_| decision(places, index)),
        "limits": limits,
        "history": history(places, index),
        "findings": places.findings(index).iter().map(|own| finding(own)).collect::<Vec<_>>(),
    })
}

/// A decision with its picture.
fn decision(places: &Places<'_, '_>, index: RecordId) -> Value {
    let (mut own, picture) = decisions::place(places.view, index, places.worths);
    places.decided.borrow_mut().insert(index, own.clone());
    own["picture"] = json!(picture);
    own
}

/// The records that it names other than under `serves`; its subject is at the top of its place.
fn linked(view: &PageView<'_>, index: RecordId) -> Vec<(RecordId, Link)> {
    let links = view.study.graph.outgoing(index).into_iter();
    let links = links.filter(|(_, edge)| !matches!(edge.link, Link::Serves | Link::In | Link::Of));
    links.map(|(to, edge)| (to, edge.link)).collect()
}

/// Linked records, each with its ways up; the reasons are in the place of that one.
fn grown(view: &PageView<'_>, linked: Vec<(RecordId, Link)>) -> Vec<Value> {
    let mut up = Branches::titles(view, Direction::Up);
    let one =
        |(to, link): (RecordId, Link)| json!({"word": link.word(), "record": view.link(to), "below": up.grow(to)});
    linked.into_iter().map(one).collect()
}

/// The targets and requirements that are about a record.
fn subjects(view: &PageView<'_>, index: RecordId) -> Vec<RecordId> {
    let all = view.study.graph.incoming(index).into_iter();
    let all = all.filter(|(from, edge)| edge.link == Link::Of && view.study.loaded.record(*from).verify().is_some());
    all.map(|(from, _)| from).collect()
}

/// The records that name it other than under `serves`.
fn references(view: &PageView<'_>, index: RecordId) -> Vec<(RecordId, Link)> {
    let all = view.study.graph.incoming(index).into_iter();
    let is_subject = |from: RecordId| view.study.loaded.record(from).verify().is_some();
    let all = all.filter(|(from, edge)| match edge.link {
        Link::Serves | Link::Verifies => false,
        Link::Of => !is_subject(*from),
        Link::In | Link::Finds | Link::Informs | Link::Criteria | Link::Reads => true,
    });
    all.map(|(from, edge)| (from, edge.link)).collect()
}

/// The value of a target, an event or a goal, with its limit and where it comes from.
fn value(view: &PageView<'_>, index: RecordId) -> Value {
    let study = view.study;
    let values = study.values();
    let Some(node) = values.record_node(index) else { return Value::Null };
    let unit = values.unit(node);
    let target = study.target_status(index);
    let known = now(view, index);
    let by = match values.origin(index) {
        Origin::Result(by) | Origin::Analysis(by) => view.link(by),
        other => json!({"id": Value::Null, "title": other.word()}),
    };
    json!({
        "now": known,
        "limit": target.map(|_| limit_text(&study.loaded, index)),
        "margin": target.and_then(|target| margin(target, unit)),
        "by": known.map(|_| by),
    })
}

/// The amounts of a part or a system, with what they are worth.
fn amounts(view: &PageView<'_>, worths: Option<&Worths<'_>>, index: RecordId) -> Vec<Value> {
    let (loaded, values) = (&view.study.loaded, view.study.values());
    let worth = |name: &str| worths.and_then(|worths| worth::of_record(view, worths, index, Some(name)));
    if let Some(part) = loaded.part(index) {
        let one = |(name, amount): (&schema::Id, &schema::records::Amount)| {
            let unit = amount.value.quantity().map(schema::Quantity::unit);
            let all = values.all_pieces(index, name.as_str()).zip(unit).map(|(si, unit)| unit.show(si, 0.0));
            json!({"name": name.as_str(), "piece": amount.value.to_string(), "count": part.count.unwrap_or(1), "all": all,
                   "basis": amount.basis.as_ref().map(schema::Id::as_str), "worth": worth(name.as_str())})
        };
        return part.amounts.iter().map(one).collect();
    }
    if loaded.system(index).is_none() {
        return Vec::new();
    }
    let of_system = |name: &str| {
        let node = values.whole(values.total_of(Some(index), name)?);
        let all = values.unit(node).show(values.value(node)?, 0.0);
        Some(
            json!({"name": name, "piece": Value::Null, "count": 1, "all": all, "basis": Value::Null, "worth": worth(name)}),
        )
    };
    values.amounts().iter().filter_map(|name| of_system(name)).collect()
}

/// What a part costs in one sentence: its amounts, and the points of all of them at the present slope.
fn cost(view: &PageView<'_>, worths: Option<&Worths<'_>>, index: RecordId) -> Option<String> {
    let (loaded, values) = (&view.study.loaded, view.study.values());
    let part = loaded.part(index).filter(|part| !part.amounts.is_empty())?;
    let all = part.amounts.iter().filter_map(|(name, amount)| {
        let unit = amount.value.quantity()?.unit();
        Some(format!("{} of {name}", unit.show(values.all_pieces(index, name.as_str())?, 0.0)))
    });
    let all = all.collect::<Vec<_>>().join(" and ");
    let points = worths.map(|worths| {
        let of = |name: &schema::Id| worth::points_of_all(view, worths, index, name.as_str()).unwrap_or(0.0);
        part.amounts.iter().map(|(name, _)| of(name)).sum::<f64>()
    });
    let points = points.filter(|points| *points != 0.0 && points.is_finite());
    let points = points.map(|points| {
        let size = schema::number::fixed(points.abs(), 2);
        if points < 0.0 {
            format!("; these cost {size} points, and “Why it exists” shows what the part gives")
        } else {
            format!("; these give {size} points")
        }
    });
    let pieces = part.count.filter(|count| *count > 1).map(|count| format!("{count} pieces: ")).unwrap_or_default();
    (!all.is_empty()).then(|| format!("{pieces}{all}{}", points.unwrap_or_default()))
}

fn planned(view: &PageView<'_>, planned: &Planned<'_>) -> Value {
    let (text, class) = state_of(planned, view.study.day);
    json!({
        "by": planned.plan.by.word(),
        "with": planned.plan.with,
        "due": planned.plan.due.map(|due| due.to_string()),
        "lead": planned.lead,
        "state": {"text": text, "class": class},
        "group": planned.group.map(|group| view.link(group)),
    })
}

fn result(view: &PageView<'_>, id: RecordId) -> Value {
    let Some(own) = view.study.loaded.result(id) else { return Value::Null };
    let outcome = own.outcome.map(|outcome| match outcome {
        Outcome::Pass => "pass",
        Outcome::Fail => "fail",
    });
    let place = own.place.map(|place| format!("place {place}"));
    let value = own.value.as_ref().map(ToString::to_string);
    let said: Vec<String> = [value, place, outcome.map(str::to_owned)].into_iter().flatten().collect();
    json!({
        "result": view.link(id),
        "day": own.date.map(|day| day.to_string()),
        "said": said.join(", "),
        "evidence": view.study.loaded.record(id).all_evidence(),
    })
}

/// What changed when, the latest first.
fn history(places: &Places<'_, '_>, index: RecordId) -> Value {
    let view = places.view;
    let (Some(history), Some(stories)) = (view.study.past().available(), &places.stories) else { return Value::Null };
    let Some(record) = history.record(view.id(index)) else { return Value::Null };
    let rows = stories.rows(Some(record), None);
    let mut commits: Vec<(CommitIndex, Vec<Value>)> = Vec::new();
    for row in rows.iter().rev().take(MOST_CHANGES) {
        let change = json!({"what": key_words(&row.what), "before": row.before.as_deref().map(short), "after": row.after.as_deref().map(short)});
        match commits.last_mut().filter(|(commit, _)| *commit == row.commit) {
            Some((_, changes)) => changes.push(change),
            None => commits.push((row.commit, vec![change])),
        }
    }
    let commit = |(commit, changes): (CommitIndex, Vec<Value>)| {
        let commit = history.commit(commit)?;
        Some(
            json!({"day": commit.day.to_string(), "commit": commit.short(), "changes": changes.into_iter().rev().collect::<Vec<_>>()}),
        )
    };
    let shown: Vec<Value> = commits.into_iter().filter_map(commit).collect();
    json!({"rows": shown, "more": rows.len().saturating_sub(MOST_CHANGES)})
}

/// An amount by its name alone: its value is what changes most.
pub(super) fn key_words(what: &str) -> String {
    match what.strip_prefix("amounts.") {
        Some(amount) => amount.strip_suffix(".value").unwrap_or(amount).replace('.', " "),
        None => what.to_owned(),
    }
}

fn finding(finding: &Finding) -> Value {
    json!({
        "check": finding.check.name,
        "level": if finding.waiver.is_some() { "waived" } else { finding.level.word() },
        "message": finding.message,
        "help": finding.help,
    })
}

/// A text that fits into a cell.
pub(super) fn short(text: &str) -> String {
    const MOST: usize = 90;
    if text.chars().count() <= MOST {
        return text.to_owned();
    }
    text.chars().take(MOST - 1).chain(['…']).collect()
}
