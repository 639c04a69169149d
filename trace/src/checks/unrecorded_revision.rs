//! `unrecorded-revision`: a limit that changed without a revision.

use std::collections::BTreeMap;

use foldhash::{HashMap, HashSet};
use schema::quantity::same_number;
use schema::records::Revision;
use schema::{Day, Quantity};

use super::limits::{self, TargetRevision};
use super::target_after_result::{self, LimitAfterResult};
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning, numbers, target_after_decision};
use crate::history::{History, LimitChange, LimitText, RecordHistory};
use crate::ids::CommitIndex;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "unrecorded-revision",
    group: Group::History,
    about: About::Records,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A target whose limit is not the one that was agreed first, if no revision has it as `to`. The limit that \
            was agreed first is the last draft: a limit can change for 3 days after it appears, until it has a result or \
            a share. A limit that only became stricter and is still met needs no revision. A target whose newest \
            revision has another `to` than its limit. A revision whose `from` was not valid then, or is not the `to` of \
            another revision; a note at every stage if the earlier limits are not in the history.",
    why: "Others design to the limit that was agreed, and later it is unknown who changed it and why.",
    fix: "Add the revision (who agreed, and why), or restore the limit. `tierod revise` changes a limit and adds its \
          revision in one step.",
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
    let after_result: HashMap<RecordId, LimitAfterResult> =
        target_after_result::find_all(study).into_iter().map(|found| (found.target, found)).collect();
    let after_choice: HashSet<(RecordId, CommitIndex)> =
        target_after_decision::find_all(study).into_iter().map(|found| (found.target, found.commit)).collect();
    for (index, record, target) in study.loaded.targets() {
        let Some((key, _)) = target.limit().next() else { continue };
        let history = study.history();
        let past = history.and_then(|history| Some((history, history.record(record.id.as_str())?)));
        let results = history.map(|history| limits::dated_results(study, history, index)).unwrap_or_default();
        let changes =
            past.map(|(history, past)| limits::changes(study, history, index, past, &results)).unwrap_or_default();
        let all = limits::revisions(study, index, target, &changes);
        let valid: Vec<&TargetRevision<'_>> = all.iter().filter(|revision| revision.edited.is_none()).collect();
        // Of two revisions with the same date, the later record is the newest.
        let newest = valid.iter().max_by_key(|revision| (revision.revision.date, revision.index));
        let newest = newest.and_then(|newest| Some((newest, newest.revision.date?, newest.revision.to.as_ref()?)));
        if let Some((revision, date, to)) = newest.filter(|(.., to)| !limits::is_limit(target, to)) {
            let since = changes.last().map_or(revision.added, |(commit, ..)| revision.added.max(*commit));
            if !history.is_some_and(|history| history.is_up_to_base(since)) {
                let limit = numbers::limit_text(record);
                let message =
                    format!("the limit of {} is {limit}, but its revision of {date} has `to: {to}`", record.name());
                reporter.report(index, &[key], message, "add the missing revision, or restore the limit");
            }
            continue;
        }
        let Some((history, past)) = past else { continue };
        let dated: Vec<(&RecordHistory, Day)> = results.iter().map(|result| (result.history, result.date)).collect();
        let Some(agreed) = history.first_agreed(past, &changes, &dated) else { continue };
        let (Some((.., Some(first))), Some(change @ (commit, _, Some(now)))) = (changes.get(agreed), changes.last())
        else {
            continue;
        };
        let limit = Limit::from_target(target);
        let is_first = limits::same_limit(&first.limit, &limit);
        let is_tightened = || limits::is_within(&limit, &first.limit) && limits::is_met(study, index);
        if is_first || limits::is_recorded(*commit, Some(&first.limit), &limit, &all) || is_tightened() {
            report_wrong_from(study, index, (&changes, agreed), &valid, reporter);
            continue;
        }
        let is_reported = after_result
            .get(&index)
            .is_some_and(|found| found.is_certain || (found.is_change && found.commit == *commit));
        if is_reported || after_choice.contains(&(index, *commit)) || !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        let commit = history.commit_of_limit(past, change);
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
            None => (
                ", without a revision".to_owned(),
                "add the revision (who agreed, and why), or restore the limit and change it with `tierod revise`",
            ),
        };
        let message = format!(
            "the limit of {} was first {} and is {} since {} ({}){why}",
            record.name(),
            first.words.text(),
            numbers::limit_text(record),
            commit.day,
            commit.short(),
        );
        reporter.report(index, &[key], message, help);
    }
}

/// Reports revisions whose `from` was not valid then, or is not the `to` of another revision. Given the changes of the
/// limit, and the position of the first one that is not a draft.
fn report_wrong_from(
    study: &Study,
    target: RecordId,
    (changes, agreed): (&[LimitChange], usize),
    revisions: &[&TargetRevision<'_>],
    reporter: &mut Reporter,
) {
    let Some(history) = study.history() else { return };
    let Some(appearance @ (first_commit, _, Some(first))) = changes.first() else { return };
    let record = study.loaded.record(target);
    let Some(past) = history.record(record.id.as_str()) else { return };
    let name = record.name();
    let appeared = history.commit_of_limit(past, appearance);
    let replaced = replaced_the_same_day(history, past, changes);
    let starts = [starts(changes, agreed), replaced.clone()].concat();
    let steps: Vec<RevisionStep<'_>> = revisions.iter().map(|revision| RevisionStep::new(revision, changes)).collect();
    let were_valid: Vec<bool> = steps.iter().map(|step| step.was_valid(&replaced)).collect();
    let connected = are_connected(&steps, &were_valid, &starts);
    for (position, (TargetRevision { index, revision, added, .. }, step)) in revisions.iter().zip(&steps).enumerate() {
        let Some(to) = revision.to.as_ref().filter(|_| !history.is_up_to_base(*added)) else { continue };
        if let Some(from) = revision.from.as_ref().filter(|from| from.unit().dimension() != to.unit().dimension()) {
            let message = format!("it changes the limit of {name} from {from} to {to}: the units do not match");
            reporter.report(*index, &["from"], message, "give both in units of the same quantity");
            continue;
        }
        let Some(from) = step.from else { continue };
        if connected[position] {
            continue;
        }
        let from_text = revision.from.as_ref().map(ToString::to_string).unwrap_or_default();
        let is_set = |(_, _, after): &&LimitChange| after.as_ref().is_some_and(|after| is_end(after, from));
        let set = changes.iter().filter(|(commit, ..)| commit <= added).find(is_set);
        // Git does not have the limits before the target first appeared, for example in an import.
        let is_dated_before = || revision.date.is_some_and(|date| date < appeared.day) && step.changes.is_empty();
        if set.is_none() && (*added <= *first_commit || is_dated_before()) {
            let message = format!(
                "it has `from: {from_text}`, but the limit of {name} first appears here on {} ({}), as {}: earlier limits \
                 are not known",
                appeared.day,
                appeared.short(),
                first.words.text()
            );
            let help = "with `history: {since: DATE}` in the settings, the history checks start after that date";
            reporter.report_note(*index, key_of(revision), message, help);
            continue;
        }
        let (message, help) = match (step.changes.last().filter(|_| !were_valid[position]), set) {
            (Some((commit, before)), _) => {
                let commit = &history.commits[*commit];
                let message = format!(
                    "it has `from: {from_text}`, but the limit of {name} was {} until {} ({})",
                    before.words.text(),
                    commit.day,
                    commit.short()
                );
                (message, "use the limit that was valid then, or add the missing revision before it")
            }
            (None, Some(change @ (_, _, Some(after)))) => {
                let commit = history.commit_of_limit(past, change);
                let message = format!(
                    "it replaces a limit that no revision has as `to`: {}, set on {} ({})",
                    after.words.text(),
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
        reporter.report(*index, key_of(revision), message, help);
    }
}

/// The key at which a wrong `from` is reported.
fn key_of(revision: &Revision) -> &'static [&'static str] {
    if revision.from.is_some() { &["from"] } else { &[] }
}

/// The limits that a revision can replace without another revision that leads to them: the drafts, the first limit that is
/// not one, and those that only tightened it.
fn starts(changes: &[LimitChange], agreed: usize) -> Vec<LimitText> {
    let mut starts: Vec<LimitText> = Vec::new();
    for (position, (_, _, after)) in changes.iter().enumerate() {
        let is_within =
            |after: &LimitText| starts.last().is_some_and(|last| limits::is_within(&after.limit, &last.limit));
        match after.as_ref().filter(|after| position <= agreed || is_within(after)) {
            Some(after) => starts.push(after.clone()),
            None => break,
        }
    }
    starts
}

/// The limits that were changed again on the same day, so that the changes that count do not have them.
fn replaced_the_same_day(history: &History, past: &RecordHistory, changes: &[LimitChange]) -> Vec<LimitText> {
    let is_counted = |commit: CommitIndex| changes.iter().any(|(at, ..)| *at == commit);
    let all = history.limit_changes(&past.id).into_iter();
    let replaced = all.filter(|(commit, ..)| !is_counted(*commit) && !history.is_up_to_base(*commit));
    replaced.filter_map(|(.., after)| after).collect()
}

/// A revision with the changes of the limit that it records.
struct RevisionStep<'c> {
    /// Its `from` in SI; if the key is missing, the limit that it replaced.
    from: Option<f64>,
    /// Its `to` in SI.
    to: Option<f64>,
    /// The changes that it records: the commit, and the limit before.
    changes: Vec<(CommitIndex, &'c LimitText)>,
}

impl<'c> RevisionStep<'c> {
    fn new(revision: &TargetRevision<'_>, changes: &'c [LimitChange]) -> Self {
        let revision = revision.revision;
        let to = revision.to.as_ref().map(Quantity::si);
        let has_end = |text: &LimitText| to.is_some_and(|to| limits::ends(&text.limit).any(|end| same_number(end, to)));
        let recorded = changes.iter().filter(|(.., after)| after.as_ref().is_some_and(has_end));
        let changes: Vec<(CommitIndex, &LimitText)> =
            recorded.filter_map(|(commit, before, _)| Some((*commit, before.as_ref()?))).collect();
        let replaced = changes.last().and_then(|(_, before)| before.limit.only_end());
        Self { from: revision.from.as_ref().map(Quantity::si).or(replaced), to, changes }
    }

    /// Whether its `from` was valid before a change that it records, or before another one on the same day.
    fn was_valid(&self, replaced: &[LimitText]) -> bool {
        let Some(from) = self.from else { return true };
        self.changes.is_empty()
            || self.changes.iter().any(|(_, before)| is_end(before, from))
            || replaced.iter().any(|limit| is_end(limit, from))
    }
}

fn is_end(text: &LimitText, si: f64) -> bool {
    limits::ends(&text.limit).any(|end| same_number(end, si))
}

/// Whether each revision is connected to a start: one of these limits; or for a `from` that was not valid, a limit before
/// the changes that it records.
fn are_connected(steps: &[RevisionStep<'_>], were_valid: &[bool], starts: &[LimitText]) -> Vec<bool> {
    let mut all = connected_to(steps, |si| starts.iter().any(|start| is_end(start, si)));
    // Two revisions in one commit are one change: the second has the first one's `to` as `from`, and the first one's
    // `from` was valid then.
    let mut others: BTreeMap<Vec<CommitIndex>, Vec<usize>> = BTreeMap::new();
    for (position, step) in steps.iter().enumerate().filter(|(position, _)| !were_valid[*position]) {
        others.entry(step.changes.iter().map(|(commit, _)| *commit).collect()).or_default().push(position);
    }
    for positions in others.into_values() {
        let changes = positions.first().map_or(&[][..], |position| &steps[*position].changes);
        let connected = connected_to(steps, |si| changes.iter().any(|(_, before)| is_end(before, si)));
        positions.into_iter().for_each(|position| all[position] = connected[position]);
    }
    all
}

/// Whether each revision is connected to such a start: its `from` is one, or is the `to` of a connected revision.
fn connected_to(steps: &[RevisionStep<'_>], is_start: impl Fn(f64) -> bool) -> Vec<bool> {
    let with_from = steps.iter().enumerate().filter_map(|(position, step)| Some((step.from?, position)));
    let mut by_from: Vec<(f64, usize)> = with_from.collect();
    by_from.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut left: Vec<usize> =
        by_from.iter().filter(|(from, _)| is_start(*from)).map(|(_, position)| *position).collect();
    let mut connected = vec![false; steps.len()];
    left.iter().for_each(|position| connected[*position] = true);
    let mut reached = HashSet::default();
    while let Some(position) = left.pop() {
        let Some(to) = steps[position].to.filter(|to| reached.insert(to.to_bits())) else { continue };
        let (below, above) = by_from.split_at(by_from.partition_point(|(from, _)| *from < to));
        let is_same = |(from, _): &&(f64, usize)| same_number(to, *from);
        let next = below.iter().rev().take_while(is_same).chain(above.iter().take_while(is_same));
        for (_, next) in next {
            if !std::mem::replace(&mut connected[*next], true) {
                left.push(*next);
            }
        }
    }
    connected
}
