//! The story of one record: what every commit did to it and to the records about it, and its values over time.

use std::sync::Arc;

use schema::Kind;

use super::commit_state::{CommitState, PastValue};
use super::{Change, Commit, History, LIMITS, RecordHistory};

/// One line of a record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HistoryRow {
    /// The commit in [`History::commits`].
    pub commit: usize,
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

/// What every commit did to a record, and to those about it.
pub fn rows(history: &History, record: Option<&RecordHistory>, amount: Option<&str>) -> Vec<HistoryRow> {
    let mut all = Vec::new();
    let route = amount.map(|amount| format!("amounts.{amount}."));
    match record {
        Some(record) => {
            own(history, record, route.as_deref(), &mut all);
            about(history, record, route.as_deref(), &mut all);
        }
        // An amount of the car is what its parts take.
        None => {
            for part in history.records().iter().filter(|record| record.kind == Kind::Part) {
                let changes = part.changes.iter().filter(|change| touches(change, route.as_deref()));
                all.extend(changes.map(|change| other(history, part, change)));
            }
        }
    }
    all.sort_by_key(|event| event.commit);
    all
}

fn touches(change: &Change, route: Option<&str>) -> bool {
    route.is_none_or(|route| change.route.starts_with(route))
}

fn text(text: &Option<Arc<str>>) -> Option<String> {
    text.as_deref().map(str::to_owned)
}

fn other(history: &History, record: &RecordHistory, change: &Change) -> HistoryRow {
    let what = format!("{} {}: {}", record.kind.singular(), record.id, change.route);
    HistoryRow {
        commit: change.commit,
        record: Some(record.id.clone()),
        what,
        before: text(&change.before),
        after: text(&change.after),
        branch_commit: history.branch_commit(record, change).cloned(),
    }
}

fn own(history: &History, record: &RecordHistory, route: Option<&str>, all: &mut Vec<HistoryRow>) {
    let said = |commit: usize, what: &str, before: Option<&str>, after: Option<&str>| HistoryRow {
        commit,
        record: None,
        what: what.to_owned(),
        before: before.map(str::to_owned),
        after: after.map(str::to_owned),
        branch_commit: None,
    };
    all.push(said(record.added, "added", None, None));
    let mut newer: Vec<&str> = record.older_ids.iter().skip(1).map(|id| &**id).collect();
    newer.push(&record.id);
    for ((commit, before), after) in record.renames.iter().zip(newer) {
        all.push(said(*commit, "renamed", Some(before), Some(after)));
    }
    for (commit, before, after) in &record.moves {
        all.push(said(*commit, "moved to another file", Some(before), Some(after)));
    }
    for change in record.changes.iter().filter(|change| touches(change, route)) {
        if is_aside(&change.route) || (change.commit == record.added && !is_first(&change.route)) {
            continue;
        }
        let event = said(change.commit, &change.route, change.before.as_deref(), change.after.as_deref());
        all.push(HistoryRow { branch_commit: history.branch_commit(record, change).cloned(), ..event });
    }
    if let Some(gone) = record.removed {
        all.push(said(gone, "removed", None, None));
    }
}

/// Results, revisions, waivers, decisions and calculations about a record.
fn about(history: &History, record: &RecordHistory, amount: Option<&str>, all: &mut Vec<HistoryRow>) {
    let end = history.commits.len();
    let is_it = |id: &str| *record.id == *id || record.older_ids.iter().any(|older| **older == *id);
    let names = |list: &str| list.split(", ").any(is_it);
    for record in history.records() {
        let of = |key: &str| record.last_value_at(key, end).is_some_and(names);
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
                    event.before = record.last_value_at("from", change.commit).map(str::to_owned);
                }
                all.push(event);
            }
        }
    }
}

/// The values of a name over the history, under the ids that it had.
pub fn values_over_time(
    history: &History,
    record: Option<&RecordHistory>,
    name: &str,
    states: &[(usize, CommitState)],
) -> Vec<(usize, PastValue)> {
    let amount = name.split_once('.').map(|(_, amount)| format!(".{amount}")).unwrap_or_default();
    let ids: Vec<String> = match record {
        Some(record) => {
            std::iter::once(&record.id).chain(record.older_ids.iter().rev()).map(|id| format!("{id}{amount}")).collect()
        }
        None => vec![name.to_owned()],
    };
    let there = |commit: usize| {
        record.is_none_or(|record| record.added <= commit && record.removed.is_none_or(|gone| gone > commit))
    };
    let seen = states.iter().filter(|(commit, _)| *commit < history.commits.len() && there(*commit));
    let found = seen.filter_map(|(commit, state)| Some((*commit, ids.iter().find_map(|id| state.get(id))?.clone())));
    found.filter(|(_, stood)| stood.value.is_some() || stood.limit.is_some()).collect()
}
