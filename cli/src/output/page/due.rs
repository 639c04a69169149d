//! What is due soon, by lead; and what people's safety depends on without a test that has passed.

use std::collections::BTreeMap;

use schema::Day;
use serde_json::{Value, json};
use trace::RecordId;
use trace::audit::{ChangesAfterResults, LaterChange};
use trace::history::Commit;

use super::{PageView, in_days};
use crate::screen::count;

/// What is due within these days is listed.
pub(super) const SOON: i32 = 28;
/// What is due within these days is listed before the rest.
const WEEK: i32 = 7;
/// The most of these that are listed; and how many of the next ones are, if there is none of these.
const MOST_NEAR: usize = 40;
const NEXT: usize = 8;

/// What is due on a date.
struct Due {
    day: Day,
    record: RecordId,
    what: String,
    with: Option<String>,
    parts: usize,
}

/// The verifications without a result and the waivers that end, by the lead who is responsible; overdue ones first.
pub(super) fn section(view: &PageView<'_>) -> Value {
    let study = view.study;
    let mut by_lead: BTreeMap<String, Vec<Due>> = BTreeMap::new();
    let mut later: Vec<Day> = Vec::new();
    // The parts of a group are verified together.
    let mut groups: BTreeMap<(RecordId, Day, &str), (String, Due)> = BTreeMap::new();
    let none = || "no lead".to_owned();
    for record in study.loaded.record_ids() {
        for planned in study.planned(record) {
            let (Some(days), Some(day)) = (planned.days_left(study.day), planned.plan.due) else { continue };
            if days > SOON {
                later.push(day);
                continue;
            }
            let lead = planned.lead.map_or_else(none, str::to_owned);
            let what = planned.plan.by.word().to_owned();
            let due =
                Due { day, record: planned.group.unwrap_or(record), what, with: planned.plan.with.clone(), parts: 0 };
            match planned.group {
                None => by_lead.entry(lead).or_default().push(due),
                Some(group) => {
                    groups.entry((group, day, planned.plan.by.word())).or_insert((lead, due)).1.parts += 1;
                }
            }
        }
    }
    for (lead, due) in groups.into_values() {
        by_lead.entry(lead).or_default().push(due);
    }
    for (record, _, waiver) in study.loaded.waivers() {
        let Some(day) = waiver.until.filter(|until| study.day.days_until(*until) <= SOON) else { continue };
        let lead = waiver.agreed_by.clone().unwrap_or_else(none);
        by_lead.entry(lead).or_default().push(Due {
            day,
            record,
            what: "waiver ends".to_owned(),
            with: None,
            parts: 0,
        });
    }
    let mut first: Vec<(&str, &Due)> =
        by_lead.iter().flat_map(|(lead, all)| all.iter().map(|due| (lead.as_str(), due))).collect();
    let safety = |due: &Due| study.loaded.record(due.record).safety_critical();
    let is_late = |due: &Due| due.day < study.day;
    // What is overdue comes first, and of this what people's safety depends on.
    first.sort_by_key(|(_, due)| (!is_late(due), is_late(due) && !safety(due), due.day, due.record));
    let overdue = first.iter().filter(|(_, due)| is_late(due)).count();
    let is_near = |(_, due): &&(&str, &Due)| study.day.days_until(due.day) < WEEK;
    let near = first.iter().filter(is_near).count();
    let listed = if near == 0 { NEXT } else { near.min(MOST_NEAR) };
    let next: Vec<Value> = first.iter().take(listed).map(|(lead, due)| row(view, lead, due)).collect();
    let leads: Vec<Value> = by_lead
        .iter()
        .map(|(lead, all)| {
            let mut all: Vec<&Due> = all.iter().collect();
            all.sort_by_key(|due| (due.day, due.record));
            let overdue = all.iter().filter(|due| due.day < study.day).count();
            let rows: Vec<Value> = all.iter().map(|due| row(view, lead, due)).collect();
            let all = rows.len();
            json!({"lead": lead, "overdue": overdue, "all": all, "rows": rows})
        })
        .collect();
    let rest = later
        .iter()
        .min()
        .map(|first| format!("{} due later, the first on {first}", count(later.len(), "verification")));
    let all: usize = leads.iter().map(|lead| lead["rows"].as_array().map_or(0, Vec::len)).sum();
    let week = near - overdue;
    json!({"leads": leads, "next": next, "overdue": overdue, "count": all, "rest": rest, "days": SOON,
           "week": week, "more": all - overdue - week})
}

fn row(view: &PageView<'_>, lead: &str, due: &Due) -> Value {
    let days = view.study.day.days_until(due.day);
    json!({
        "day": due.day.to_string(),
        "in": in_days(days),
        "late": days < 0,
        "lead": lead,
        "record": view.link(due.record),
        "parts": (due.parts > 0).then(|| count(due.parts, "part")),
        "what": due.what,
        "with": due.with,
        "safety": view.study.loaded.record(due.record).safety_critical(),
    })
}

/// The most changes after a result that are listed.
const MOST_LATER: usize = 8;

/// The safety-critical records with a result that is older than a change: each with everything that was changed since, the
/// weightiest first.
pub(super) fn outdated(view: &PageView<'_>) -> Vec<Value> {
    let all = trace::audit::outdated(view.study);
    if all.is_empty() {
        return Vec::new();
    }
    let after = ChangesAfterResults::new(view.study);
    let history = view.study.past().available();
    let change = |own: &LaterChange| {
        let what = own.key.as_ref().map(|(_, route)| match route.strip_prefix("serves.") {
            Some(served) => format!("why it serves {}", view.named(served)["title"].as_str().unwrap_or(served)),
            None => super::records::key_words(route),
        });
        let commit = history.and_then(|history| history.commit(own.commit));
        let text = |text: &Option<String>| text.as_deref().map(super::records::short);
        json!({"what": what, "before": text(&own.before), "after": text(&own.after),
               "day": commit.map(|commit| commit.day.to_string()), "commit": commit.map(Commit::short)})
    };
    let one = |(record, finding): (RecordId, &trace::Finding)| {
        let changes = after.of(record);
        let result = view.study.latest_result(record);
        json!({
            "record": view.link(record),
            "lead": view.study.graph.lead(record),
            "message": finding.message,
            "day": result.and_then(|(_, result)| result.date).map(|day| day.to_string()),
            "changes": changes.iter().take(MOST_LATER).map(change).collect::<Vec<_>>(),
            "more": changes.len().saturating_sub(MOST_LATER),
        })
    };
    all.into_iter().map(one).collect()
}

/// The safety-critical records without a test, a demonstration or an inspection that has passed, by lead.
pub(super) fn unproven(view: &PageView<'_>) -> Vec<Value> {
    let study = view.study;
    let mut all: Vec<_> = view.audit.unproven.iter().collect();
    all.sort_by_key(|own| (study.graph.lead(own.index), own.index));
    all.into_iter()
        .map(|own| {
            let id = own.index;
            let plans: Vec<String> = study
                .planned(id)
                .iter()
                .map(|planned| {
                    let due = planned.plan.due.map(|due| format!(" due {due}")).unwrap_or_default();
                    format!("{}{due}: {}", planned.plan.by.word(), super::records::state_of(planned, study.day).0)
                })
                .collect();
            json!({
                "record": view.link(id),
                "kind": study.loaded.kind(id).singular(),
                "about": study.loaded.record(id).about().map(|about| view.named(about.as_str())),
                "lead": study.graph.lead(id),
                "plans": plans,
                "why": own.why.words(),
            })
        })
        .collect()
}
