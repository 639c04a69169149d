//! What was changed lately, and what each change did to the points and the chance.

use std::collections::BTreeMap;
use std::sync::Arc;

use schema::records::Outcome;
use schema::{Day, number};
use serde_json::{Value, json};
use trace::CommitIndex;
use trace::audit::TimelinePoint;
use trace::history::{Change, History};
use trace::values::Status;

use super::PageView;
use super::records::{key_words, short};
use crate::screen::count;

/// Changes within these days until the last one are recent.
const RECENT: i32 = 7;
/// The most commits that are listed, and the most changes of each.
const MOST: usize = 40;
const MOST_CHANGES: usize = 12;
/// The most results that passed as planned that are listed.
const MOST_PASSED: usize = 120;

/// The changes between two evaluated states of the car: those of one commit, unless the season has very many of them.
struct Step<'t> {
    first: CommitIndex,
    last: CommitIndex,
    before: Option<&'t TimelinePoint>,
    after: Option<&'t TimelinePoint>,
    /// Each with how much it is worth, for the order; of very many only the first ones in this order.
    changes: Vec<(f64, Value)>,
    /// How many changes are no longer in the list.
    more: usize,
    passed: usize,
}

impl Step<'_> {
    /// Adds a change. The list is cut long before a season with very many changes fills the memory.
    fn add(&mut self, worth: f64, change: Value) {
        const LONGEST: usize = 1_000;
        self.changes.push((worth, change));
        if self.changes.len() > LONGEST {
            self.cut();
        }
    }

    /// Keeps the changes that are listed; those of the same worth stay in the order of the records.
    fn cut(&mut self) {
        self.changes.sort_by(|(a, _), (b, _)| b.total_cmp(a));
        self.more += self.changes.len().saturating_sub(MOST_CHANGES);
        self.changes.truncate(MOST_CHANGES);
    }

    /// What a goal had before and after, if both are known.
    fn of(&self, values: impl Fn(&TimelinePoint) -> Option<f64>) -> Option<(f64, f64)> {
        Some((values(self.before?)?, values(self.after?)?))
    }
}

/// What was changed in the last days in which something was: the commit that changed the points most first.
pub(super) fn section(view: &PageView<'_>) -> Value {
    let Some(history) = view.study.past().available() else { return Value::Null };
    let changed = history.records().iter().flat_map(|record| {
        let changes = record.changes.iter().map(|change| change.commit);
        changes.chain([record.added]).chain(record.removed)
    });
    let last = changed.filter_map(|commit| history.commit(commit)).map(|commit| commit.day);
    let Some(last) = last.filter(|day| *day <= view.study.day).max() else { return Value::Null };
    let is_recent = |commit: CommitIndex| {
        let day = history.commit(commit).map(|commit| commit.day);
        day.is_some_and(|day| (0..RECENT).contains(&day.days_until(last)))
    };
    let goal = view.study.goals().first();
    let mut all = Steps {
        view,
        history,
        points: evaluated(view, history),
        sensitivities: goal.map(|goal| view.study.values().worth_of_all(goal.node)).unwrap_or_default(),
        steps: BTreeMap::new(),
        targets: None,
        passed: Vec::new(),
        number: 0,
    };
    for record in history.records() {
        if is_recent(record.added) {
            all.add(record.added, &record.id, "added", None);
        }
        if let Some(removed) = record.removed.filter(|removed| is_recent(*removed)) {
            all.add(removed, &record.id, "removed", None);
        }
        for change in record.changes.iter().filter(|change| change.commit != record.added && is_recent(change.commit)) {
            all.add(change.commit, &record.id, &change.route, Some(change));
        }
    }
    let Steps { steps, mut passed, number: changes, .. } = all;
    let goal = goal.map(|goal| view.id(goal.index));
    let points = |step: &Step<'_>| step.of(|point| point.points.get(goal?).copied());
    let chances = |step: &Step<'_>| step.of(|point| point.chances.get(goal?).copied());
    let mut steps: Vec<Step<'_>> = steps.into_values().collect();
    let size = |both: Option<(f64, f64)>, places: usize| {
        both.map_or(0.0, |(old, new)| number::shown_change(old, new, places).abs())
    };
    steps.sort_by(|a, b| {
        let by_points = size(points(b), 1).total_cmp(&size(points(a), 1));
        by_points.then(size(chances(b), 3).total_cmp(&size(chances(a), 3))).then(b.last.cmp(&a.last))
    });
    let more = steps.len().saturating_sub(MOST);
    let rows = steps.into_iter().take(MOST).map(|step| {
        let by = points(&step).map(|(old, new)| number::signed(number::shown_change(old, new, 1), 1));
        let to = points(&step).map(|(_, new)| number::fixed(new, 1));
        let chance = chances(&step).map(|(old, new)| {
            let [old, new] = [old, new].map(|chance| number::percent(chance, 1));
            if old == new { new } else { format!("{old} → {new}") }
        });
        row(history, step, json!({"by": by, "points": to, "chance": chance}))
    });
    let rows: Vec<Value> = rows.collect();
    passed.sort_by_key(|(commit, _)| std::cmp::Reverse(*commit));
    let not_listed = passed.len().saturating_sub(MOST_PASSED);
    let passed: Vec<Value> = passed.into_iter().take(MOST_PASSED).map(|(_, value)| value).collect();
    json!({"until": last.to_string(), "days": RECENT, "quiet": last < view.study.day, "passed": passed, "not_listed": not_listed,
           "chance": rows.iter().any(|row| !row["chance"].is_null()), "points": rows.iter().any(|row| !row["by"].is_null()),
           "rows": rows, "more": more, "sum": sum(view, last, changes)})
}

/// The evaluated states of the season, each with its commit.
fn evaluated<'t>(view: &PageView<'t>, history: &History) -> Vec<(CommitIndex, &'t TimelinePoint)> {
    let timeline = view.season.map(|season| season.timeline.as_slice()).unwrap_or_default();
    let mut commits = history.indices().zip(&history.commits);
    let mut at = |point: &TimelinePoint| commits.find(|(_, commit)| commit.id == point.commit).map(|(at, _)| at);
    timeline.iter().filter_map(|point| Some((at(point)?, point))).collect()
}

/// The changes, by the state that they lead to.
struct Steps<'v, 't> {
    view: &'v PageView<'t>,
    history: &'v History,
    points: Vec<(CommitIndex, &'t TimelinePoint)>,
    /// The points of the first goal for each value, at the present slope.
    sensitivities: Vec<f64>,
    steps: BTreeMap<CommitIndex, Step<'t>>,
    /// The record and the state of the last change, with what [`targets`] has for them: a record can have very many changes.
    targets: Option<(Arc<str>, CommitIndex, Targets)>,
    /// What passed as planned, each with its commit.
    passed: Vec<(CommitIndex, Value)>,
    number: usize,
}

impl Steps<'_, '_> {
    fn add(&mut self, commit: CommitIndex, id: &Arc<str>, what: &str, change: Option<&Change>) {
        let Some(own) = self.history.commit(commit) else { return };
        self.number += 1;
        let at = self.points.partition_point(|(own, _)| *own < commit);
        let after = self.points.get(at);
        let before = at.checked_sub(1).and_then(|before| self.points.get(before)).map(|(_, point)| *point);
        let key = after.map_or(commit, |(own, _)| *own);
        let new = || Step {
            first: commit,
            last: commit,
            before,
            after: after.map(|(_, point)| *point),
            changes: Vec::new(),
            more: 0,
            passed: 0,
        };
        let step = self.steps.entry(key).or_insert_with(new);
        (step.first, step.last) = (step.first.min(commit), step.last.max(commit));
        let text = |text: &Option<Arc<str>>| text.as_deref().map(short);
        let after = match change {
            Some(change) => text(&change.after),
            None => (what == "added").then(|| contains(self.view, id)).flatten().as_deref().map(short),
        };
        // What passed as planned is folded.
        if what == "added" && after.as_deref() == Some("pass") {
            step.passed += 1;
            self.passed.push((commit, json!({"day": own.day.to_string(), "record": self.view.named(id)})));
            return;
        }
        let known = self.targets.take().filter(|(own, at, _)| (own, *at) == (id, key));
        let found = known.map_or_else(|| targets(self.view, &self.sensitivities, step, id), |(.., found)| found);
        let (targets, worth) = &found;
        let change = json!({
            "record": self.view.named(id),
            "of": targets,
            "what": key_words(what),
            "before": change.map(|change| text(&change.before)),
            "after": after,
        });
        step.add(*worth, change);
        self.targets = Some((Arc::clone(id), key, found));
    }
}

/// Targets with their values before and after, and how many points these changes are.
type Targets = (Vec<Value>, f64);

/// The most targets that an analysis changes that are named.
const MOST_TARGETS: usize = 4;

/// What a result is of and the targets that an analysis finds, each with its value before and after, and how many points all
/// of this is at the present slope.
fn targets(view: &PageView<'_>, sensitivities: &[f64], step: &Step<'_>, id: &str) -> Targets {
    let loaded = &view.study.loaded;
    let Some(index) = loaded.find(id) else { return (Vec::new(), 0.0) };
    let found = || loaded.analysis(index)?.finds.as_ref().map(schema::records::Finds::targets);
    let of = loaded.result(index).and_then(|result| result.of.as_ref());
    let names = of.map(|of| vec![of]).or_else(found).unwrap_or_default();
    let values = view.study.values();
    let (mut all, mut points) = (Vec::new(), 0.0);
    for target in names.into_iter().filter_map(|name| loaded.find(name.as_str())) {
        let node = values.record_node(target);
        let past = |point: Option<&TimelinePoint>| point?.targets.get(view.id(target))?.value;
        let (before, after) = (past(step.before), past(step.after));
        let slope = node.and_then(|node| sensitivities.get(node.index()));
        let worth =
            slope.zip(before.zip(after)).map_or(0.0, |(slope, (before, after))| (slope * (after - before)).abs());
        points += worth;
        let shown = |si: Option<f64>| Some(values.unit(node?).show(si?, 0.0));
        let (before, after) = (shown(before), shown(after));
        // An analysis is about its targets only where it changes them.
        if of.is_some() || before != after {
            all.push((worth, json!({"record": view.link(target), "before": before, "after": after})));
        }
    }
    all.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    (all.into_iter().take(MOST_TARGETS).map(|(_, own)| own).collect(), if points.is_finite() { points } else { 0.0 })
}

fn row(history: &History, mut step: Step<'_>, effect: Value) -> Value {
    step.cut();
    let commit = |at: CommitIndex| history.commit(at);
    let day = |at: CommitIndex| commit(at).map(|commit| commit.day.to_string());
    let mut row = effect;
    row["day"] = json!(day(step.last));
    row["since"] = json!(day(step.first).filter(|first| Some(first) != day(step.last).as_ref()));
    row["commit"] = json!(commit(step.last).map(|commit| commit.short().to_owned()));
    row["commits"] = json!(step.last.index() - step.first.index() + 1);
    row["more"] = json!(step.more);
    row["passed"] = json!((step.passed > 0).then_some(step.passed));
    row["changes"] = step.changes.into_iter().map(|(_, change)| change).collect();
    row
}

/// What the recent changes did: points, amounts of the car, and targets with a new status; `None` without the car before.
fn sum(view: &PageView<'_>, last: Day, changes: usize) -> Value {
    let timeline = view.season.map(|season| season.timeline.as_slice()).unwrap_or_default();
    let before = timeline.iter().rfind(|point| point.day.days_until(last) >= RECENT);
    let Some((before, after)) = before.zip(timeline.last()) else { return Value::Null };
    let values = view.study.values();
    let mut parts = vec![count(changes, "change")];
    let goal = view.study.goals().first().map(|goal| view.id(goal.index));
    if let Some((old, new)) = goal.and_then(|id| before.points.get(id).zip(after.points.get(id))) {
        let [old, new] = [*old, *new].map(|points| number::fixed(points, 1));
        parts.push(match old == new {
            true => format!("points unchanged at {new}"),
            false => format!("points {old} → {new}"),
        });
    }
    let chances = goal.and_then(|id| before.chances.get(id).zip(after.chances.get(id)));
    if let Some((old, new)) = chances.map(|(old, new)| (number::chance(*old), number::chance(*new))) {
        parts.push(if old == new { format!("chance unchanged at {new}") } else { format!("chance {old} → {new}") });
    }
    for amount in values.amounts() {
        let known = before.amounts.get(&**amount).zip(after.amounts.get(&**amount));
        let node = values.named(&format!("{}.{amount}", schema::words::CAR));
        let (Some((old, new)), Some(node)) = (known, node) else { continue };
        let unit = values.unit(node);
        let [old, new] = [*old, *new].map(|value| unit.show(value, 0.0));
        if old != new {
            parts.push(format!("{amount} {old} → {new}"));
        }
    }
    let is_bad = |status: Status| matches!(status, Status::AtRisk | Status::Missed);
    let mut changed: Vec<(bool, Value)> = Vec::new();
    for target in view.study.target_statuses() {
        let old = before.targets.get(view.id(target.index)).map(|past| past.status);
        if let Some(old) = old.filter(|old| *old != target.status) {
            let value = json!({"target": view.link(target.index), "before": old.word(), "after": target.status.word(),
                               "class": super::records::class_of(target.status)});
            changed.push((!is_bad(target.status), value));
        }
    }
    changed.sort_by_key(|(is_good, _)| *is_good);
    let changed: Vec<Value> = changed.into_iter().map(|(_, value)| value).collect();
    json!({"text": parts.join("; "), "statuses": changed})
}

/// What a record that was added contains, in short: the value of a result, the amounts of a part, a limit, an estimate.
fn contains(view: &PageView<'_>, id: &str) -> Option<String> {
    let loaded = &view.study.loaded;
    let index = loaded.find(id)?;
    if let Some(result) = loaded.result(index) {
        let place = result.place.map(|place| format!("place {place}"));
        let outcome = result.outcome.map(|outcome| match outcome {
            Outcome::Pass => "pass".to_owned(),
            Outcome::Fail => "fail".to_owned(),
        });
        let reads =
            || result.reads.iter().map(|(name, value)| format!("{name} {value}")).collect::<Vec<_>>().join(", ");
        let reads = Some(reads()).filter(|text| !text.is_empty());
        return result.value.as_ref().map(ToString::to_string).or(place).or(outcome).or(reads);
    }
    if let Some(part) = loaded.part(index) {
        let amounts = part.amounts.iter().map(|(name, amount)| format!("{name} {}", amount.value));
        return Some(amounts.collect::<Vec<_>>().join(", ")).filter(|text| !text.is_empty());
    }
    let target = loaded.target(index)?;
    let limit = crate::output::values::limit_text(loaded, index);
    let estimate = target.estimate.as_ref().map(|estimate| format!("estimate {estimate}"));
    Some([Some(limit), estimate].into_iter().flatten().filter(|text| !text.is_empty()).collect::<Vec<_>>().join(", "))
}
