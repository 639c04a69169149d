//! Which limits changed and who agreed; and what was changed lately.

use schema::records::{Outcome, Revision};
use schema::{Day, number};
use serde_json::{Value, json};
use trace::audit::{PastLimit, TargetAudit};
use trace::history::Change;
use trace::values::Status;
use trace::{CommitIndex, RecordId};

use super::PageView;
use crate::screen::count;

/// Changes within these days until the last one are recent.
const RECENT: i32 = 7;
/// The most recent changes that are listed.
const MOST: usize = 120;

/// Every limit after the first one, the latest first.
pub(super) fn limits(view: &PageView<'_>) -> Vec<Value> {
    let mut rows: Vec<(Day, Value)> = view.audit.targets.iter().flat_map(|target| of_target(view, target)).collect();
    rows.sort_by(|(a, _), (b, _)| b.cmp(a));
    rows.into_iter().map(|(_, row)| row).collect()
}

/// The changes of the limit of one target, from git; without a history, its revisions.
pub(super) fn of_target(view: &PageView<'_>, target: &TargetAudit) -> Vec<(Day, Value)> {
    let revision = |index: &RecordId| Some((*index, view.study.loaded.revision(*index)?));
    let mut revisions: Vec<(RecordId, &Revision)> = target.revisions.iter().filter_map(revision).collect();
    let row = |day: Day, before: String, after: String, found: Option<(RecordId, &Revision)>, late: bool| {
        let value = json!({
            "target": view.link(target.status.index),
            "day": day.to_string(),
            "before": before,
            "after": after,
            "revision": found.map(|(index, _)| view.link(index)),
            "agreed_by": found.and_then(|(_, own)| own.agreed_by.clone()),
            "reason": found.and_then(|(_, own)| own.reason.clone()),
            "after_result": late,
        });
        (day, value)
    };
    let mut rows = Vec::new();
    for step in target.limits.windows(2) {
        let [before, after] = step else { continue };
        let at = revisions.iter().position(|(_, own)| leads_to(view, own, after)).filter(|_| after.recorded);
        let found = at.map(|at| revisions.remove(at));
        rows.push(row(after.day, before.text.clone(), after.text.clone(), found, after.is_after_result()));
    }
    if target.limits.is_empty() {
        for (index, own) in revisions {
            let text = |limit: &Option<schema::Quantity>| limit.as_ref().map(ToString::to_string).unwrap_or_default();
            let day = own.date.unwrap_or(view.study.day);
            rows.push(row(day, text(&own.from), text(&own.to), Some((index, own)), false));
        }
    }
    rows
}

/// Whether a revision leads to a limit.
fn leads_to(view: &PageView<'_>, revision: &Revision, limit: &PastLimit) -> bool {
    let Some(to) = &revision.to else { return false };
    let (_, to, _) = view.study.values().in_team(to);
    let same = |end: Option<f64>| end.is_some_and(|end| schema::quantity::same_number(end, to));
    same(limit.limit.at_most) || same(limit.limit.at_least)
}

/// What was changed in the last days in which something was, the latest first.
pub(super) fn recent(view: &PageView<'_>) -> Value {
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
    let mut rows: Vec<(CommitIndex, Value)> = Vec::new();
    let mut row = |commit: CommitIndex, record: &str, what: &str, change: Option<&Change>| {
        let Some(own) = history.commit(commit) else { return };
        let text = |text: &Option<std::sync::Arc<str>>| text.as_deref().map(super::records::short);
        let value = json!({
            "day": own.day.to_string(),
            "commit": own.short(),
            "record": view.named(record),
            "what": what,
            "before": change.map(|change| text(&change.before)),
            "after": match change {
                Some(change) => text(&change.after),
                None => (what == "added").then(|| contains(view, record)).flatten().as_deref().map(super::records::short),
            },
        });
        rows.push((commit, value));
    };
    for record in history.records() {
        if is_recent(record.added) {
            row(record.added, &record.id, "added", None);
        }
        if let Some(removed) = record.removed.filter(|removed| is_recent(*removed)) {
            row(removed, &record.id, "removed", None);
        }
        for change in record.changes.iter().filter(|change| change.commit != record.added && is_recent(change.commit)) {
            row(change.commit, &record.id, &change.route, Some(change));
        }
    }
    // Those of one commit stay in the order of the records.
    rows.sort_by_key(|(commit, _)| std::cmp::Reverse(*commit));
    let all = rows.len();
    // What passed as planned is folded.
    let is_pass = |row: &Value| row["what"] == "added" && row["after"] == "pass";
    let (passed, rows): (Vec<Value>, Vec<Value>) = rows.into_iter().map(|(_, row)| row).partition(is_pass);
    let more = rows.len().saturating_sub(MOST) + passed.len().saturating_sub(MOST);
    let [rows, passed] = [rows, passed].map(|rows| rows.into_iter().take(MOST).collect::<Vec<Value>>());
    json!({"until": last.to_string(), "days": RECENT, "quiet": last < view.study.day, "rows": rows, "passed": passed,
           "more": more, "sum": sum(view, last, all)})
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

/// How many limits changed, and how many of them without a revision or after a result, as a sentence.
pub(super) fn limits_sentence(rows: &[Value]) -> Option<String> {
    let number = |wanted: &dyn Fn(&Value) -> bool| rows.iter().filter(|row| wanted(row)).count();
    let (missing, late) = (number(&|row| row["revision"].is_null()), number(&|row| row["after_result"] == true));
    let mut text = format!("{} of limits", count(rows.len(), "change"));
    text.push_str(&match missing {
        0 => ", each with a revision".to_owned(),
        missing => format!(", {missing} without a revision"),
    });
    if late > 0 {
        text.push_str(&format!(", {late} after a result"));
    }
    (!rows.is_empty()).then_some(text)
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
