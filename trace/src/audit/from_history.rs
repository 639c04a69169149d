//! A season from the history of the records.

use std::collections::BTreeSet;
use std::sync::Arc;

use foldhash::HashMap;
use schema::records::Body;
use schema::{Day, Kind, Quantity};

use super::season::{PastAmount, PastLimit, PastTarget, Season, TimelinePoint};
use crate::Loaded;
use crate::git::Project;
use crate::history::revisions::{TargetRevision, is_recorded, of_target};
use crate::history::{History, LimitChange, RecordHistory, commit_state, same_limit};
use crate::ids::RecordId;
use crate::values::{Limit, Status};

/// The car is evaluated at no more commits than this: a season of two commits a week whole, a longer one in equal slots
/// of time.
const MOST_MOMENTS: usize = 120;
/// And at fewer where there are more records than this, since each time all of them go into the value graph, ...
const FEW_RECORDS: usize = 500;
/// ... so many in all, ...
const MOST_RECORDS: usize = 32_000;
/// ... and never fewer than a picture wants.
const FEWEST_MOMENTS: usize = 16;

/// At how many commits a car of so many records is evaluated.
fn most_moments(records: usize) -> usize {
    if records <= FEW_RECORDS { MOST_MOMENTS } else { (MOST_RECORDS / records).clamp(FEWEST_MOMENTS, MOST_MOMENTS) }
}

impl Season {
    /// What the history tells of the records that were loaded.
    ///
    /// `tick` is told how many commits are evaluated, of how many.
    pub fn from_history(
        project: &Project,
        loaded: &Arc<Loaded>,
        history: &History,
        tick: &mut dyn FnMut(usize, usize),
    ) -> Self {
        let mut season = Self {
            commits: history.commits.iter().filter(|step| step.id.is_some()).count(),
            shallow: history.shallow,
            ..Self::default()
        };
        let most = most_moments(loaded.entries.len());
        for (step, state) in commit_state::states(project, loaded, history, most, tick) {
            season.timeline.push(moment(history, step, &state, loaded));
        }
        let (tested, revisions) = (tested(history), revisions(loaded));
        for (_, record) in loaded.records() {
            let id = record.id.as_str();
            match &record.body {
                Body::Target(target) => {
                    let Some(life) = history.record(id) else { continue };
                    let moves = history.limit_changes(id);
                    let about = revisions.get(id).map_or(&[][..], Vec::as_slice).iter().copied();
                    let agreed = of_target(loaded, Some(history), &moves, target, about);
                    let results = tested.get(id).map_or(&[][..], Vec::as_slice);
                    season.limits.insert(id.to_owned(), limits(history, life, &moves, &agreed, results));
                }
                Body::Part(part) => {
                    let Some(life) = history.record(id) else { continue };
                    for (name, _) in part.amounts.iter() {
                        season.amounts.insert(format!("{id}.{name}"), amounts(history, life, name.as_str()));
                    }
                }
                _ => {}
            }
        }
        season
    }
}

fn moment(history: &History, step: usize, state: &commit_state::CommitState, loaded: &Loaded) -> TimelinePoint {
    let commit = &history.commits[step];
    let mut moment = TimelinePoint {
        day: commit.day,
        commit: commit.id.clone(),
        amounts: Default::default(),
        points: Default::default(),
        targets: Default::default(),
    };
    for (name, past) in state.all() {
        if let Some(amount) = name.strip_prefix(schema::words::CAR).and_then(|rest| rest.strip_prefix('.')) {
            moment.amounts.extend(past.value.map(|value| (amount.to_owned(), value)));
            continue;
        }
        // A record that had another id then is told under the one it has now.
        let id = history.record(name).map_or(name, |life| &*life.id);
        let Some(index) = loaded.find(id) else { continue };
        match &loaded.record(index).body {
            Body::Goal(_) => moment.points.extend(past.value.map(|value| (id.to_owned(), value))),
            Body::Target(_) => {
                let Limit { at_least, at_most } = past.limit.unwrap_or(Limit { at_least: None, at_most: None });
                let course = PastTarget {
                    status: past.status.unwrap_or(Status::NoValue),
                    value: past.value,
                    uncertainty: past.uncertainty,
                    limits: (at_least, at_most),
                };
                moment.targets.insert(id.to_owned(), course);
            }
            _ => {}
        }
    }
    moment
}

/// The results of each subject, with their dates.
fn tested(history: &History) -> HashMap<&str, Vec<(&RecordHistory, Day)>> {
    let mut tested: HashMap<&str, Vec<(&RecordHistory, Day)>> = HashMap::default();
    for life in history.records().iter().filter(|life| life.kind == Kind::Result) {
        let said = |route: &str| life.last_value_at(route, history.commits.len());
        let (Some(of), Some(date)) = (said("of"), said("date").and_then(|date| Day::parse(date).ok())) else {
            continue;
        };
        let of = history.record(of).map_or(of, |life| &*life.id);
        tested.entry(of).or_default().push((life, date));
    }
    tested
}

/// The revisions of each target.
fn revisions(loaded: &Loaded) -> HashMap<&str, Vec<RecordId>> {
    let mut revisions: HashMap<&str, Vec<RecordId>> = HashMap::default();
    for (index, _, revision) in loaded.revisions() {
        revisions.entry(revision.of.as_ref().map_or("", schema::Id::as_str)).or_default().push(index);
    }
    revisions
}

fn limits(
    history: &History,
    target: &RecordHistory,
    moves: &[LimitChange],
    agreed: &[TargetRevision<'_>],
    results: &[(&RecordHistory, Day)],
) -> Vec<PastLimit> {
    let first = moves.iter().find_map(|(.., after)| after.as_ref());
    let step = |moved: &LimitChange| {
        let (step, before, after) = moved;
        let after = after.as_ref()?;
        let commit = history.commit_of_limit(target, moved);
        let recorded = first.is_some_and(|first| same_limit(&first.limit, &after.limit))
            || is_recorded(*step, before.as_ref().map(|before| &before.limit), &after.limit, agreed);
        Some(PastLimit {
            day: commit.day,
            commit: commit.id.clone(),
            text: after.text.clone(),
            limit: after.limit,
            recorded,
            after_result: results.iter().any(|(life, date)| history.limit_came_after(target, moved, life, *date)),
        })
    };
    moves.iter().filter_map(step).collect()
}

/// Written as `mass: 2 kg` or as `mass: {value: 2 kg, basis: drawn}`, and from one to the other.
fn amounts(history: &History, life: &RecordHistory, name: &str) -> Vec<PastAmount> {
    let short = format!("amounts.{name}");
    let [long, basis] = ["value", "basis"].map(|key| format!("{short}.{key}"));
    let ours = |route: &str| route == short || route == long || route == basis;
    let steps: BTreeSet<usize> =
        life.changes.iter().filter(|change| ours(&change.route)).map(|change| change.commit).collect();
    steps
        .into_iter()
        .filter_map(|step| {
            let text = life.last_value_at(&long, step).or_else(|| life.last_value_at(&short, step))?;
            Some(PastAmount {
                day: history.commits[step].day,
                value: Quantity::parse(text).ok()?,
                basis: life.last_value_at(&basis, step).map(str::to_owned),
            })
        })
        .collect()
}
