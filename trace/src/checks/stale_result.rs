//! `stale-result`: a result that is older than a change to what it verified.

use schema::records::{Body, TestResult};

use super::stale::{LaterChange, Matters, Measured, PartChanges, Subject, subject_of};
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::history::History;

pub(super) static CHECK: Check = Check {
    name: "stale-result",
    group: Group::History,
    about: About::Car,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "The latest result of a record whose subject changed after its date, also if it was committed later. The subject is: for a requirement, its \
            `shall` and the part that it is `of`; for a part, its amounts, its count and the decisions about it; for \
            a target, the part that it is `of` or the parts in its system (only their amount if it is a `total`); for \
            a total of the car, that amount of all parts. A change to the last basis in `growth` (weighed, paid) is a \
            measurement and does not count. A price matters only to a value in money, and other amounts do not matter to \
            it. A note at every stage if a part only appears between the date and the commit of the result.",
    why: "The car that was measured is not the car that will compete.",
    fix: "Measure again, or explain in the `notes` of the result why it is still valid.",
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
    let part_changes = PartChanges::new(study, history);
    for (of, result, body) in latest {
        let Some(measured) = measured(study, history, of, (result, body)) else { continue };
        let later = subjects(study, of).iter().flat_map(|subject| part_changes.since(subject, &measured)).collect();
        let start = format!("{} is out of date: after the test, ", loaded.record(of).name());
        let key = if body.value.is_some() { "value" } else { "outcome" };
        let help = "measure again, or explain in `notes` why the result is still valid";
        part_changes.report(later, (result, key), (&start, help), reporter);
    }
}

/// When a result was measured; `None` without a date or a history.
fn measured<'h>(
    study: &Study,
    history: &'h History,
    of: RecordId,
    (result, body): (RecordId, &TestResult),
) -> Option<Measured<'h>> {
    let past = history.record(study.loaded.record(result).id.as_str())?;
    // The date is that of the measurement: a change between it and the commit that has it makes the result stale.
    let dated = past.changes_of("date").next_back().filter(|change| change.after.is_some());
    let written = match dated {
        Some(change) => history.place_of_change(past, change),
        None => history.place_of_addition(past),
    };
    let notes = past.changes_of("notes").rfind(|change| change.after.is_some());
    Some(Measured {
        descendants: history.descendants(&[written]),
        written: written.commit.day,
        date: body.date?,
        explained: notes.map(|change| change.commit),
        matters: study.loaded.target(of).map_or_else(|| Matters::to(body.quantity()), Matters::to_target),
    })
}

/// What changed after the results of a study; the changes of all parts are collected once.
pub struct ChangesAfterResults<'s> {
    study: &'s Study,
    known: Option<(&'s History, PartChanges<'s, 's>)>,
}

impl<'s> ChangesAfterResults<'s> {
    /// Those of a study; none without a history.
    pub fn new(study: &'s Study) -> Self {
        Self { study, known: study.history().map(|history| (history, PartChanges::new(study, history))) }
    }

    /// Everything that changed in the subject of a record after its latest result, the weightiest first: what the check
    /// reports, and every other key of a part or a requirement, because a text can say that a bolt is another one.
    pub fn of(&self, record: RecordId) -> Vec<LaterChange> {
        let Some((history, part_changes)) = &self.known else { return Vec::new() };
        let latest = self.study.latest_result(record);
        let measured = latest.and_then(|latest| measured(self.study, history, record, latest));
        let Some(measured) = measured else { return Vec::new() };
        let subjects = subjects(self.study, record);
        let mut all: Vec<LaterChange> =
            subjects.iter().flat_map(|subject| part_changes.all_since(subject, &measured)).collect();
        all.sort_by_key(|change| (change.weight(), std::cmp::Reverse(change.commit)));
        all
    }
}

/// What the results of a record depend on.
fn subjects(study: &Study, of: RecordId) -> Vec<Subject<'_>> {
    let record = study.loaded.record(of);
    let id = record.id.as_str();
    match &record.body {
        Body::Part(_) => vec![Subject::Part(id)],
        Body::Requirement(body) => {
            // A system can change and its requirement still be met. A part is itself what was tested.
            let part = body.of.as_ref().and_then(|of| subject_of(study, of.as_str()));
            let part = part.filter(|subject| matches!(subject, Subject::Part(_)));
            [Subject::Shall(id)].into_iter().chain(part).collect()
        }
        Body::Target(body) => match (body.of.as_ref(), body.total.as_ref()) {
            (Some(of), Some(total)) if of.as_str() == schema::words::CAR => vec![Subject::Amount(total.as_str())],
            (Some(of), total) => match (subject_of(study, of.as_str()), total) {
                // Only the amount of the total counts: the cost of a part does not change the mass of its system.
                (Some(Subject::System(id)), Some(amount)) => vec![Subject::Share(id, amount.as_str())],
                (subject, _) => subject.into_iter().collect(),
            },
            _ => Vec::new(),
        },
        // The result of an event is a score, which does not depend on a single part.
        Body::Event(_) => Vec::new(),
        // Records of these kinds have no results.
        Body::Goal(_)
        | Body::System(_)
        | Body::Analysis(_)
        | Body::Decision(_)
        | Body::Result(_)
        | Body::Revision(_)
        | Body::Waiver(_) => Vec::new(),
    }
}
