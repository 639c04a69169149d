//! `unrecorded-revision`: a limit that is not the one agreed.

use foldhash::HashSet;
use schema::quantity::same_number;

use super::{Check, Group, Inputs, Note, Told, Warning, limits, numbers, target_after_result};
use crate::history::LimitText;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "unrecorded-revision",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    finds: "A target whose limit is not the one it was first set to, with no revision that ends at it; a target whose \
            newest revision ends at another limit; a revision that begins at a limit that was not in force.",
    why: "Others design to the limit they agreed on, and nobody can tell later who moved it and why.",
    mend: "Write the revision (who agreed, and the reason), or put the limit back.",
    found: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}",
    mended:
        "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}
revisions:
  rack-force-february:
    {of: rack-force, from: 300 N, to: 320 N, date: 2027-02-09, agreed-by: chief engineer, reason: The rack is stiffer.}",
    run,
};

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    let after: HashSet<usize> = target_after_result::all(inputs).iter().map(|found| found.target).collect();
    for (index, id, target) in limits::targets(inputs) {
        let Some((key, _)) = target.limit().next() else { continue };
        begins_elsewhere(inputs, index, id, told);
        let record = inputs.graph.loaded.record(index);
        let revisions = limits::revisions(inputs, index);
        let mut newest = None;
        for revision in revisions.iter().filter(|revision| revision.to.is_some()) {
            if newest.is_none_or(|(date, _)| date <= revision.date) {
                newest = Some((revision.date, *revision));
            }
        }
        if let Some((date, to)) = newest.and_then(|(date, revision)| Some((date?, revision.to.as_ref()?))) {
            if !limits::is_limit(target, to) {
                let limit = numbers::limit(record);
                let message =
                    format!("the limit of {} is {limit}, and its revision of {date} ends at {to}", record.name());
                told.tell(index, &[key], message, "write the revision that is missing, or put the limit back");
                continue;
            }
            // The newest one ends at the limit in force.
            continue;
        }
        if after.contains(&index)
            || revisions.iter().any(|r| r.to.as_ref().is_some_and(|to| limits::is_limit(target, to)))
        {
            continue;
        }
        let Some(history) = inputs.history.filter(|history| history.steps.len() > 1) else { continue };
        let moves = history.limit_moves(id);
        let first = moves.iter().find_map(|(step, _, now)| Some((*step, now.as_ref()?)));
        let (Some((_, first)), Some((step, _, Some(now)))) = (first, moves.last()) else { continue };
        let limit = Limit::of(target);
        if limits::same_limit(&first.limit, &limit) || !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let step = &history.steps[*step];
        let message = format!(
            "the limit of {} is {} since {} ({}) and was {} at first, and no revision says so",
            record.name(),
            numbers::limit(record),
            step.day,
            step.short(),
            first.text
        );
        told.tell(index, &[key], message, "write the revision, with who agreed and why, or put the limit back");
    }
}

/// A revision that says what the limit was, and it was not.
fn begins_elsewhere(inputs: &Inputs<'_, '_>, target: usize, id: &str, told: &mut Told) {
    let Some(history) = inputs.history.filter(|history| history.steps.len() > 1) else { return };
    let revisions = limits::numbered(inputs, target);
    if revisions.is_empty() {
        return;
    }
    let end = |limit: &Limit| match (limit.at_least, limit.at_most) {
        (Some(end), None) | (None, Some(end)) => Some(end),
        _ => None,
    };
    let moves = history.limit_moves(id);
    for (index, revision) in &revisions {
        let (Some(from), Some(to)) = (&revision.from, &revision.to) else { continue };
        // Two revisions in one commit are one move, and the second begins where the first ends.
        let goes_on = revisions.iter().any(|(other, revision)| {
            other != index && revision.to.as_ref().is_some_and(|end| same_number(end.si(), from.si()))
        });
        let own = moves.iter().filter_map(|(step, before, after)| {
            let there = end(&after.as_ref()?.limit).is_some_and(|limit| same_number(limit, to.si()));
            Some((*step, before.as_ref().filter(|_| there)?))
        });
        let own: Vec<_> = own.collect();
        let right = |before: &LimitText| end(&before.limit).is_none_or(|limit| same_number(limit, from.si()));
        if goes_on || own.iter().any(|(_, before)| right(before)) {
            continue;
        }
        let Some((step, before)) = own.last() else { continue };
        let step = &history.steps[*step];
        let name = inputs.graph.loaded.record(target).name();
        let message = format!(
            "it says that the limit of {name} was {from}, and it was {} until {} ({})",
            before.text,
            step.day,
            step.short()
        );
        told.tell(
            *index,
            &["from"],
            message,
            "write the limit that was in force, or the revision that is missing before it",
        );
    }
}
