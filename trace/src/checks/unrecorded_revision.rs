//! `unrecorded-revision`: a limit that is not the one agreed.

use foldhash::HashSet;
use schema::quantity::same_number;

use super::limits::{self, TargetRevision};
use super::{Check, Group, Note, RecordId, Reporter, Study, Warning, numbers, target_after_result};
use crate::history::{LimitChange, LimitText};
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "unrecorded-revision",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target whose limit is not the one it was first set to, with no revision that ends at it; a target whose \
            newest revision ends at another limit; a revision that begins at a limit that was not in \
            force, or to which no revision leads.",
    why: "Others design to the limit they agreed on, and nobody can tell later who moved it and why.",
    fix: "Write the revision (who agreed, and the reason), or put the limit back.",
    bad_example: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}",
    good_example:
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

fn run(study: &Study, reporter: &mut Reporter) {
    let after: HashSet<RecordId> = target_after_result::all(study).iter().map(|found| found.target).collect();
    for (index, record, target) in study.loaded.targets() {
        let id = record.id.as_str();
        let Some((key, _)) = target.limit().next() else { continue };
        let history = study.history();
        let moves = history.map(|history| history.limit_changes(id)).unwrap_or_default();
        let revisions = limits::revisions(study, index, target, &moves);
        let standing: Vec<&TargetRevision<'_>> = revisions.iter().filter(|agreed| agreed.edited.is_none()).collect();
        // Of one day the later record counts.
        let newest = standing.iter().max_by_key(|agreed| (agreed.revision.date, agreed.index));
        let newest = newest.and_then(|agreed| Some((agreed.revision.date?, agreed.revision.to.as_ref()?)));
        if let Some((date, to)) = newest.filter(|(_, to)| !limits::is_limit(target, to)) {
            let limit = numbers::limit(record);
            let message = format!("the limit of {} is {limit}, and its revision of {date} ends at {to}", record.name());
            reporter.report(index, &[key], message, "write the revision that is missing, or put the limit back");
            continue;
        }
        let Some(history) = history else { continue };
        let first = moves.iter().find_map(|(_, _, now)| now.as_ref());
        let (Some(first), Some(moved @ (step, _, Some(now)))) = (first, moves.last()) else { continue };
        let limit = Limit::from_target(target);
        let is_first = limits::same_limit(&first.limit, &limit);
        if is_first || limits::is_recorded(*step, Some(&first.limit), &limit, &revisions) {
            begins_elsewhere(study, index, &moves, &standing, reporter);
            continue;
        }
        if after.contains(&index) || !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let Some(step) = history.record(id).map(|life| history.commit_of_limit(life, moved)) else { continue };
        let edited = revisions.iter().find_map(|agreed| {
            let to = agreed.revision.to.as_ref()?;
            Some((study.loaded.record(agreed.index), &history.commits[agreed.edited?]))
                .filter(|_| limits::is_limit(target, to))
        });
        let (why, help) = match edited {
            Some((revision, edit)) => (
                format!(
                    "the revision {} was made to end there on {} ({}), after it",
                    revision.id,
                    edit.day,
                    edit.short()
                ),
                "write a revision of its own, with who agreed and why: one that is edited later records nothing",
            ),
            None => {
                ("no revision says so".to_owned(), "write the revision, with who agreed and why, or put the limit back")
            }
        };
        let message = format!(
            "the limit of {} is {} since {} ({}) and was {} at first, and {why}",
            record.name(),
            numbers::limit(record),
            step.day,
            step.short(),
            first.text
        );
        reporter.report(index, &[key], message, help);
    }
}

/// Revisions that begin at a limit that was not in force, or to which none of them leads.
fn begins_elsewhere(
    study: &Study,
    target: RecordId,
    moves: &[LimitChange],
    revisions: &[&TargetRevision<'_>],
    reporter: &mut Reporter,
) {
    let Some(history) = study.history() else { return };
    let Some((_, _, Some(first))) = moves.first() else { return };
    let record = study.loaded.record(target);
    let name = record.name();
    let is_end = |text: &LimitText, si: f64| limits::ends(&text.limit).any(|end| same_number(end, si));
    let own: Vec<Own<'_>> = revisions.iter().map(|agreed| Own::of(agreed, moves)).collect();
    for (at, (agreed, one)) in revisions.iter().zip(&own).enumerate() {
        let Some(to) = &agreed.revision.to else { continue };
        if let Some(from) =
            agreed.revision.from.as_ref().filter(|from| from.unit().dimension() != to.unit().dimension())
        {
            let message = format!("it says that the limit of {name} was {from}, and ends at {to}");
            reporter.report(agreed.index, &["from"], message, "write both in units of the same quantity");
            continue;
        }
        let Some(from) = one.from else { continue };
        let in_force = one.moves.is_empty() || one.moves.iter().any(|(_, before)| is_end(before, from));
        // Two revisions in one commit are one move: the second begins where the first ends, and that one at what was in force.
        let begins = |si: f64| match in_force {
            true => is_end(first, si),
            false => one.moves.iter().any(|(_, before)| is_end(before, si)),
        };
        if leads_back(&own, at, begins) {
            continue;
        }
        let went = moves.iter().find(|(_, _, after)| after.as_ref().is_some_and(|after| is_end(after, from)));
        let (message, help) = match (one.moves.last().filter(|_| !in_force), went) {
            (Some((step, before)), _) => {
                let (was, step) = (&agreed.revision.from, &history.commits[*step]);
                let was = was.as_ref().map(ToString::to_string).unwrap_or_default();
                let message = format!(
                    "it says that the limit of {name} was {was}, and it was {} until {} ({})",
                    before.text,
                    step.day,
                    step.short()
                );
                (message, "write the limit that was in force, or the revision that is missing before it")
            }
            (None, Some(moved @ (_, _, Some(after)))) => {
                let Some(step) = history.record(record.id.as_str()).map(|life| history.commit_of_limit(life, moved))
                else {
                    continue;
                };
                let message = format!(
                    "it begins at a limit that no revision leads to: {}, set on {} ({})",
                    after.text,
                    step.day,
                    step.short()
                );
                (message, "write the revision that leads there, with who agreed and why")
            }
            _ => {
                let was = agreed.revision.from.as_ref().map(ToString::to_string).unwrap_or_default();
                (
                    format!("it says that the limit of {name} was {was}, and it never was"),
                    "write the limit that was in force",
                )
            }
        };
        let key: &[&str] = if agreed.revision.from.is_some() { &["from"] } else { &[] };
        reporter.report(agreed.index, key, message, help);
    }
}

/// What git tells of a revision.
struct Own<'m> {
    /// Where it begins, in SI; where it does not say, at what it replaced.
    from: Option<f64>,
    /// Where it ends, in SI.
    to: Option<f64>,
    /// The moves that it records: the step, and what was in force before.
    moves: Vec<(usize, &'m LimitText)>,
}

impl<'m> Own<'m> {
    fn of(agreed: &TargetRevision<'_>, moves: &'m [LimitChange]) -> Self {
        let to = agreed.revision.to.as_ref().map(schema::Quantity::si);
        let ends_there =
            |text: &LimitText| to.is_some_and(|to| limits::ends(&text.limit).any(|end| same_number(end, to)));
        let recorded = moves.iter().filter(|(.., after)| after.as_ref().is_some_and(ends_there));
        let moves: Vec<(usize, &LimitText)> =
            recorded.filter_map(|(step, before, _)| Some((*step, before.as_ref()?))).collect();
        let replaced = moves.last().and_then(|(_, before)| before.limit.only_end());
        Self { from: agreed.revision.from.as_ref().map(schema::Quantity::si).or(replaced), to, moves }
    }
}

/// Do revisions lead from such a beginning to where this one begins?
fn leads_back(all: &[Own<'_>], at: usize, begins: impl Fn(f64) -> bool) -> bool {
    let mut seen = vec![false; all.len()];
    let mut left = vec![at];
    seen[at] = true;
    while let Some(at) = left.pop() {
        let Some(from) = all[at].from else { continue };
        if begins(from) {
            return true;
        }
        for (other, own) in all.iter().enumerate() {
            if !seen[other] && own.to.is_some_and(|to| same_number(to, from)) {
                seen[other] = true;
                left.push(other);
            }
        }
    }
    false
}
