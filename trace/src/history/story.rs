//! The story of one record: what every commit did to it and to the records about it, and its values over time.

use std::sync::Arc;

use schema::Kind;

use super::outlook::{CommitState, PastValue};
use super::{Change, Commit, History, LIMITS, Life};

/// One line of a life.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// The step in [`History::steps`].
    pub step: usize,
    /// The record, where it is another that is about this one.
    pub record: Option<Arc<str>>,
    /// What happened: a key, or a word such as `added`; with the record where it is another.
    pub what: String,
    /// The text before.
    pub before: Option<String>,
    /// The text after.
    pub after: Option<String>,
    /// The commit on the branch that a merge brought it from.
    pub branch_commit: Option<Commit>,
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
pub fn events(history: &History, life: Option<&Life>, amount: Option<&str>) -> Vec<Event> {
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
pub fn line(
    history: &History,
    life: Option<&Life>,
    name: &str,
    states: &[(usize, CommitState)],
) -> Vec<(usize, PastValue)> {
    let amount = name.split_once('.').map(|(_, amount)| format!(".{amount}")).unwrap_or_default();
    let ids: Vec<String> = match life {
        Some(life) => {
            std::iter::once(&life.id).chain(life.older_ids.iter().rev()).map(|id| format!("{id}{amount}")).collect()
        }
        None => vec![name.to_owned()],
    };
    let there = |step: usize| life.is_none_or(|life| life.added <= step && life.removed.is_none_or(|gone| gone > step));
    let seen = states.iter().filter(|(step, _)| *step < history.steps.len() && there(*step));
    let found = seen.filter_map(|(step, state)| Some((*step, ids.iter().find_map(|id| state.get(id))?.clone())));
    found.filter(|(_, stood)| stood.value.is_some() || stood.limit.is_some()).collect()
}
