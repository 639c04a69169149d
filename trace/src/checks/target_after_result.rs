//! `target-after-result`: a limit that was set or changed after the result that meets it.

use super::limits::{self, LimitOrder};
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::ids::CommitIndex;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "target-after-result",
    group: Group::History,
    about: About::Records,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target whose limit was set or changed after a result that meets it and did not meet the limit before, \
            without a revision. A note at every stage if git does not show the order: the limit and the result first \
            appear in one commit (a squash, an import), the limit appears with its target after the date of the \
            result, or a rebase changed the order of the commits.",
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

/// A target whose limit was set or changed after a result, or may have been.
pub(super) struct LimitAfterResult {
    pub(super) target: RecordId,
    /// The commit of the change.
    pub(super) commit: CommitIndex,
    /// Whether the order is known.
    pub(super) is_certain: bool,
    /// Whether the limit was another one before.
    pub(super) is_change: bool,
    key: &'static str,
    message: String,
}

fn run(study: &Study, reporter: &mut Reporter) {
    for found in find_all(study) {
        if found.is_certain {
            let help = "if the change was agreed, add the revision; otherwise restore the limit";
            reporter.report(found.target, &[found.key], found.message, help);
        } else {
            let help = "if the limit was first, no action is needed; with `history: {since: DATE}` in the settings, the history \
                        checks start after that date";
            reporter.report_note(found.target, &[found.key], found.message, help);
        }
    }
}

/// Every target whose limit was set or changed after a result; `unrecorded-revision` does not report them again.
pub(super) fn find_all(study: &Study) -> Vec<LimitAfterResult> {
    let mut all = Vec::new();
    let Some(history) = study.history() else { return all };
    for (index, record, target) in study.loaded.targets() {
        let limit = Limit::from_target(target);
        let results = limits::dated_results(study, history, index);
        let met = || results.iter().filter(|result| result.value.is_some_and(|value| limit.holds(value, 0.0)));
        let Some(target_history) = history.record(record.id.as_str()).filter(|_| met().next().is_some()) else {
            continue;
        };
        let changes = limits::changes(study, history, index, target_history, &results);
        let Some((_, _, Some(now))) = changes.last() else { continue };
        if !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let revisions = limits::revisions(study, index, target, &changes);
        // The last change after which a result meets the limit that it did not meet before.
        let find = |wanted: LimitOrder| {
            changes.iter().rev().find_map(|change| {
                let (commit, before, after) = change;
                let (before, after) = (before.as_ref(), after.as_ref()?);
                if history.is_up_to_base(*commit)
                    || limits::is_recorded(*commit, before.map(|before| &before.limit), &after.limit, &revisions)
                {
                    return None;
                }
                let is_newly_met = |value: f64| {
                    after.limit.holds(value, 0.0) && before.is_none_or(|before| !before.limit.holds(value, 0.0))
                };
                let found = met().filter(|result| {
                    result.value.is_some_and(is_newly_met)
                        && history.limit_order(target_history, change, result.history, result.date) == wanted
                });
                let first = found.min_by_key(|result| (result.date, result.index))?;
                Some((change, before, after, first))
            })
        };
        let (found, is_certain) = match find(LimitOrder::After) {
            Some(found) => (found, true),
            None => match find(LimitOrder::Unknown) {
                Some(found) => (found, false),
                None => continue,
            },
        };
        let (change, before, after, result) = found;
        let commit = history.commit_of_limit(target_history, change);
        let (name, day, short, date) = (record.name(), commit.day, commit.short(), result.date);
        let (verb, which) = match before {
            Some(before) => {
                (format!("changed from {} to {}", before.words.text(), after.words.text()), "the new limit")
            }
            None => (format!("was first set to {}", after.words.text()), "it"),
        };
        let id = &study.loaded.record(result.index).id;
        let message = if !is_certain {
            let (verb, which) = match before {
                Some(_) => (format!("{verb}, which first appears here"), which),
                None => (format!("is {} and first appears here", after.words.text()), which),
            };
            let appeared = commit.appeared();
            let written = if appeared == day { String::new() } else { format!(" but was written on {day}") };
            format!(
                "the limit of {name} {verb} on {appeared} ({short}){written}; result {id} of {date} meets {which}: it is \
                 not known which of the two was first"
            )
        } else if date <= day {
            format!("the limit of {name} {verb} on {day} ({short}), after result {id} of {date}, which meets {which}")
        } else {
            let added = history.commit_of_addition(result.history).day;
            format!(
                "the limit of {name} {verb} on {day} ({short}), after result {id}, added on {added}, which meets {which}"
            )
        };
        let (commit, is_change) = (change.0, before.is_some());
        all.push(LimitAfterResult { target: index, commit, is_certain, is_change, key: now.words.key, message });
    }
    all
}
