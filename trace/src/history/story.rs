//! The history of one record for `history`: its changes and those of the records about it, and its values over time.

use std::collections::BTreeMap;
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
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

/// What the rows of all records are made from: which records each one is about. Made once, so that the rows of all records
/// together look at each record only as often as it is about another one.
#[derive(Debug)]
pub struct Stories<'h> {
    history: &'h History,
    /// The records about each id: positions in [`History::records`], in ascending order.
    about: HashMap<&'h str, Vec<usize>>,
    /// The analyses that find each id, with the places of these changes among all changes of the analysis.
    found: HashMap<&'h str, Vec<(usize, usize)>>,
    /// The events that read each id, with the key.
    reads: HashMap<&'h str, Vec<(usize, &'h str)>>,
    /// The results of each event.
    results: HashMap<usize, Vec<usize>>,
}

impl<'h> Stories<'h> {
    /// Looks at every record once.
    pub fn new(history: &'h History) -> Self {
        let mut stories = Self {
            history,
            about: HashMap::new(),
            found: HashMap::new(),
            reads: HashMap::new(),
            results: HashMap::new(),
        };
        let end = history.after_all();
        for (at, other) in history.records().iter().enumerate() {
            match other.kind {
                Kind::Result | Kind::Revision | Kind::Waiver => stories.link(at, other.last_value_at("of", end)),
                Kind::Decision => {
                    stories.link(at, other.last_value_at("of", end));
                    stories.link(at, other.last_value_at("criteria", end));
                }
                Kind::Analysis => {
                    for (place, change) in other.changes.iter().enumerate() {
                        stories.link(at, found_by(change));
                        if let Some(id) = found_by(change) {
                            stories.found.entry(id).or_default().push((at, place));
                        }
                    }
                }
                Kind::Event => {
                    let changes = other.changes.iter().filter(|change| change.route.starts_with("reads."));
                    let last: BTreeMap<&str, Option<&str>> =
                        changes.map(|change| (&*change.route, change.after.as_deref())).collect();
                    for (route, id) in last {
                        if let Some(id) = id {
                            stories.reads.entry(id).or_default().push((at, route));
                        }
                    }
                }
                Kind::Goal | Kind::System | Kind::Target | Kind::Requirement | Kind::Part => {}
            }
            if let Some(event) = stories.event_of(other) {
                stories.results.entry(event).or_default().push(at);
            }
        }
        stories
    }

    /// A record that is about each of these ids.
    fn link(&mut self, at: usize, ids: Option<&'h str>) {
        for id in ids.into_iter().flat_map(|ids| ids.split(", ")) {
            let all = self.about.entry(id).or_default();
            if all.last() != Some(&at) {
                all.push(at);
            }
        }
    }

    /// The event that a result is of.
    fn event_of(&self, result: &RecordHistory) -> Option<usize> {
        let of = result.last_value_at("of", self.history.after_all()).filter(|_| result.kind == Kind::Result)?;
        self.history.by_id.get(of).copied().filter(|event| self.history.records[*event].kind == Kind::Event)
    }

    /// The events that read a record, each with the keys under which its results have what was driven for it.
    fn driven(&self, record: &RecordHistory) -> HashMap<usize, Vec<&'h str>> {
        let mut events: HashMap<usize, Vec<&str>> = HashMap::new();
        for (event, route) in ids(record).filter_map(|id| self.reads.get(id)).flatten() {
            events.entry(*event).or_default().push(route);
        }
        events
    }

    /// The changes of each analysis that finds a record.
    fn found(&self, record: &RecordHistory) -> HashMap<usize, Vec<usize>> {
        let mut analyses: HashMap<usize, Vec<usize>> = HashMap::new();
        for (at, place) in ids(record).filter_map(|id| self.found.get(id)).flatten() {
            analyses.entry(*at).or_default().push(*place);
        }
        for places in analyses.values_mut() {
            places.sort_unstable();
            places.dedup();
        }
        analyses
    }

    /// The records that may be about a record, in their order, each with whether it names the record.
    fn others(&self, record: &RecordHistory, driven: &HashMap<usize, Vec<&str>>) -> Vec<(usize, bool)> {
        let linked = ids(record).filter_map(|id| self.about.get(id)).flatten().map(|at| (*at, true));
        let results = driven.keys().filter_map(|event| self.results.get(event)).flatten().map(|at| (*at, false));
        let mut all: Vec<(usize, bool)> = linked.chain(results).collect();
        all.sort_unstable_by_key(|(at, is_linked)| (*at, !is_linked));
        all.dedup_by_key(|(at, _)| *at);
        all
    }

    /// The changes of a record, or of one of its amounts, and of the records about it.
    pub fn rows(&self, record: Option<&RecordHistory>, amount: Option<&str>) -> Vec<HistoryRow> {
        let history = self.history;
        let mut all = Vec::new();
        let route = amount.map(|amount| format!("amounts.{amount}."));
        match record {
            Some(record) => {
                own(history, record, route.as_deref(), &mut all);
                if amount.is_none() {
                    self.about(record, &mut all);
                }
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
}

/// The ids that a record has and had.
fn ids(record: &RecordHistory) -> impl Iterator<Item = &str> {
    record.older_ids.iter().chain([&record.id]).map(|id| &**id)
}

/// What an analysis finds, if a change is of that.
fn found_by(change: &Change) -> Option<&str> {
    let text = || change.after.as_deref().or(change.before.as_deref());
    change.route.strip_prefix("finds.").or_else(|| text().filter(|_| *change.route == *"finds"))
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

impl Stories<'_> {
    /// Adds the rows of the results, revisions, waivers, decisions and analyses about a record.
    fn about(&self, record: &RecordHistory, all: &mut Vec<HistoryRow>) {
        let history = self.history;
        let (driven, found) = (self.driven(record), self.found(record));
        for (at, is_linked) in self.others(record, &driven) {
            let other = &history.records[at];
            let keys: &[&str] = match other.kind {
                Kind::Result => &["value", "outcome", "place"],
                Kind::Revision => &["to"],
                Kind::Waiver => &["until"],
                Kind::Decision => &["chosen"],
                Kind::Analysis => {
                    let changes = found.get(&at).into_iter().flatten().filter_map(|place| other.changes.get(*place));
                    all.extend(changes.map(|change| row_of_other(history, other, change)));
                    continue;
                }
                Kind::Goal | Kind::Event | Kind::System | Kind::Target | Kind::Requirement | Kind::Part => &[],
            };
            let driven = self.event_of(other).and_then(|event| driven.get(&event)).map_or(&[][..], Vec::as_slice);
            let keys = if is_linked { keys } else { &[] };
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
                if keys.contains(&&*change.route) || driven.contains(&&*change.route) {
                    let mut row = row_of_other(history, other, change);
                    if other.kind == Kind::Revision && change.before.is_none() {
                        row.before = other.last_value_at("from", change.commit).map(str::to_owned);
                    }
                    all.push(row);
                }
            }
        }
    }
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

    /// What is looked at for the rows of all records together grows with what they are about, not with its square.
    #[test]
    fn the_rows_of_a_record_look_at_what_is_about_it() {
        let targets: String = (0..100).map(|at| format!("  t{at}: {{of: car, at-most: 5 s}}\n")).collect();
        let result = |at: usize| format!("  r{at}: {{of: t{}, value: 4 s, date: 2027-04-01}}\n", at % 100);
        let results: String = (0..1_000).map(result).collect();
        let events = "events:\n  e: {reads: {lap: t0, other: t1}}\n  unread: {reads: {lap: t5}}\n";
        let other = "  driven: {of: e, reads: {lap: 4.2 s}, value: 80 pts, date: 2027-04-02}\n";
        let analyses = "analyses:\n  calc: {finds: {t2: 4 s, t3: 4 s}}\n  one: {finds: t4, value: 4 s}\n";
        let text = format!("targets:\n{targets}results:\n{results}{other}{events}{analyses}");
        let history = super::super::scripted(&[("2027-04-03", &text)]);
        let stories = Stories::new(&history);
        let others = |record: &RecordHistory| stories.others(record, &stories.driven(record)).len();
        assert_eq!(history.records().iter().map(others).sum::<usize>(), 1_000 + 1 + 2 + 3);
        let about = |id: &str| {
            let rows = stories.rows(history.record(id), None).into_iter().filter(|row| row.record.is_some());
            rows.map(|row| row.what).collect::<Vec<_>>()
        };
        assert_eq!(about("t0").len(), 11);
        assert!(about("t0").contains(&"result driven: reads.lap".to_owned()), "{:?}", about("t0"));
        assert_eq!((about("t1").len(), about("t2").len(), about("t4").len(), about("t5").len()), (10, 11, 11, 10));
        assert_eq!(about("e"), ["result driven: value"]);
    }

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
