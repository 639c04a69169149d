//! `stale-analysis`: a calculation outside the tool that is older than a change to its subject.

use foldhash::{HashSet, HashSetExt as _};
use schema::records::{Analysis, Finds};

use super::stale::{Matters, Measured, PartChanges, Subject, subject_of};
use super::{About, Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "stale-analysis",
    group: Group::History,
    about: About::Car,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A calculation made outside the tool and not superseded, whose subject changed after the record did. Its \
            subject is the parts or systems of the targets that it finds, and the parts whose amounts are in its \
            `given`. A changed choice of a decision about them counts, too. A price matters only to a value in money, or if it \
            is in the `given`.",
    why: "Its numbers belong to an earlier state of the car, and the tool cannot update them.",
    fix: "Calculate again and update the record, or add a new analysis that supersedes it.",
    bad_example: "\
# on 2026-12-01
parts:
  rack: {in: suspension, amounts: {mass: 1.4 kg}}
targets:
  rack-safety: {of: rack, at-least: 2}
analyses:
  rack-bending: {finds: {rack-safety: 2.4}, informs: [rack]}
# on 2027-02-20
parts:
  rack: {in: suspension, amounts: {mass: 1.1 kg}}
targets:
  rack-safety: {of: rack, at-least: 2}
analyses:
  rack-bending: {finds: {rack-safety: 2.4}, informs: [rack]}",
    good_example: "\
# on 2026-12-01
parts:
  rack: {in: suspension, amounts: {mass: 1.4 kg}}
targets:
  rack-safety: {of: rack, at-least: 2}
analyses:
  rack-bending: {finds: {rack-safety: 2.4}, informs: [rack]}
# on 2027-02-20
parts:
  rack: {in: suspension, amounts: {mass: 1.1 kg}}
targets:
  rack-safety: {of: rack, at-least: 2}
analyses:
  rack-bending: {finds: {rack-safety: 2.1}, informs: [rack]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let Some(history) = study.history() else { return };
    let loaded = &study.loaded;
    let superseded = study.graph.superseded();
    let outside = loaded.analyses().filter(|(_, record, analysis)| {
        analysis.model.is_none() && analysis.formula.is_none() && !superseded.contains(record.id.as_str())
    });
    let mut part_changes = None;
    for (index, record, analysis) in outside {
        let Some(record_history) = history.record(record.id.as_str()) else { continue };
        let part_changes = part_changes.get_or_insert_with(|| PartChanges::new(study, history));
        let last = record_history.changes.last();
        let written = match last {
            Some(change) => history.place_of_change(record_history, change),
            None => history.place_of_addition(record_history),
        };
        let measured = Measured {
            descendants: history.descendants(&[written]),
            written: written.commit.day,
            date: written.commit.day,
            explained: None,
            matters: matters(study, analysis),
        };
        let subjects = subjects(study, analysis).into_iter();
        let later = subjects.flat_map(|subject| part_changes.since(&subject, &measured)).collect();
        let start = format!("{} is out of date: after the calculation, ", record.name());
        let help = "calculate again and update the record, or add a new analysis that supersedes it";
        part_changes.report(later, (index, "finds"), (&start, help), reporter);
    }
}

/// The names of values such as `rack.mass` in the inputs: the record, and the amount.
fn given_names(analysis: &Analysis) -> impl Iterator<Item = (&str, &str)> {
    let names = analysis.given.iter().flat_map(|(_, value)| {
        value.text().split(|c: char| !(c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '.')))
    });
    names.filter_map(|name| name.split_once('.'))
}

/// What matters to the values that it finds, and to its inputs.
fn matters(study: &Study, analysis: &Analysis) -> Matters {
    let loaded = &study.loaded;
    let found = analysis.finds.as_ref().map(Finds::targets).unwrap_or_default().into_iter();
    let targets = found.filter_map(|id| Some(Matters::to_target(loaded.target(loaded.find(id.as_str())?)?)));
    let amounts = given_names(analysis).filter_map(|(id, amount)| {
        let part = loaded.part(loaded.find(id)?)?;
        Some(Matters::to(part.amounts.get(amount)?.value.quantity()))
    });
    let all: Vec<Matters> = targets.chain(amounts).collect();
    Matters { money: all.iter().any(|one| one.money), physical: all.is_empty() || all.iter().any(|one| one.physical) }
}

fn subjects<'r>(study: &'r Study, analysis: &'r Analysis) -> Vec<Subject<'r>> {
    let loaded = &study.loaded;
    let found = analysis.finds.as_ref().map(Finds::targets).unwrap_or_default();
    let targets = found.iter().filter_map(|id| loaded.find(id.as_str()));
    let of_targets = targets.filter_map(|index| subject_of(study, loaded.record(index).about()?.as_str()));
    let given = given_names(analysis).filter_map(|(id, _)| subject_of(study, id));
    let given = given.filter(|subject| matches!(subject, Subject::Part(_)));
    let mut seen = HashSet::new();
    of_targets.chain(given).filter(|subject| seen.insert(subject.clone())).collect()
}
