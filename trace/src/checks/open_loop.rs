//! `open-loop`: off course for long, and nothing was done about it.

use schema::Day;
use schema::records::Body;

use super::{Check, Group, Inputs, Note, Told, Warning, numbers};
use crate::Loaded;
use crate::history::History;
use crate::values::{Standing, Status};

/// How long a target may be off course before somebody answers.
const DAYS: i32 = 28;

pub(super) static CHECK: Check = Check {
    name: "open-loop",
    group: Group::History,
    levels: [super::Level::Off, Note, Warning, Warning, Warning],
    finds: "A target that is off course and was so 28 days ago too, while neither its limit moved nor a revision of it \
            or a waiver on it was written.",
    why: "Somebody saw it four weeks ago, and the season is short.",
    mend: "Change the car, agree on another limit and write the revision, or accept it until a day with a waiver.",
    found: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N, estimate: 320 N}
# on 2027-03-10
targets:
  rack-force: {of: car, at-most: 300 N, estimate: 315 N}",
    mended:
        "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N, estimate: 320 N}
# on 2027-03-10
targets:
  rack-force: {of: car, at-most: 320 N, estimate: 315 N}
revisions:
  rack-force-march:
    {of: rack-force, from: 300 N, to: 320 N, date: 2027-03-09, agreed-by: chief engineer, reason: The rack is stiffer.}",
    run,
};

/// The step of the history whose values the check needs: `None` unless a target is at risk and nothing was done.
pub(crate) fn step_needed(loaded: &Loaded, standings: &[Standing], history: &History, day: Day) -> Option<usize> {
    Some(candidates(loaded, standings, history, day)?.0)
}

/// The targets at risk whose limit did not change since a day, and on which nothing was agreed since; with the step of
/// that day.
fn candidates<'s>(
    loaded: &Loaded,
    standings: &'s [Standing],
    history: &History,
    day: Day,
) -> Option<(usize, Vec<&'s Standing>)> {
    if history.steps.len() < 2 {
        return None;
    }
    let mut off: Vec<&Standing> = standings.iter().filter(|standing| standing.status == Status::OffCourse).collect();
    if off.is_empty() {
        return None;
    }
    let then = day.date().checked_sub(jiff::Span::new().days(DAYS)).ok().map(Day::from);
    let step = history.step_on(then?)?;
    // What was agreed since, by the record that it is about.
    let mut answered = foldhash::HashSet::default();
    for entry in &loaded.entries {
        let on = match &entry.record.body {
            Body::Revision(revision) => revision.of.as_ref(),
            Body::Waiver(waiver) => waiver.on.as_ref(),
            _ => continue,
        };
        let written = history.life(entry.record.id.as_str()).is_none_or(|life| life.last_change() > step);
        answered.extend(on.filter(|_| written).map(schema::Id::as_str));
    }
    off.retain(|standing| {
        let id = loaded.record(standing.index).id.as_str();
        let changed = history.limit_moves(id).last().is_none_or(|(at, ..)| *at > step);
        !changed && !answered.contains(id)
    });
    (!off.is_empty()).then_some((step, off))
}

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let (Some(history), Some((step, before))) = (inputs.history, inputs.earlier) else { return };
    let loaded = inputs.graph.loaded;
    let Some((at, off)) = candidates(loaded, inputs.standings, history, inputs.day) else { return };
    if at != *step {
        return;
    }
    for standing in off {
        let record = loaded.record(standing.index);
        let id = record.id.as_str();
        // It may have had another id then.
        let life = history.life(id);
        let older = life.into_iter().flat_map(|life| life.older_ids.iter().map(|id| &**id));
        let Some(then) = std::iter::once(id).chain(older).find_map(|id| before.get(id)) else { continue };
        if then.status != Some(Status::OffCourse) {
            continue;
        }
        let message = format!(
            "{} is off course at {}, as it was on {} ({}) at {}; its limit is {}, and nobody answered",
            record.name(),
            numbers::shown(inputs, standing),
            history.steps[*step].day,
            history.steps[*step].short(),
            then.shown(),
            numbers::limit(record)
        );
        told.tell(standing.index, &[], message, "change the car, revise the limit, or accept it until a day");
    }
}
