//! `no-action`: a target that was at risk for long, and nothing was done.

use schema::Day;
use schema::records::Body;

use super::{About, Check, Group, Note, Reporter, Study, Warning, numbers};
use crate::ids::CommitIndex;
use crate::values::{Status, TargetStatus};

/// The number of days that a target may be at risk without a change, a revision or a waiver.
const DAYS: i32 = 28;

pub(super) static CHECK: Check = Check {
    name: "no-action",
    group: Group::History,
    about: About::Car,
    levels: [super::Level::Off, Note, Warning, Warning, Warning],
    reports: "A target that is at risk now and was at risk 28 days ago. Since then its limit did not change, and no \
              revision or waiver for it was added or edited.",
    why: "The risk has been visible for four weeks, and the season is short.",
    fix: "Change the car, agree on a new limit and add a revision, or add a waiver with an end date.",
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

/// The commit of the history whose state the check needs; `None` if no target is at risk without an action.
pub(crate) fn commit_needed(study: &Study) -> Option<CommitIndex> {
    Some(candidates(study)?.0)
}

/// The last commit of 28 days ago, and the targets at risk without an action since: their limit did not change, and no
/// revision or waiver for them was added or edited. `None` if there is no such target.
fn candidates(study: &Study) -> Option<(CommitIndex, Vec<&TargetStatus>)> {
    let history = study.history()?;
    let mut at_risk: Vec<&TargetStatus> =
        study.target_statuses().iter().filter(|target| target.status == Status::AtRisk).collect();
    if at_risk.is_empty() {
        return None;
    }
    let earlier = study.day.date().checked_sub(jiff::Span::new().days(DAYS)).ok().map(Day::from);
    let earlier = earlier?;
    if study.settings().history.since().is_some_and(|since| earlier < since) {
        return None;
    }
    let commit = history.last_commit_until(earlier)?;
    let loaded = &study.loaded;
    // The ids under `of` of revisions and waivers that were added or edited since.
    let mut acted_on = foldhash::HashSet::default();
    for (_, record) in loaded.records() {
        let of = match &record.body {
            Body::Revision(revision) => revision.of.as_ref(),
            Body::Waiver(waiver) => waiver.of.as_ref(),
            Body::Goal(_)
            | Body::Event(_)
            | Body::System(_)
            | Body::Target(_)
            | Body::Requirement(_)
            | Body::Part(_)
            | Body::Analysis(_)
            | Body::Decision(_)
            | Body::Result(_) => continue,
        };
        let is_new = history.record(record.id.as_str()).is_none_or(|record| record.last_change() > commit);
        acted_on.extend(of.filter(|_| is_new).map(schema::Id::as_str));
    }
    at_risk.retain(|target| {
        let id = loaded.record(target.index).id.as_str();
        let changed = history.last_limit_change(id).is_none_or(|changed_in| changed_in > commit);
        !changed && !acted_on.contains(id)
    });
    (!at_risk.is_empty()).then_some((commit, at_risk))
}

fn run(study: &Study, reporter: &mut Reporter) {
    let (Some(history), Some((commit, at_risk))) = (study.history(), candidates(study)) else { return };
    let Some(before) = study.past_state(commit) else { return };
    let loaded = &study.loaded;
    for target in at_risk {
        let record = loaded.record(target.index);
        let id = record.id.as_str();
        // The target may have had another id at that commit.
        let older = history.record(id).into_iter().flat_map(|record| record.older_ids.iter().map(|id| &**id));
        let Some(then) = std::iter::once(id).chain(older).find_map(|id| before.get(id)) else { continue };
        if then.status != Some(Status::AtRisk) {
            continue;
        }
        let message = format!(
            "{} is at risk: {} now, {} on {} ({}), limit {}; since then no change of the limit, no revision and no waiver",
            record.name(),
            numbers::value_text(study, target),
            then.shown(),
            history.commits[commit].day,
            history.commits[commit].short(),
            numbers::limit_text(record)
        );
        let help = "change the car, agree on a new limit and add a revision, or add a waiver";
        reporter.report(target.index, &[], message, help);
    }
}
