//! `no-action`: at risk for long, and nothing was done about it.

use schema::Day;
use schema::records::Body;

use super::{Check, Group, Note, Reporter, Study, Warning, numbers};
use crate::values::Status;

/// How long a target may be at risk before somebody answers.
const DAYS: i32 = 28;

pub(super) static CHECK: Check = Check {
    name: "no-action",
    group: Group::History,
    levels: [super::Level::Off, Note, Warning, Warning, Warning],
    reports: "A target that is at risk and was so 28 days ago too, while neither its limit moved nor a revision of it \
            or a waiver on it was written.",
    why: "Somebody saw it four weeks ago, and the season is short.",
    fix: "Change the car, agree on another limit and write the revision, or accept it until a day with a waiver.",
    bad_example: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N, estimate: 320 N}
# on 2027-03-10
targets:
  rack-force: {of: car, at-most: 300 N, estimate: 315 N}",
    good_example:
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

fn run(study: &Study, reporter: &mut Reporter) {
    let Some(history) = study.history() else { return };
    let off = || study.standings().iter().filter(|standing| standing.status == Status::AtRisk);
    if off().next().is_none() {
        return;
    }
    let then = study.day.date().checked_sub(jiff::Span::new().days(DAYS)).ok().map(Day::from);
    let Some(step) = then.and_then(|then| history.step_on(then)) else { return };
    let loaded = &study.loaded;
    // What was agreed since, about which record.
    let mut answered = foldhash::HashSet::default();
    for (_, record) in loaded.records() {
        let on = match &record.body {
            Body::Revision(revision) => revision.of.as_ref(),
            Body::Waiver(waiver) => waiver.of.as_ref(),
            _ => continue,
        };
        let written = history.life(record.id.as_str()).is_none_or(|life| life.last_change() > step);
        answered.extend(on.filter(|_| written).map(schema::Id::as_str));
    }
    let mut earlier = None;
    for standing in off() {
        let record = loaded.record(standing.index);
        let id = record.id.as_str();
        let moved = history.limit_moves(id).last().is_none_or(|(at, ..)| *at > step);
        if moved || answered.contains(id) {
            continue;
        }
        let Some(before) = earlier.get_or_insert_with(|| study.past_state(step)) else { return };
        // It may have had another id then.
        let life = history.life(id);
        let older = life.into_iter().flat_map(|life| life.older_ids.iter().map(|id| &**id));
        let Some(then) = std::iter::once(id).chain(older).find_map(|id| before.get(id)) else { continue };
        if then.status != Some(Status::AtRisk) {
            continue;
        }
        let message = format!(
            "{} is at risk at {}, as it was on {} ({}) at {}; its limit is {}, and nobody answered",
            record.name(),
            numbers::shown(study, standing),
            history.steps[step].day,
            history.steps[step].short(),
            then.shown(),
            numbers::limit(record)
        );
        reporter.report(standing.index, &[], message, "change the car, revise the limit, or accept it until a day");
    }
}
