//! `no-action`: at risk for long, and nothing was done about it.

use schema::Day;
use schema::records::Body;

use super::{Check, Group, Note, Reporter, Study, Warning, numbers};
use crate::values::{Status, TargetStatus};

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

/// The commit of the history whose state the check needs: `None` unless a target is at risk and nothing was done.
pub(crate) fn commit_needed(study: &Study) -> Option<usize> {
    Some(candidates(study)?.0)
}

/// The targets at risk whose limit did not change since a date, and on which nothing was agreed since; with the last
/// commit of that date.
fn candidates(study: &Study) -> Option<(usize, Vec<&TargetStatus>)> {
    let history = study.history()?;
    let mut at_risk: Vec<&TargetStatus> =
        study.target_statuses().iter().filter(|standing| standing.status == Status::AtRisk).collect();
    if at_risk.is_empty() {
        return None;
    }
    let then = study.day.date().checked_sub(jiff::Span::new().days(DAYS)).ok().map(Day::from);
    let commit = history.last_commit_until(then?)?;
    let loaded = &study.loaded;
    // What was agreed since, by the record that it is about.
    let mut agreed = foldhash::HashSet::default();
    for (_, record) in loaded.records() {
        let of = match &record.body {
            Body::Revision(revision) => revision.of.as_ref(),
            Body::Waiver(waiver) => waiver.of.as_ref(),
            _ => continue,
        };
        let written = history.record(record.id.as_str()).is_none_or(|life| life.last_change() > commit);
        agreed.extend(of.filter(|_| written).map(schema::Id::as_str));
    }
    at_risk.retain(|standing| {
        let id = loaded.record(standing.index).id.as_str();
        let changed = history.limit_changes(id).last().is_none_or(|(at, ..)| *at > commit);
        !changed && !agreed.contains(id)
    });
    (!at_risk.is_empty()).then_some((commit, at_risk))
}

fn run(study: &Study, reporter: &mut Reporter) {
    let (Some(history), Some((commit, at_risk))) = (study.history(), candidates(study)) else { return };
    let Some(before) = study.past_state(commit) else { return };
    let loaded = &study.loaded;
    for standing in at_risk {
        let record = loaded.record(standing.index);
        let id = record.id.as_str();
        // It may have had another id then.
        let life = history.record(id);
        let older = life.into_iter().flat_map(|life| life.older_ids.iter().map(|id| &**id));
        let Some(then) = std::iter::once(id).chain(older).find_map(|id| before.get(id)) else { continue };
        if then.status != Some(Status::AtRisk) {
            continue;
        }
        let message = format!(
            "{} is at risk: {} now, {} on {} ({}), limit {}; limit unchanged, no revision, no waiver since",
            record.name(),
            numbers::shown(study, standing),
            then.shown(),
            history.commits[commit].day,
            history.commits[commit].short(),
            numbers::limit(record)
        );
        let help = "change the car, agree on a new limit and add a revision, or add a waiver";
        reporter.report(standing.index, &[], message, help);
    }
}
