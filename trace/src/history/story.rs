//! The history of one record for `history`: its changes and those of the records about it, and its values over time.

use std::collections::BTreeSet;
use std::sync::Arc;

use schema::Kind;

use super::commit_state::{CommitState, PastValue};
use super::{Change, Commit, CommitIndex, History, LIMITS, RecordHistory};

/// A row of the history: one change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HistoryRow {
    /// The commit.
    pub commit: CommitIndex,
    /// The changed record, if it is another one that is about this one.
    pub record: Option<Arc<str>>,
    /// The key, or a word such as `added`. If another record changed, its kind and id come first.
    pub what: String,
    /// The text before.
    pub before: Option<String>,
    /// The text after.
    pub after: Option<String>,
    /// The commit on the merged branch that made the change, if it came in with a merge.
    pub branch_commit: Option<Commit>,
    /// Where the text after is read, if it is the number of an evidence file.
    pub source: Option<ReadFrom>,
}

/// The file and the column of a number that is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadFrom {
    /// The evidence file.
    pub file: String,
    /// Its column, if one is named.
    pub column: Option<String>,
}

impl ReadFrom {
    /// Where a number of a record was read at a commit.
    fn of(record: &RecordHistory, change: &Change) -> Option<Self> {
        change.after.as_ref()?;
        let key =
            |name: &str| record.last_value_at(&format!("{}.{name}", change.route), change.commit).map(str::to_owned);
        // A number that is typed next to its file is not read.
        let is_typed = key("typed").is_some();
        key("from").filter(|_| !is_typed).map(|file| Self { file, column: key("column") })
    }
}

/// Whether a key has a row of its own in the commit that adds its record; `added` covers the others.
fn is_shown_at_start(route: &str) -> bool {
    LIMITS.contains(&route)
        || matches!(
            route,
            "estimate" | "formula" | "total" | "count" | "chosen" | "shall" | "plan" | "expect" | "chance" | "value"
        )
        || matches!(route, "outcome" | "points" | "place" | "given.file" | "finds")
        || route.starts_with("finds.")
        || (route.starts_with("amounts.") && route.ends_with(".value"))
}

/// The changes of a record, or of one of its amounts, and of the records about it.
pub fn rows(history: &History, record: Option<&RecordHistory>, amount: Option<&str>) -> Vec<HistoryRow> {
    let mut all = Vec::new();
    let route = amount.map(|amount| format!("amounts.{amount}."));
    match record {
        Some(record) => {
            own(history, record, route.as_deref(), &mut all);
            about(history, record, route.as_deref(), &mut all);
        }
        // An amount of the car is the total of its parts.
        None => {
            for part in history.records().iter().filter(|record| record.kind == Kind::Part) {
                let changes = part.changes.iter().filter(|change| is_below(change, route.as_deref()));
                all.extend(changes.map(|change| row_of_other(history, part, change)));
            }
        }
    }
    all.sort_by_key(|row| row.commit);
    all
}

/// Whether a change is of a field below a route; every change if there is no route.
fn is_below(change: &Change, route: Option<&str>) -> bool {
    route.is_none_or(|route| change.route.starts_with(route))
}

fn text(text: &Option<Arc<str>>) -> Option<String> {
    text.as_deref().map(str::to_owned)
}

/// The row for a change of another record.
fn row_of_other(history: &History, record: &RecordHistory, change: &Change) -> HistoryRow {
    let what = format!("{} {}: {}", record.kind.singular(), record.id, change.route);
    HistoryRow {
        commit: change.commit,
        record: Some(record.id.clone()),
        what,
        before: text(&change.before),
        after: text(&change.after),
        branch_commit: history.branch_commit(record, change).cloned(),
        source: ReadFrom::of(record, change),
    }
}

/// Adds the rows of the record itself.
fn own(history: &History, record: &RecordHistory, route: Option<&str>, all: &mut Vec<HistoryRow>) {
    let row = |commit: CommitIndex, what: &str, before: Option<&str>, after: Option<&str>| HistoryRow {
        commit,
        record: None,
        what: what.to_owned(),
        before: before.map(str::to_owned),
        after: after.map(str::to_owned),
        branch_commit: None,
        source: None,
    };
    all.push(row(record.added, "added", None, None));
    for (removed, returned) in &record.returns {
        all.push(row(*removed, "removed", None, None));
        all.push(row(*returned, "added again", None, None));
    }
    let mut newer: Vec<&str> = record.older_ids.iter().skip(1).map(|id| &**id).collect();
    newer.push(&record.id);
    for ((commit, before), after) in record.renames.iter().zip(newer) {
        all.push(row(*commit, "renamed", Some(before), Some(after)));
    }
    for (commit, before, after) in &record.moves {
        all.push(row(*commit, "moved to another file", Some(before), Some(after)));
    }
    for change in record.changes.iter().filter(|change| is_below(change, route)) {
        // A rename is a row of its own.
        let is_rename =
            *change.route == *"formerly" && record.renames.iter().any(|(commit, _)| *commit == change.commit);
        if is_rename || (change.commit == record.added && !is_shown_at_start(&change.route)) {
            continue;
        }
        let own = row(change.commit, &change.route, change.before.as_deref(), change.after.as_deref());
        let branch_commit = history.branch_commit(record, change).cloned();
        all.push(HistoryRow { branch_commit, source: ReadFrom::of(record, change), ..own });
    }
    if let Some(removed) = record.removed {
        all.push(row(removed, "removed", None, None));
    }
}

/// Adds the rows of the results, revisions, waivers, decisions and analyses about a record.
fn about(history: &History, record: &RecordHistory, amount: Option<&str>, all: &mut Vec<HistoryRow>) {
    let end = history.after_all();
    let is_own = |id: &str| *record.id == *id || record.older_ids.iter().any(|older| **older == *id);
    let names = |list: &str| list.split(", ").any(is_own);
    for other in history.records() {
        let links = |key: &str| other.last_value_at(key, end).is_some_and(names);
        let (linked, keys): (bool, &[&str]) = match other.kind {
            Kind::Result => (links("of"), &["value", "outcome", "place"]),
            Kind::Revision => (links("of"), &["to"]),
            Kind::Waiver => (links("of"), &["until"]),
            Kind::Decision => (links("of") || links("criteria"), &["chosen"]),
            Kind::Analysis => (true, &[]),
            Kind::Goal | Kind::Event | Kind::System | Kind::Target | Kind::Requirement | Kind::Part => (false, &[]),
        };
        let driven = if other.kind == Kind::Result { driven_keys(history, other, is_own) } else { Vec::new() };
        let keys = if linked { keys } else { &[] };
        if (!linked && driven.is_empty()) || amount.is_some() {
            continue;
        }
        if !keys.is_empty() || !driven.is_empty() {
            let row = |commit: CommitIndex, word: &str| HistoryRow {
                commit,
                record: Some(other.id.clone()),
                what: format!("{} {}: {word}", other.kind.singular(), other.id),
                before: None,
                after: None,
                branch_commit: None,
                source: None,
            };
            let returns = other.returns.iter();
            all.extend(returns.flat_map(|(removed, again)| [row(*removed, "removed"), row(*again, "added again")]));
            all.extend(other.removed.map(|removed| row(removed, "removed")));
        }
        for change in &other.changes {
            let found = other.kind == Kind::Analysis
                && (change.route.strip_prefix("finds.").is_some_and(is_own)
                    || (*change.route == *"finds"
                        && change.after.as_deref().or(change.before.as_deref()).is_some_and(is_own)));
            if found || keys.contains(&&*change.route) || driven.iter().any(|key| **key == *change.route) {
                let mut row = row_of_other(history, other, change);
                if other.kind == Kind::Revision && change.before.is_none() {
                    row.before = other.last_value_at("from", change.commit).map(str::to_owned);
                }
                all.push(row);
            }
        }
    }
}

/// The keys under which a result of an event has what was driven for a target.
fn driven_keys(history: &History, result: &RecordHistory, is_target: impl Fn(&str) -> bool) -> Vec<String> {
    let end = history.after_all();
    let event = result.last_value_at("of", end).and_then(|of| history.record(of));
    let Some(event) = event.filter(|event| event.kind == Kind::Event) else { return Vec::new() };
    let routes: BTreeSet<&str> = event.changes.iter().map(|change| &*change.route).collect();
    let reads = routes.into_iter().filter(|route| route.starts_with("reads."));
    reads.filter(|route| event.last_value_at(route, end).is_some_and(&is_target)).map(str::to_owned).collect()
}

/// The values of a name over the history, under all ids that its record had.
pub fn values_over_time(
    history: &History,
    record: Option<&RecordHistory>,
    name: &str,
    states: &[(CommitIndex, CommitState)],
) -> Vec<(CommitIndex, PastValue)> {
    let amount = name.split_once('.').map(|(_, amount)| format!(".{amount}")).unwrap_or_default();
    let ids: Vec<String> = match record {
        Some(record) => {
            std::iter::once(&record.id).chain(record.older_ids.iter().rev()).map(|id| format!("{id}{amount}")).collect()
        }
        None => vec![name.to_owned()],
    };
    let exists = |commit: CommitIndex| {
        record.is_none_or(|record| record.added <= commit && record.removed.is_none_or(|removed| removed > commit))
    };
    let seen = states.iter().filter(|(commit, _)| *commit < history.after_all() && exists(*commit));
    let found = seen.filter_map(|(commit, state)| Some((*commit, ids.iter().find_map(|id| state.get(id))?.clone())));
    found.filter(|(_, past)| past.value.is_some() || past.limit.is_some()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The commit that adds a record shows the main key of its kind.
    #[test]
    fn kinds_without_a_key_that_is_shown_at_the_start() {
        let schema = schema::json_schema::records();
        let shows_none = |kind: &&Kind| {
            let path = schema["properties"][kind.plural()]["additionalProperties"]["$ref"].as_str().unwrap();
            let keys = schema.pointer(path.trim_start_matches('#')).unwrap()["properties"].as_object().unwrap();
            !keys.keys().any(|key| is_shown_at_start(key))
        };
        let kinds: Vec<Kind> = Kind::ALL.iter().filter(shows_none).copied().collect();
        assert_eq!(kinds, [Kind::System, Kind::Revision, Kind::Waiver]);
    }
}
