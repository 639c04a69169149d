//! `stale-analysis`: a calculation made elsewhere, of a car that has changed since.

use foldhash::{HashSet, HashSetExt as _};
use schema::records::{Analysis, Body, Finds};

use super::stale::{Moves, Subject, subject_of};
use super::{Check, Group, Inputs, Note, Told, Warning};

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

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let Some(history) = inputs.history.filter(|history| history.steps.len() > 1) else { return };
    let loaded = inputs.graph.loaded;
    let analyses: Vec<(usize, &Analysis)> = loaded
        .entries
        .iter()
        .enumerate()
        .filter_map(|(index, entry)| match &entry.record.body {
            Body::Analysis(analysis) => Some((index, analysis.as_ref())),
            _ => None,
        })
        .collect();
    let superseded: HashSet<&str> =
        analyses.iter().flat_map(|(_, analysis)| analysis.supersedes.iter().map(schema::Id::as_str)).collect();
    let outside = analyses.iter().filter(|(index, analysis)| {
        let id = loaded.record(*index).id.as_str();
        analysis.model.is_none() && analysis.formula.is_none() && !superseded.contains(id)
    });
    let mut moves = None;
    for &(index, analysis) in outside {
        let record = loaded.record(index);
        let Some(life) = history.life(record.id.as_str()) else { continue };
        let moves = moves.get_or_insert_with(|| Moves::new(inputs, history));
        let subjects = subjects(inputs, analysis);
        let moved = subjects.iter().flat_map(|subject| moves.since(subject, life.last_change())).collect();
        if let Some(what) = moves.told(moved) {
            let message = format!("{} was calculated before {what}", record.name());
            told.tell(index, &["finds"], message, "calculate again and bring the record up to date, or supersede it");
        }
    }
}

fn subjects<'r>(inputs: &Inputs<'_, 'r>, analysis: &'r Analysis) -> Vec<Subject<'r>> {
    let loaded = inputs.graph.loaded;
    let found = analysis.finds.as_ref().map(Finds::targets).unwrap_or_default();
    let targets = found.iter().filter_map(|id| loaded.find(id.as_str()));
    let about = targets.filter_map(|index| subject_of(inputs, loaded.record(index).about()?.as_str()));
    // `rack.mass` in a value or a formula.
    let names = analysis.given.iter().flat_map(|(_, value)| {
        value.text().split(|c: char| !(c.is_ascii_lowercase() || c.is_ascii_digit() || matches!(c, '-' | '.')))
    });
    let given = names.filter_map(|name| subject_of(inputs, name.split_once('.')?.0));
    let given = given.filter(|subject| matches!(subject, Subject::Part(_)));
    let mut seen = HashSet::new();
    about.chain(given).filter(|subject| seen.insert(subject.clone())).collect()
}
