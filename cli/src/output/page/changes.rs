//! Which limits changed and who agreed.

use schema::Day;
use schema::records::Revision;
use serde_json::{Value, json};
use trace::RecordId;
use trace::audit::{PastLimit, TargetAudit};

use super::PageView;
use crate::screen::count;

/// Every limit after the first one, the latest first.
pub(super) fn limits(view: &PageView<'_>) -> Vec<Value> {
    let mut rows: Vec<(Day, Value)> = view.audit.targets.iter().flat_map(|target| of_target(view, target)).collect();
    rows.sort_by(|(a, _), (b, _)| b.cmp(a));
    rows.into_iter().map(|(_, row)| row).collect()
}

/// The changes of the limit of one target, from git; without a history, its revisions.
pub(super) fn of_target(view: &PageView<'_>, target: &TargetAudit) -> Vec<(Day, Value)> {
    let revision = |index: &RecordId| Some((*index, view.study.loaded.revision(*index)?));
    let revisions: Vec<(RecordId, &Revision)> = target.revisions.iter().filter_map(revision).collect();
    // Those that no limit has yet, each with the number that it leads to.
    let to = |own: &Revision| own.to.as_ref().map(|to| view.study.values().in_team(to).1);
    let mut unused: Vec<_> = revisions.iter().map(|(index, own)| ((*index, *own), to(own))).collect();
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
        let at = unused.iter().position(|(_, to)| leads_to(*to, after)).filter(|_| after.recorded);
        let found = at.map(|at| unused.remove(at).0);
        rows.push(row(after.day, before.words.text(), after.words.text(), found, after.is_after_result()));
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

/// Whether a revision to a number leads to a limit.
fn leads_to(to: Option<f64>, limit: &PastLimit) -> bool {
    let same = |end: Option<f64>| end.zip(to).is_some_and(|(end, to)| schema::quantity::same_number(end, to));
    same(limit.limit.at_most) || same(limit.limit.at_least)
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
