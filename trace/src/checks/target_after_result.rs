//! `target-after-result`: a limit that was set or changed after the result that meets it.

use schema::Day;

use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning, limits};
use crate::history::RecordHistory;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "target-after-result",
    group: Group::History,
    about: About::Records,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target whose limit was first set or changed after a result that meets it, without a revision.",
    why: "A limit that is set after the measurement proves nothing: any car meets it.",
    fix: "If the change was agreed, add the revision with its reason. Otherwise restore the limit, so that the result \
            counts as missed.",
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

/// A target whose limit was set or changed after a result.
pub(super) struct LimitAfterResult {
    pub(super) target: RecordId,
    key: &'static str,
    message: String,
}

fn run(study: &Study, reporter: &mut Reporter) {
    for found in find_all(study) {
        let help = "if the change was agreed, add the revision; otherwise restore the limit";
        reporter.report(found.target, &[found.key], found.message, help);
    }
}

/// Every target whose limit was set or changed after a result; `unrecorded-revision` does not report them again.
pub(super) fn find_all(study: &Study) -> Vec<LimitAfterResult> {
    let mut all = Vec::new();
    let Some(history) = study.history() else { return all };
    for (index, record, target) in study.loaded.targets() {
        let results = study.graph.results(index);
        if results.is_empty() {
            continue;
        }
        let id = record.id.as_str();
        let Some(target_history) = history.record(id) else { continue };
        let changes = history.limit_changes(id);
        let Some((last, _, Some(now))) = changes.last() else { continue };
        let limit = Limit::from_target(target);
        if !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let revisions = limits::revisions(study, index, target, &changes);
        let results: Vec<(RecordId, &RecordHistory, Day, f64)> = results
            .into_iter()
            .filter_map(|(result, body)| {
                let result_history = history.record(study.loaded.record(result).id.as_str())?;
                Some((result, result_history, body.date?, body.value.as_ref()?.si()))
            })
            .filter(|(.., value)| limit.holds(*value, 0.0))
            .collect();
        // The last change, or an earlier one after which a result meets the limit that it did not meet before.
        let found = changes.iter().rev().find_map(|change| {
            let (commit, before, after) = change;
            let after = after.as_ref()?;
            if limits::is_recorded(*commit, before.as_ref().map(|before| &before.limit), &after.limit, &revisions) {
                return None;
            }
            let is_missed = |value: f64| before.as_ref().is_none_or(|before| !before.limit.holds(value, 0.0));
            let earlier = results.iter().filter(|(_, result_history, date, value)| {
                history.limit_came_after(target_history, change, result_history, *date)
                    && after.limit.holds(*value, 0.0)
                    && (commit == last || is_missed(*value))
            });
            earlier
                .min_by_key(|(result, _, date, _)| (*date, *result))
                .map(|(result, result_history, date, _)| (change, before, after, *result, *result_history, *date))
        });
        let Some((change, before, after, result, result_history, date)) = found else { continue };
        let commit = history.commit_of_limit(target_history, change);
        let (verb, which) = match before {
            Some(before) => (format!("changed from {} to {}", before.text, after.text), "the new limit"),
            None => (format!("was first set to {}", after.text), "it"),
        };
        let id = &study.loaded.record(result).id;
        let result = if date <= commit.day {
            format!("after result {id} of {date}, which meets {which}")
        } else {
            let added = history.commit_of_addition(result_history).day;
            format!("after result {id}, added on {added}, which meets {which}")
        };
        let (name, day, short) = (record.name(), commit.day, commit.short());
        let message = format!("the limit of {name} {verb} on {day} ({short}), {result}");
        all.push(LimitAfterResult { target: index, key: now.key, message });
    }
    all
}
