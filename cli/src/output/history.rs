//! The life of a record: what every commit changed, and its value against its limit. Authors are left out.

use std::fmt::Write as _;
use std::sync::Arc;

use schema::Kind;
use schema::quantity::Unit;
use schema::words::shorten;
use serde_json::{Value, json};
use trace::history::outlook::{Outlook, Stood};
use trace::history::{Change, Commit, History, LIMITS, Life};

use super::spark::blocks;
use super::table::{Table, faint, plain, strong};
use super::values::number;
use crate::screen::{Ink, count};

/// All that is told.
pub(crate) struct Story<'h> {
    pub(crate) history: &'h History,
    /// The record; none for an amount of the car.
    pub(crate) life: Option<&'h Life>,
    pub(crate) name: &'h str,
    pub(crate) amount: Option<&'h str>,
    pub(crate) events: Vec<Event>,
    pub(crate) line: Vec<(usize, Stood)>,
    pub(crate) note: Option<String>,
}

/// One line of a life.
pub(crate) struct Event {
    step: usize,
    /// The record, where it is another that is about this one.
    record: Option<Arc<str>>,
    what: String,
    before: Option<String>,
    after: Option<String>,
    /// The commit on the branch that a merge brought it from.
    branch_commit: Option<Commit>,
}

/// The keys that tell nothing about the record's course.
fn is_aside(route: &str) -> bool {
    matches!(route, "notes" | "formerly" | "title" | "lead")
}

/// The keys worth telling when a record comes; the rest of it is said by `added`.
fn is_first(route: &str) -> bool {
    LIMITS.contains(&route)
        || matches!(
            route,
            "estimate" | "formula" | "total" | "count" | "chosen" | "shall" | "plan" | "expect" | "value"
        )
        || matches!(route, "outcome" | "points" | "place")
        || (route.starts_with("amounts.") && route.ends_with(".value"))
}

/// What every step did to a record, and to those about it.
pub(crate) fn events(history: &History, life: Option<&Life>, amount: Option<&str>) -> Vec<Event> {
    let mut all = Vec::new();
    let route = amount.map(|amount| format!("amounts.{amount}."));
    match life {
        Some(life) => {
            own(history, life, route.as_deref(), &mut all);
            about(history, life, route.as_deref(), &mut all);
        }
        // An amount of the car is what its parts take.
        None => {
            for part in history.lives().iter().filter(|life| life.kind == Kind::Part) {
                let changes = part.changes.iter().filter(|change| touches(change, route.as_deref()));
                all.extend(changes.map(|change| other(history, part, change)));
            }
        }
    }
    all.sort_by_key(|event| event.step);
    all
}

fn touches(change: &Change, route: Option<&str>) -> bool {
    route.is_none_or(|route| change.route.starts_with(route))
}

fn text(text: &Option<Arc<str>>) -> Option<String> {
    text.as_deref().map(str::to_owned)
}

fn other(history: &History, life: &Life, change: &Change) -> Event {
    let what = format!("{} {}: {}", life.kind.singular(), life.id, change.route);
    Event {
        step: change.step,
        record: Some(life.id.clone()),
        what,
        before: text(&change.before),
        after: text(&change.after),
        branch_commit: history.on_branch(life, change).cloned(),
    }
}

fn own(history: &History, life: &Life, route: Option<&str>, all: &mut Vec<Event>) {
    let said = |step: usize, what: &str, before: Option<&str>, after: Option<&str>| Event {
        step,
        record: None,
        what: what.to_owned(),
        before: before.map(str::to_owned),
        after: after.map(str::to_owned),
        branch_commit: None,
    };
    all.push(said(life.added, "added", None, None));
    let mut newer: Vec<&str> = life.older_ids.iter().skip(1).map(|id| &**id).collect();
    newer.push(&life.id);
    for ((step, before), after) in life.renames.iter().zip(newer) {
        all.push(said(*step, "renamed", Some(before), Some(after)));
    }
    for (step, before, after) in &life.moves {
        all.push(said(*step, "moved to another file", Some(before), Some(after)));
    }
    for change in life.changes.iter().filter(|change| touches(change, route)) {
        if is_aside(&change.route) || (change.step == life.added && !is_first(&change.route)) {
            continue;
        }
        let event = said(change.step, &change.route, change.before.as_deref(), change.after.as_deref());
        all.push(Event { branch_commit: history.on_branch(life, change).cloned(), ..event });
    }
    if let Some(gone) = life.removed {
        all.push(said(gone, "removed", None, None));
    }
}

/// Results, revisions, waivers, decisions and calculations about a record.
fn about(history: &History, life: &Life, amount: Option<&str>, all: &mut Vec<Event>) {
    let end = history.steps.len();
    let is_it = |id: &str| *life.id == *id || life.older_ids.iter().any(|older| **older == *id);
    let names = |list: &str| list.split(", ").any(is_it);
    for record in history.lives() {
        let of = |key: &str| record.last_at(key, end).is_some_and(names);
        let (linked, keys): (bool, &[&str]) = match record.kind {
            Kind::Result => (of("of"), &["value", "outcome"]),
            Kind::Revision => (of("of"), &["to"]),
            Kind::Waiver => (of("of"), &["until"]),
            Kind::Decision => (of("of") || of("criteria"), &["chosen"]),
            Kind::Analysis => (true, &[]),
            _ => (false, &[]),
        };
        if !linked || amount.is_some() {
            continue;
        }
        for change in &record.changes {
            let found = record.kind == Kind::Analysis
                && (change.route.strip_prefix("finds.").is_some_and(is_it)
                    || (*change.route == *"finds"
                        && change.after.as_deref().or(change.before.as_deref()).is_some_and(is_it)));
            if found || keys.contains(&&*change.route) {
                let mut event = other(history, record, change);
                if record.kind == Kind::Revision && change.before.is_none() {
                    event.before = record.last_at("from", change.step).map(str::to_owned);
                }
                all.push(event);
            }
        }
    }
}

/// The values of a name over the history, under the ids that it had.
pub(crate) fn line(
    history: &History,
    life: Option<&Life>,
    name: &str,
    outlooks: &[(usize, Outlook)],
) -> Vec<(usize, Stood)> {
    let amount = name.split_once('.').map(|(_, amount)| format!(".{amount}")).unwrap_or_default();
    let ids: Vec<String> = match life {
        Some(life) => {
            std::iter::once(&life.id).chain(life.older_ids.iter().rev()).map(|id| format!("{id}{amount}")).collect()
        }
        None => vec![name.to_owned()],
    };
    let there = |step: usize| life.is_none_or(|life| life.added <= step && life.removed.is_none_or(|gone| gone > step));
    let seen = outlooks.iter().filter(|(step, _)| *step < history.steps.len() && there(*step));
    let found = seen.filter_map(|(step, outlook)| Some((*step, ids.iter().find_map(|id| outlook.get(id))?.clone())));
    found.filter(|(_, stood)| stood.value.is_some() || stood.limit.is_some()).collect()
}

/// Rows of blocks: the value and each end of the limit, with the first and the last number.
fn lines(story: &Story<'_>, ink: Ink, out: &mut String) {
    let stood: Vec<&Stood> = story.line.iter().map(|(_, stood)| stood).collect();
    let Some(last) = stood.last() else { return };
    let unit = Unit::parse(&last.unit).unwrap_or_else(|_| Unit::one());
    let finite = |number: Option<f64>| number.filter(|number| number.is_finite());
    let rows: [(&str, Vec<Option<f64>>); 3] = [
        ("value", stood.iter().map(|stood| finite(stood.value)).collect()),
        ("at most", stood.iter().map(|stood| finite(stood.limit?.at_most)).collect()),
        ("at least", stood.iter().map(|stood| finite(stood.limit?.at_least)).collect()),
    ];
    let numbers = || rows.iter().flat_map(|(_, row)| row.iter().flatten().copied());
    let (low, high) = numbers().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
    for (name, row) in &rows {
        let mut there = row.iter().flatten();
        let Some(first) = there.next() else { continue };
        let last = there.next_back().unwrap_or(first);
        let ends = if first == last {
            unit.show(*last, 0.0)
        } else {
            format!("{} → {}", unit.show(*first, 0.0), unit.show(*last, 0.0))
        };
        let _ = writeln!(out, "{}  {}  {ends}", ink.faint(&format!("{name:>8}")), blocks(row, low, high));
    }
    // A small move may not show on the scale.
    let limit = |at: usize| stood.get(at).and_then(|stood| stood.limit);
    let moved = |at: usize| at > 0 && limit(at - 1).is_some() && limit(at) != limit(at - 1);
    if (0..stood.len()).any(moved) {
        let marks: String = (0..stood.len()).map(|at| if moved(at) { '↑' } else { ' ' }).collect();
        let _ = writeln!(out, "{}  {marks}  the limit moved", ink.faint(&format!("{:>8}", "")));
    }
    if let Some(status) = last.status {
        let _ = writeln!(out, "{}  {}", ink.faint("     now"), status.word());
    }
    out.push('\n');
}

/// For people.
pub(crate) fn terminal(story: &Story<'_>, ink: Ink) -> String {
    let mut out = String::new();
    let head = match (story.life, story.amount) {
        (Some(life), Some(amount)) => {
            format!("{}  ({amount} of a {})", ink.strong(&format!("{}.{amount}", life.id)), life.kind)
        }
        (Some(life), None) => format!("{}  ({})", ink.strong(&life.id), life.kind),
        (None, _) => ink.strong(story.name),
    };
    out.push_str(&head);
    if let Some(life) = story.life.filter(|life| !life.older_ids.is_empty()) {
        let _ = write!(out, ", formerly {}", life.older_ids.join(", "));
    }
    out.push_str("\n\n");
    lines(story, ink, &mut out);
    let mut table =
        Table::new(&[("day", false), ("commit", false), ("what", false), ("before", false), ("after", false)]);
    let mut last = None;
    for event in &story.events {
        let step = &story.history.steps[event.step];
        // A commit is named once.
        let (day, commit) = match last.replace(event.step) == Some(event.step) {
            true => (String::new(), String::new()),
            false => (step.day.to_string(), step.short().to_owned()),
        };
        // A reason is a sentence, and would push the table off the screen.
        let short = |text: &Option<String>| match text.as_deref() {
            Some(text) if text.chars().count() > 44 => text.chars().take(43).chain(['…']).collect(),
            other => other.map(shorten).unwrap_or_default(),
        };
        let written =
            event.branch_commit.as_ref().map(|commit| format!(", written {} in {}", commit.day, commit.short()));
        table.row(vec![
            plain(day),
            faint(commit),
            strong(format!("{}{}", event.what, written.unwrap_or_default())),
            plain(short(&event.before)),
            plain(short(&event.after)),
        ]);
    }
    out.push_str(&table.text(ink));
    let unread = story.history.unreadable_versions.len();
    if unread > 0 {
        let text = format!("{} of record files could not be read and were passed over", count(unread, "version"));
        let _ = writeln!(out, "\n{}", ink.faint(&text));
    }
    if let Some(note) = &story.note {
        let _ = writeln!(out, "\n{}", ink.faint(&format!("the beginning is missing: {note}")));
    }
    out
}

/// For programs.
pub(crate) fn json(story: &Story<'_>) -> Value {
    let history = story.history;
    let commit = |step: usize| json!({"commit": history.steps[step].id, "day": history.steps[step].day.to_string()});
    let with = |step: usize, more: Value| {
        let mut all = commit(step);
        if let (Value::Object(all), Value::Object(more)) = (&mut all, more) {
            all.extend(more);
        }
        all
    };
    let changes: Vec<Value> = story
        .events
        .iter()
        .map(|event| {
            let id = event.record.as_deref().or(story.life.map(|life| &*life.id));
            let more = json!({
                "record": id,
                "what": event.what,
                "before": event.before,
                "after": event.after,
                "branch_commit": event.branch_commit.as_ref().map(|at| json!({"commit": at.id, "day": at.day.to_string()})),
            });
            with(event.step, more)
        })
        .collect();
    let line: Vec<Value> = story
        .line
        .iter()
        .map(|(step, stood)| {
            let unit = Unit::parse(&stood.unit).unwrap_or_else(|_| Unit::one());
            let shown = |si: Option<f64>| number(si.map(|si| unit.from_si(si)));
            let more = json!({
                "value": shown(stood.value),
                "unit": stood.unit,
                "si": number(stood.value),
                "uncertainty": number(stood.value.map(|_| stood.uncertainty / unit.factor())),
                "limit": stood.limit.map(|limit| super::values::limit_json(&limit, &unit)),
                "status": stood.status.map(trace::values::Status::word),
                "origin": stood.origin,
            });
            with(*step, more)
        })
        .collect();
    json!({
        "version": 1,
        "id": story.life.map_or(story.name, |life| &*life.id),
        "kind": story.life.map(|life| life.kind.singular()),
        "older_ids": story.life.map(|life| life.older_ids.iter().map(|id| &**id).collect::<Vec<_>>()).unwrap_or_default(),
        "added": story.life.map(|life| commit(life.added)),
        "removed": story.life.and_then(|life| life.removed).map(commit),
        "shallow": history.shallow,
        "unreadable_versions": history.unreadable_versions.len(),
        "changes": changes,
        "values": line,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_are_on_one_scale() {
        assert_eq!(blocks(&[Some(0.0), None, Some(7.0), Some(3.0)], 0.0, 7.0), "▁ █▄");
        assert_eq!(blocks(&[Some(2.0)], 2.0, 2.0), "▅");
    }
}
