//! `stale-analysis`: a calculation made elsewhere, of a car that has changed since.

use foldhash::{HashSet, HashSetExt as _};
use schema::records::{Analysis, Finds};

use super::stale::{Moves, Subject, subject_of};
use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "stale-analysis",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A calculation made outside the tool, not superseded, whose subject changed since its record did: the parts \
            or systems of the targets that it finds, and the parts whose amounts it is given.",
    why: "Its numbers are those of an earlier car, and nothing brings them up to date by itself.",
    fix: "Calculate again and bring the record up to date, or write the new one and let it supersede the old.",
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
    let mut moves = None;
    for (index, record, analysis) in outside {
        let Some(life) = history.record(record.id.as_str()) else { continue };
        let moves = moves.get_or_insert_with(|| Moves::new(study, history));
        let subjects = subjects(study, analysis);
        let moved = subjects.iter().flat_map(|subject| moves.since(subject, life.last_change())).collect();
        if let Some(what) = moves.told(moved) {
            let message = format!("{} was calculated before {what}", record.name());
            reporter.report(
                index,
                &["finds"],
                message,
                "calculate again and bring the record up to date, or supersede it",
            );
        }
    }
}

fn subjects<'r>(study: &'r Study, analysis: &'r Analysis) -> Vec<Subject<'r>> {
    let loaded = &study.loaded;
    let found = analysis.finds.as_ref().map(Finds::targets).unwrap_or_default();
    let targets = found.iter().filter_map(|id| loaded.find(id.as_str()));
    let about = targets.filter_map(|index| subject_of(study, loaded.record(index).about()?.as_str()));
    // `rack.mass` in a value or a formula.
    let names = analysis.given.iter().flat_map(|(_, value)| {
        value.text().split(|c: char| !(c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '.')))
    });
    let given = names.filter_map(|name| subject_of(study, name.split_once('.')?.0));
    let given = given.filter(|subject| matches!(subject, Subject::Part(_)));
    let mut seen = HashSet::new();
    about.chain(given).filter(|subject| seen.insert(subject.clone())).collect()
}
