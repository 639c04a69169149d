//! Which limits changed and who agreed; and what was changed lately.

use schema::Day;
use schema::records::Revision;
use serde_json::{Value, json};
use trace::RecordId;
use trace::audit::{PastLimit, TargetAudit};
use trace::history::Change;

use super::PageView;

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
    let last = changed.filter_map(|commit| history.commits.get(commit)).map(|commit| commit.day);
    let Some(last) = last.filter(|day| *day <= view.study.day).max() else { return Value::Null };
    let is_recent = |commit: usize| {
        let day = history.commits.get(commit).map(|commit| commit.day);
        day.is_some_and(|day| (0..RECENT).contains(&day.days_until(last)))
    };
    let mut rows: Vec<(usize, Value)> = Vec::new();
    let mut row = |commit: usize, record: &str, what: &str, change: Option<&Change>| {
        let Some(own) = history.commits.get(commit) else { return };
        let text = |text: &Option<std::sync::Arc<str>>| text.as_deref().map(super::records::short);
        let value = json!({
            "day": own.day.to_string(),
            "commit": own.short(),
            "record": view.named(record),
            "what": what,
            "before": change.map(|change| text(&change.before)),
            "after": change.map(|change| text(&change.after)),
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
    let more = rows.len().saturating_sub(MOST);
    let rows: Vec<Value> = rows.into_iter().take(MOST).map(|(_, row)| row).collect();
    json!({"until": last.to_string(), "days": RECENT, "quiet": last < view.study.day, "rows": rows, "more": more})
}
