//! `unrecorded-revision`: a limit that changed without a revision.

use foldhash::HashSet;
use schema::Quantity;
use schema::quantity::same_number;

use super::limits::{self, TargetRevision};
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning, numbers, target_after_result};
use crate::history::{LimitChange, LimitText};
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "unrecorded-revision",
    group: Group::History,
    about: About::Records,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target whose limit is not the one that was set first, if no revision has it as `to`. A target whose \
            newest revision has another `to` than its limit. A revision whose `from` was not valid then, or is not \
            the `to` of another revision.",
    why: "Others design to the limit that was agreed, and later it is unknown who changed it and why.",
    fix: "Add the revision (who agreed, and why), or restore the limit.",
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
    let after_result: HashSet<RecordId> =
        target_after_result::find_all(study).iter().map(|found| found.target).collect();
    for (index, record, target) in study.loaded.targets() {
        let id = record.id.as_str();
        let Some((key, _)) = target.limit().next() else { continue };
        let history = study.history();
        let changes = history.map(|history| history.limit_changes(id)).unwrap_or_default();
        let all = limits::revisions(study, index, target, &changes);
        let valid: Vec<&TargetRevision<'_>> = all.iter().filter(|revision| revision.edited.is_none()).collect();
        // Of two revisions with the same date, the later record is the newest.
        let newest = valid.iter().max_by_key(|revision| (revision.revision.date, revision.index));
        let newest = newest.and_then(|newest| Some((newest.revision.date?, newest.revision.to.as_ref()?)));
        if let Some((date, to)) = newest.filter(|(_, to)| !limits::is_limit(target, to)) {
            let limit = numbers::limit_text(record);
            let message =
                format!("the limit of {} is {limit}, but its revision of {date} has `to: {to}`", record.name());
            reporter.report(index, &[key], message, "add the missing revision, or restore the limit");
            continue;
        }
        let Some(history) = history else { continue };
        let first = changes.iter().find_map(|(_, _, now)| now.as_ref());
        let (Some(first), Some(change @ (commit, _, Some(now)))) = (first, changes.last()) else { continue };
        let limit = Limit::from_target(target);
        let is_first = limits::same_limit(&first.limit, &limit);
        if is_first || limits::is_recorded(*commit, Some(&first.limit), &limit, &all) {
            report_wrong_from(study, index, &changes, &valid, reporter);
            continue;
        }
        if after_result.contains(&index) || !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let Some(commit) = history.record(id).map(|record| history.commit_of_limit(record, change)) else { continue };
        let edited = all.iter().find_map(|revision| {
            let to = revision.revision.to.as_ref()?;
            Some((study.loaded.record(revision.index), &history.commits[revision.edited?]))
                .filter(|_| limits::is_limit(target, to))
        });
        let (why, help) = match edited {
            Some((revision, edit)) => (
                format!(
                    "; revision {} was edited to this limit later, on {} ({})",
                    revision.id,
                    edit.day,
                    edit.short()
                ),
                "add a separate revision (who agreed, and why): one that is edited later records nothing",
            ),
            None => (", without a revision".to_owned(), "add the revision (who agreed, and why), or restore the limit"),
        };
        let message = format!(
            "the limit of {} was first {} and is {} since {} ({}){why}",
            record.name(),
            first.text,
            numbers::limit_text(record),
            commit.day,
            commit.short(),
        );
        reporter.report(index, &[key], message, help);
    }
}

/// Reports revisions whose `from` was not valid then, or is not the `to` of another revision.
fn report_wrong_from(
    study: &Study,
    target: RecordId,
    changes: &[LimitChange],
    revisions: &[&TargetRevision<'_>],
    reporter: &mut Reporter,
) {
    let Some(history) = study.history() else { return };
    let Some((_, _, Some(first))) = changes.first() else { return };
    let record = study.loaded.record(target);
    let name = record.name();
    let is_end = |text: &LimitText, si: f64| limits::ends(&text.limit).any(|end| same_number(end, si));
    let steps: Vec<RevisionStep<'_>> = revisions.iter().map(|revision| RevisionStep::new(revision, changes)).collect();
    for (position, (TargetRevision { index, revision, .. }, step)) in revisions.iter().zip(&steps).enumerate() {
        let Some(to) = &revision.to else { continue };
        if let Some(from) = revision.from.as_ref().filter(|from| from.unit().dimension() != to.unit().dimension()) {
            let message = format!("it changes the limit of {name} from {from} to {to}: the units do not match");
            reporter.report(*index, &["from"], message, "give both in units of the same quantity");
            continue;
        }
        let Some(from) = step.from else { continue };
        let was_valid = step.changes.is_empty() || step.changes.iter().any(|(_, before)| is_end(before, from));
        // Two revisions in one commit are one change: the second has the first one's `to` as `from`, and the first one's
        // `from` was valid then.
        let is_start = |si: f64| match was_valid {
            true => is_end(first, si),
            false => step.changes.iter().any(|(_, before)| is_end(before, si)),
        };
        if is_connected(&steps, position, is_start) {
            continue;
        }
        let from_text = revision.from.as_ref().map(ToString::to_string).unwrap_or_default();
        let set = changes.iter().find(|(_, _, after)| after.as_ref().is_some_and(|after| is_end(after, from)));
        let (message, help) = match (step.changes.last().filter(|_| !was_valid), set) {
            (Some((commit, before)), _) => {
                let commit = &history.commits[*commit];
                let message = format!(
                    "it has `from: {from_text}`, but the limit of {name} was {} until {} ({})",
                    before.text,
                    commit.day,
                    commit.short()
                );
                (message, "use the limit that was valid then, or add the missing revision before it")
            }
            (None, Some(change @ (_, _, Some(after)))) => {
                let target_history = history.record(record.id.as_str());
                let Some(commit) = target_history.map(|target| history.commit_of_limit(target, change)) else {
                    continue;
                };
                let message = format!(
                    "it replaces a limit that no revision has as `to`: {}, set on {} ({})",
                    after.text,
                    commit.day,
                    commit.short()
                );
                (message, "add the revision with this `to` (who agreed, and why)")
            }
            _ => (
                format!("it has `from: {from_text}`, but the limit of {name} never had this value"),
                "use the limit that was valid then",
            ),
        };
        let key: &[&str] = if revision.from.is_some() { &["from"] } else { &[] };
        reporter.report(*index, key, message, help);
    }
}

/// A revision with the changes of the limit that it records.
struct RevisionStep<'c> {
    /// Its `from` in SI; if the key is missing, the limit that it replaced.
    from: Option<f64>,
    /// Its `to` in SI.
    to: Option<f64>,
    /// The changes that it records: the commit, and the limit before.
    changes: Vec<(usize, &'c LimitText)>,
}

impl<'c> RevisionStep<'c> {
    fn new(revision: &TargetRevision<'_>, changes: &'c [LimitChange]) -> Self {
        let revision = revision.revision;
        let to = revision.to.as_ref().map(Quantity::si);
        let has_end = |text: &LimitText| to.is_some_and(|to| limits::ends(&text.limit).any(|end| same_number(end, to)));
        let recorded = changes.iter().filter(|(.., after)| after.as_ref().is_some_and(has_end));
        let changes: Vec<(usize, &LimitText)> =
            recorded.filter_map(|(commit, before, _)| Some((*commit, before.as_ref()?))).collect();
        let replaced = changes.last().and_then(|(_, before)| before.limit.only_end());
        Self { from: revision.from.as_ref().map(Quantity::si).or(replaced), to, changes }
    }
}

/// Whether a revision is connected to such a start: its `from` is one, or is the `to` of a connected revision.
fn is_connected(all: &[RevisionStep<'_>], position: usize, is_start: impl Fn(f64) -> bool) -> bool {
    let mut seen = vec![false; all.len()];
    let mut left = vec![position];
    seen[position] = true;
    while let Some(position) = left.pop() {
        let Some(from) = all[position].from else { continue };
        if is_start(from) {
            return true;
        }
        for (other, step) in all.iter().enumerate() {
            if !seen[other] && step.to.is_some_and(|to| same_number(to, from)) {
                seen[other] = true;
                left.push(other);
            }
        }
    }
    false
}
