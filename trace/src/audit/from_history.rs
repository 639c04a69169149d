//! The season from the history of the records.

use std::collections::BTreeSet;
use std::sync::Arc;

use foldhash::HashMap;
use schema::records::Body;
use schema::{Day, Kind, Quantity};

use super::season::{PastAmount, PastLimit, PastTarget, Season, TimelinePoint};
use crate::Loaded;
use crate::git::Project;
use crate::graph::Graph;
use crate::history::commit_state::{self, CommitState};
use crate::history::order::LimitOrder;
use crate::history::revisions::{TargetRevision, is_recorded, of_target};
use crate::history::{History, LimitChange, RecordHistory, same_limit};
use crate::ids::{CommitIndex, RecordId};
use crate::values::{Limit, Status};

/// The car is evaluated at no more commits than this: at every commit of a season with two commits per week, otherwise
/// once per period of equal length.
const MOST_POINTS: usize = 120;
/// With more records than this the car is evaluated at fewer commits, because each time all records are evaluated.
const FEW_RECORDS: usize = 500;
/// The largest number of records that are evaluated in total, if there are more than [`FEW_RECORDS`] at a time.
const MOST_RECORDS: usize = 32_000;
/// The car is evaluated at no fewer commits than this, because a picture of the season needs them.
const FEWEST_POINTS: usize = 16;

/// The number of commits at which a car of this many records is evaluated.
fn most_points(records: usize) -> usize {
    if records <= FEW_RECORDS { MOST_POINTS } else { (MOST_RECORDS / records).clamp(FEWEST_POINTS, MOST_POINTS) }
}

/// The largest number of records that the project had at a commit.
fn most_records(history: &History) -> usize {
    let mut changes = vec![0_i64; history.commits.len() + 1];
    let mut add = |commit: CommitIndex, change: i64| {
        if let Some(own) = changes.get_mut(commit.index()) {
            *own += change;
        }
    };
    for record in history.records() {
        add(record.added, 1);
        if let Some(removed) = record.removed {
            add(removed, -1);
        }
    }
    let numbers = changes.iter().scan(0, |number, change| {
        *number += change;
        Some(*number)
    });
    usize::try_from(numbers.max().unwrap_or_default()).unwrap_or_default()
}

impl Season {
    /// The season from the history of the loaded records.
    ///
    /// `tick` is called with the number of commits that are evaluated, and the number of all.
    pub fn from_history(
        project: &Project,
        graph: &Graph,
        history: &History,
        tick: &mut dyn FnMut(usize, usize),
    ) -> Self {
        let loaded = &graph.loaded;
        let mut season = Self {
            commits: history.commits.iter().filter(|commit| commit.id.is_some()).count(),
            shallow: history.shallow,
            ..Self::default()
        };
        // A project that lost more than half of its records takes as long at the commits before.
        let most = most_points(loaded.entries.len().max(most_records(history) / 2));
        let states = commit_state::states(project, loaded, history, most, tick);
        season.note = states.note();
        for (commit, state) in states.all {
            season.timeline.push(timeline_point(history, commit, &state, loaded));
        }
        let (mut tested, revisions) = (tested(history), revisions(loaded));
        add_driven(graph, history, &mut tested);
        for (_, record) in loaded.records() {
            let id = record.id.as_str();
            match &record.body {
                Body::Target(target) => {
                    let Some(past) = history.record(id) else { continue };
                    let changes = history.limit_changes(id);
                    let own = revisions.get(id).map_or(&[][..], Vec::as_slice).iter().copied();
                    let own = of_target(loaded, Some(history), &changes, target, own);
                    let results = tested.get(id).map_or(&[][..], Vec::as_slice);
                    season.limits.insert(id.to_owned(), limits(history, past, &changes, &own, results));
                }
                Body::Part(part) => {
                    let Some(past) = history.record(id) else { continue };
                    for (name, _) in part.amounts.iter() {
                        season.amounts.insert(format!("{id}.{name}"), amounts(history, past, name.as_str()));
                    }
                }
                Body::Goal(_)
                | Body::Event(_)
                | Body::System(_)
                | Body::Requirement(_)
                | Body::Analysis(_)
                | Body::Decision(_)
                | Body::Result(_)
                | Body::Revision(_)
                | Body::Waiver(_) => {}
            }
        }
        season
    }
}

/// The car at a commit.
fn timeline_point(history: &History, index: CommitIndex, state: &CommitState, loaded: &Loaded) -> TimelinePoint {
    let commit = &history.commits[index];
    let mut point = TimelinePoint {
        day: commit.day,
        commit: commit.id.clone(),
        amounts: Default::default(),
        amount_intervals: Default::default(),
        points: Default::default(),
        point_intervals: Default::default(),
        chances: Default::default(),
        targets: Default::default(),
    };
    for (name, past) in state.all() {
        if let Some(amount) = name.strip_prefix(schema::words::CAR).and_then(|rest| rest.strip_prefix('.')) {
            point.amounts.extend(past.value.map(|value| (amount.to_owned(), value)));
            point.amount_intervals.extend(past.interval.map(|interval| (amount.to_owned(), interval)));
            continue;
        }
        // A record that had another id at that commit is found by its current one.
        let id = history.record(name).map_or(name, |record| &*record.id);
        let Some(index) = loaded.find(id) else { continue };
        match &loaded.record(index).body {
            Body::Goal(_) => {
                point.points.extend(past.value.map(|value| (id.to_owned(), value)));
                point.point_intervals.extend(past.interval.map(|interval| (id.to_owned(), interval)));
                point.chances.extend(past.chance.map(|chance| (id.to_owned(), chance)));
            }
            Body::Target(_) => {
                let Limit { at_least, at_most } = past.limit.unwrap_or(Limit { at_least: None, at_most: None });
                let target = PastTarget {
                    status: past.status.unwrap_or(Status::NoValue),
                    value: past.value,
                    uncertainty: past.uncertainty,
                    limits: (at_least, at_most),
                };
                point.targets.insert(id.to_owned(), target);
            }
            Body::Event(_)
            | Body::System(_)
            | Body::Requirement(_)
            | Body::Part(_)
            | Body::Analysis(_)
            | Body::Decision(_)
            | Body::Result(_)
            | Body::Revision(_)
            | Body::Waiver(_) => {}
        }
    }
    point
}

/// The results of each subject, with their dates.
fn tested(history: &History) -> HashMap<&str, Vec<(&RecordHistory, Day)>> {
    let mut tested: HashMap<&str, Vec<(&RecordHistory, Day)>> = HashMap::default();
    for record in history.records().iter().filter(|record| record.kind == Kind::Result) {
        let last = |route: &str| record.last_value_at(route, history.after_all());
        let (Some(subject), Some(date)) = (last("of"), last("date").and_then(|date| Day::parse(date).ok())) else {
            continue;
        };
        let subject = history.record(subject).map_or(subject, |record| &*record.id);
        tested.entry(subject).or_default().push((record, date));
    }
    tested
}

/// Adds the results of events that have a value driven for a target to the results of that target.
fn add_driven<'h>(
    graph: &'h Graph,
    history: &'h History,
    tested: &mut HashMap<&'h str, Vec<(&'h RecordHistory, Day)>>,
) {
    for (target, record, _) in graph.loaded.targets() {
        for driven in graph.driven(target) {
            let result = history.record(graph.loaded.record(driven.result).id.as_str());
            if let (Some(result), Some(date)) = (result, driven.date) {
                tested.entry(record.id.as_str()).or_default().push((result, date));
            }
        }
    }
}

/// The revisions of each target.
fn revisions(loaded: &Loaded) -> HashMap<&str, Vec<RecordId>> {
    let mut revisions: HashMap<&str, Vec<RecordId>> = HashMap::default();
    for (index, _, revision) in loaded.revisions() {
        revisions.entry(revision.of.as_ref().map_or("", schema::Id::as_str)).or_default().push(index);
    }
    revisions
}

/// The limits of a target, each with whether it is recorded in a revision.
fn limits(
    history: &History,
    target: &RecordHistory,
    changes: &[LimitChange],
    revisions: &[TargetRevision<'_>],
    results: &[(&RecordHistory, Day)],
) -> Vec<PastLimit> {
    let first = changes.iter().find_map(|(.., after)| after.as_ref());
    // Most changes are after the same results as the one before.
    let mut last: Arc<[Arc<str>]> = Arc::default();
    let limit = |change: &LimitChange| {
        let (index, before, after) = change;
        let after = after.as_ref()?;
        let commit = history.commit_of_limit(target, change);
        let recorded = history.is_up_to_base(*index)
            || first.is_some_and(|first| same_limit(&first.limit, &after.limit))
            || is_recorded(*index, before.as_ref().map(|before| &before.limit), &after.limit, revisions);
        let is_earlier = |(record, date): &&(&RecordHistory, Day)| {
            history.limit_order(target, change, record, *date) == LimitOrder::After
        };
        let earlier = || results.iter().filter(is_earlier).map(|(record, _)| Arc::clone(&record.id)).collect();
        let results_before: Vec<Arc<str>> = if history.is_up_to_base(*index) { Vec::new() } else { earlier() };
        if *results_before != *last {
            last = results_before.into();
        }
        Some(PastLimit {
            day: commit.day,
            commit: commit.id.clone(),
            words: after.words.clone(),
            limit: after.limit,
            recorded,
            results_before: Arc::clone(&last),
        })
    };
    changes.iter().filter_map(limit).collect()
}

/// The values of an amount over time. It can be `mass: 2 kg` or `mass: {value: 2 kg, basis: drawn}`, and change from
/// one form to the other.
fn amounts(history: &History, record: &RecordHistory, name: &str) -> Vec<PastAmount> {
    let short = format!("amounts.{name}");
    let [long, basis] = ["value", "basis"].map(|key| format!("{short}.{key}"));
    let is_own = |route: &str| route == short || route == long || route == basis;
    let commits: BTreeSet<CommitIndex> =
        record.changes.iter().filter(|change| is_own(&change.route)).map(|change| change.commit).collect();
    commits
        .into_iter()
        .filter_map(|commit| {
            let text = record.last_value_at(&long, commit).or_else(|| record.last_value_at(&short, commit))?;
            Some(PastAmount {
                day: history.commits[commit].day,
                value: Quantity::parse(text).ok()?,
                basis: record.last_value_at(&basis, commit).map(str::to_owned),
            })
        })
        .collect()
}
