//! `stale-result`: what was measured has changed since.

use schema::records::Body;

use super::stale::{Moves, Subject, subject_of};
use super::{Check, Group, Note, RecordId, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "stale-result",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A result, the latest of its record, whose subject changed since: what a requirement asks for; a part's \
            amounts or count, or a choice about it; for a target of a system its parts; for a budget of the car, that amount of any \
            part. An amount that was weighed or paid is better known, and has not changed.",
    why: "The car that was measured is not the car that will run.",
    fix: "Measure again, or say in the `notes` of the result why it still holds.",
    bad_example: "\
# on 2026-12-01
parts:
  rack: {in: suspension, amounts: {mass: 1.4 kg}}
# on 2027-02-01
parts:
  rack: {in: suspension, amounts: {mass: 1.4 kg}}
results:
  rack-on-the-rig: {of: rack, outcome: pass, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-20
parts:
  rack: {in: suspension, amounts: {mass: 1.1 kg}}
results:
  rack-on-the-rig: {of: rack, outcome: pass, date: 2027-01-30, evidence: [chain.yaml]}",
    good_example: "\
# on 2026-12-01
parts:
  rack: {in: suspension, amounts: {mass: 1.4 kg}}
# on 2027-02-01
parts:
  rack: {in: suspension, amounts: {mass: 1.4 kg}}
results:
  rack-on-the-rig: {of: rack, outcome: pass, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-20
parts:
  rack: {in: suspension, amounts: {mass: {value: 1.42 kg, basis: weighed}}}
results:
  rack-on-the-rig: {of: rack, outcome: pass, date: 2027-01-30, evidence: [chain.yaml]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let Some(history) = study.history() else { return };
    let loaded = &study.loaded;
    let mut latest = study.latest_results().peekable();
    if latest.peek().is_none() {
        return;
    }
    let moves = Moves::new(study, history);
    for (of, result, _) in latest {
        let Some(life) = history.record(loaded.record(result).id.as_str()) else { continue };
        let value = life.changes_of("value").last();
        // A note may say why the result still holds.
        let said = ["value", "outcome", "date", "notes"].iter().filter_map(|route| life.changes_of(route).last());
        let brought = said.map(|change| change.commit).max().unwrap_or(life.added);
        let moved = subjects(study, of).iter().flat_map(|subject| moves.since(subject, brought)).collect();
        if let Some(what) = moves.told(moved) {
            let record = loaded.record(of);
            let key = if value.is_some_and(|change| change.after.is_some()) { "value" } else { "outcome" };
            let message = format!("{} was tested before {what}", record.name());
            reporter.report(result, &[key], message, "measure again, or say in its `notes` why it still holds");
        }
    }
}

fn subjects(study: &Study, of: RecordId) -> Vec<Subject<'_>> {
    let record = study.loaded.record(of);
    let id = record.id.as_str();
    match &record.body {
        Body::Part(_) => vec![Subject::Part(id)],
        Body::Requirement(body) => {
            // Most of a system may change and its requirement still be met; a part is what was tried.
            let about = body.of.as_ref().and_then(|of| subject_of(study, of.as_str()));
            let about = about.filter(|subject| matches!(subject, Subject::Part(_)));
            [Subject::Shall(id)].into_iter().chain(about).collect()
        }
        Body::Target(body) => match (body.of.as_ref(), body.total.as_ref()) {
            (Some(of), Some(total)) if of.as_str() == schema::words::CAR => vec![Subject::Amount(total.as_str())],
            (Some(of), total) => match (subject_of(study, of.as_str()), total) {
                // What a part costs does not change what the system weighs.
                (Some(Subject::System(id)), Some(amount)) => vec![Subject::Share(id, amount.as_str())],
                (subject, _) => subject.into_iter().collect(),
            },
            _ => Vec::new(),
        },
        _ => Vec::new(),
    }
}
