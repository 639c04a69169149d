//! `target-after-result`: the limit was written once the result was known.

use schema::Day;

use super::{Check, Group, Note, RecordId, Reporter, Study, Warning, limits};
use crate::history::RecordHistory;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "target-after-result",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target whose limit was first set, or moved, after the result that meets it, with no revision that says so.",
    why: "A limit that follows the result proves nothing: any car meets the targets that are written after it was \
          measured.",
    fix: "If the change was agreed, write the revision with its reason; else put the limit back and let the result \
           stand as missed.",
    bad_example: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-01
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}",
    good_example:
        "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-01
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
revisions:
  rack-force-february:
    {of: rack-force, from: 300 N, to: 320 N, date: 2027-02-09, agreed-by: chief engineer, reason: The rack is stiffer.}",
    run,
};

/// A target whose limit follows a result.
pub(super) struct Found {
    pub(super) target: RecordId,
    key: &'static str,
    message: String,
}

fn run(study: &Study, reporter: &mut Reporter) {
    for found in all(study) {
        let help = "write the revision if the change was agreed; else put the limit back";
        reporter.report(found.target, &[found.key], found.message, help);
    }
}

/// All of them; `unrecorded-revision` does not tell them again.
pub(super) fn all(study: &Study) -> Vec<Found> {
    let mut all = Vec::new();
    let Some(history) = study.history() else { return all };
    for (index, record, target) in study.loaded.targets() {
        let results = study.graph.results(index);
        if results.is_empty() {
            continue;
        }
        let id = record.id.as_str();
        let Some(own) = history.record(id) else { continue };
        let moves = history.limit_changes(id);
        let Some((last, _, Some(now))) = moves.last() else { continue };
        let limit = Limit::from_target(target);
        if !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let revisions = limits::revisions(study, index, target, &moves);
        let results: Vec<(RecordId, &RecordHistory, Day, f64)> = results
            .into_iter()
            .filter_map(|(result, body)| {
                let life = history.record(study.loaded.record(result).id.as_str())?;
                Some((result, life, body.date?, body.value.as_ref()?.si()))
            })
            .filter(|(.., value)| limit.holds(*value, 0.0))
            .collect();
        // The last move, and any before it that made a result good which the limit of then did not hold.
        let found = moves.iter().rev().find_map(|moved| {
            let (set, before, after) = moved;
            let after = after.as_ref()?;
            if limits::is_recorded(*set, before.as_ref().map(|before| &before.limit), &after.limit, &revisions) {
                return None;
            }
            let missed = |value: f64| before.as_ref().is_none_or(|before| !before.limit.holds(value, 0.0));
            let made = results.iter().filter(|(_, life, date, value)| {
                history.limit_came_after(own, moved, life, *date)
                    && after.limit.holds(*value, 0.0)
                    && (set == last || missed(*value))
            });
            made.min_by_key(|(result, _, date, _)| (*date, *result))
                .map(|(result, life, date, _)| (moved, before, after, *result, *life, *date))
        });
        let Some((moved, before, after, result, life, date)) = found else { continue };
        let step = history.commit_of_limit(own, moved);
        let how = match before {
            Some(before) => format!("moved from {} to {}", before.text, after.text),
            None => format!("first set to {}", after.text),
        };
        let born = history.commit_of_addition(life);
        let id = &study.loaded.record(result).id;
        let known = if date <= step.day {
            format!("after the result of {date} that meets it ({id})")
        } else {
            format!("after a result that meets it was written on {} ({id})", born.day)
        };
        let message = format!("the limit of {} was {how} on {} ({}), {known}", record.name(), step.day, step.short());
        all.push(Found { target: index, key: now.key, message });
    }
    all
}
