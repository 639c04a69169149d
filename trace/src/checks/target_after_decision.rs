//! `target-after-decision`: a limit that was set or changed after a choice that was judged by it.

use foldhash::{HashMap, HashSet};

use super::limits;
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::history::choice::Choice;
use crate::history::{History, LimitChange, RecordHistory};
use crate::ids::CommitIndex;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "target-after-decision",
    group: Group::History,
    about: About::Records,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target under `criteria` of a decision whose limit was set or changed after an alternative was chosen, \
              without a revision, if the `reason` or the `notes` of the decision were not changed since. A limit that only \
              became stricter and is still met is not reported.",
    why: "A choice that was judged by another limit, or by none, is not shown to be right by this one.",
    fix: "If the change was agreed, add the revision. Compare the alternatives again with the new limit, and add to the \
          `reason` or the `notes` of the decision what came of it. Otherwise restore the limit.",
    bad_example: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
decisions:
  rack-kind:
    {criteria: [rack-force], alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}
# on 2027-02-20
targets:
  rack-force: {of: car, at-most: 320 N}
decisions:
  rack-kind:
    {criteria: [rack-force], alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}",
    good_example:
        "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
decisions:
  rack-kind:
    {criteria: [rack-force], alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}
# on 2027-02-20
targets:
  rack-force: {of: car, at-most: 320 N}
decisions:
  rack-kind:
    {criteria: [rack-force], alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}
revisions:
  rack-force-february:
    {of: rack-force, from: 300 N, to: 320 N, date: 2027-02-19, agreed-by: chief engineer, reason: The rack is stiffer.}",
    run,
};

/// A criterion of a decision whose limit was set or changed after the choice.
pub(super) struct LimitAfterChoice {
    pub(super) target: RecordId,
    /// The commit of the change.
    pub(super) commit: CommitIndex,
    key: &'static str,
    message: String,
    help: String,
}

fn run(study: &Study, reporter: &mut Reporter) {
    for found in find_all(study) {
        reporter.report(found.target, &[found.key], found.message, found.help);
    }
}

/// Every criterion whose limit was set or changed after a choice, once; `unrecorded-revision` does not report them again.
pub(super) fn find_all(study: &Study) -> Vec<LimitAfterChoice> {
    let mut all: Vec<LimitAfterChoice> = Vec::new();
    let mut found: HashSet<RecordId> = HashSet::default();
    // Several decisions can be judged by one target.
    let mut known: HashMap<RecordId, Vec<LimitChange>> = HashMap::default();
    let Some(history) = study.history() else { return all };
    for (decision, _, body) in study.loaded.decisions() {
        let Some(choice) = Choice::of(study, history, decision) else { continue };
        for id in &body.criteria {
            let target = study.loaded.find(id.as_str());
            let target = target.filter(|target| study.loaded.target(*target).is_some() && !found.contains(target));
            let past = target.and_then(|target| history.record(study.loaded.record(target).id.as_str()));
            let (Some(target), Some(past)) = (target, past) else { continue };
            let changes = known.entry(target).or_insert_with(|| {
                let results = limits::dated_results(study, history, target);
                limits::changes(study, history, target, past, &results)
            });
            if let Some(own) = find(study, (history, past), changes, &choice, target) {
                found.insert(target);
                all.push(own);
            }
        }
    }
    all
}

fn find(
    study: &Study,
    (history, target_history): (&History, &RecordHistory),
    changes: &[LimitChange],
    choice: &Choice<'_>,
    index: RecordId,
) -> Option<LimitAfterChoice> {
    let (record, target) = (study.loaded.record(index), study.loaded.target(index)?);
    let place = |change: &LimitChange| history.place_of_limit(target_history, change);
    let first_later = changes.iter().position(|change| choice.is_before(place(change)))?;
    let last @ (commit, _, Some(now)) = changes.last()? else { return None };
    let then = first_later.checked_sub(1).and_then(|at| changes.get(at)?.2.as_ref());
    let limit = Limit::from_target(target);
    let is_unchanged = then.is_some_and(|then| limits::same_limit(&then.limit, &limit));
    if is_unchanged || !limits::same_limit(&now.limit, &limit) || history.is_up_to_base(*commit) {
        return None;
    }
    let revisions = limits::revisions(study, index, target, changes);
    let is_tightened =
        || then.is_some_and(|then| limits::is_within(&limit, &then.limit)) && limits::is_met(study, index);
    if limits::is_recorded(*commit, then.map(|then| &then.limit), &limit, &revisions)
        || choice.is_confirmed_after(place(last))
        || is_tightened()
    {
        return None;
    }
    let (decision, made, changed) = (&study.loaded.record(choice.decision).id, choice.commit(), place(last).commit);
    let verb = match then {
        Some(then) => format!("changed from {} to {}", then.words.text(), now.words.text()),
        None => format!("was first set to {}", now.words.text()),
    };
    let message = format!(
        "the limit of {} {verb} on {} ({}), after the choice of {decision} on {} ({}), which is judged by it",
        record.name(),
        changed.day,
        changed.short(),
        made.day,
        made.short()
    );
    let help = format!(
        "if the change was agreed, add the revision; run `tierod compare {decision}`, and add what came of it to its `reason` \
         or `notes`; otherwise restore the limit"
    );
    Some(LimitAfterChoice { target: index, commit: *commit, key: now.words.key, message, help })
}
