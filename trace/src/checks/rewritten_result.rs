//! `rewritten-result`: a result that was changed or removed without a note.

use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::quantity::same_number;
use schema::{Kind, Quantity, words};

use super::no_reason::letters_and_digits;
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::history::{Change, History, RecordHistory};
use crate::ids::CommitIndex;

pub(super) static CHECK: Check = Check {
    name: "rewritten-result",
    group: Group::History,
    about: About::Records,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A result whose value, outcome, date, place, subject or driven values changed on a later day than the one on which it was added, \
            if no new note was added with the change or after it. An uncertainty that is added is no change. A removed \
            result whose subject still exists, unless another result of that subject names it in `notes` or was added \
            in the same commit with the same content.",
    why: "A measurement records what was observed on one date: a result that can change without a note is not \
            evidence.",
    fix: "Explain the change in the `notes` of the result; or restore it and add the new measurement as a separate \
            result. Restore a removed result, or name it in the `notes` of the result that replaces it.",
    bad_example: "\
# on 2027-02-01
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 295 N, date: 2027-01-30, evidence: [chain.yaml]}",
    good_example: "\
# on 2027-02-01
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull:
    {of: rack-force, value: 295 N, date: 2027-01-30, evidence: [chain.yaml], notes: The force cell was read before its zero was subtracted.}",
    run,
};

/// The keys of a result that a later commit must not change without a note.
const CONTENT: [&str; 6] = ["value", "outcome", "date", "of", "best", "place"];

fn run(study: &Study, reporter: &mut Reporter) {
    let Some(history) = study.history() else { return };
    let mut subjects = Subjects { study, history, known: HashMap::default() };
    for result in history.records().iter().filter(|record| record.kind == Kind::Result) {
        match study.loaded.find(&result.id) {
            Some(index) => report_changes(study, history, result, index, reporter),
            None => report_removal(&mut subjects, result, reporter),
        }
    }
}

fn report_changes(study: &Study, history: &History, result: &RecordHistory, index: RecordId, reporter: &mut Reporter) {
    let is_noted = last_new_note(history, result).is_some();
    let driven = result
        .changes
        .iter()
        .map(|change| &*change.route)
        .filter(|route| ["reads.", "best."].iter().any(|start| route.starts_with(start)));
    let driven: std::collections::BTreeSet<&str> = driven.collect();
    for route in CONTENT.into_iter().chain(driven) {
        let origins = origins(history, result, route);
        // A key that is missing in the first version was not changed.
        let Some((first_history, _, first_change)) = origins.last() else { continue };
        let Some(first) = first_change.after.as_deref() else { continue };
        // A restored text is unchanged, and so is a subject that has a new id.
        let is_unchanged = |before: Option<&str>, after: Option<&str>| {
            is_same_text(before, after)
                || (route == "of" && is_renamed(history, before, after))
                || (route == "value" && adds_uncertainty(before, after))
        };
        if is_unchanged(Some(first), result.last_value_at(route, history.after_all())) {
            continue;
        }
        let found = origins.iter().enumerate().find_map(|(level, (_, record, origin))| {
            let last = record.changes_of(route).rfind(|change| {
                change.commit > origin.commit && !is_unchanged(change.before.as_deref(), change.after.as_deref())
            });
            // A merge can itself change the value that its branch has.
            let on_branch = origins.get(level + 1);
            let on_branch = on_branch.map(|(branch, record, _)| record.last_value_at(route, branch.after_all()));
            let by_merge = on_branch.is_some_and(|value| !is_unchanged(value, origin.after.as_deref()));
            Some((level, last.or(by_merge.then_some(*origin))?))
        });
        let Some((level, last)) = found else { continue };
        let (place, record, _) = &origins[level];
        let is_noted_later = |(history, record, origin): &Origin<'_>| {
            last_new_note(history, record).is_some_and(|commit| commit > origin.commit)
        };
        let is_explained = last_new_note(place, record).is_some_and(|commit| commit >= last.commit)
            || origins[..level].iter().any(is_noted_later);
        if is_noted && is_explained {
            continue;
        }
        let field = if route == "of" { "subject" } else { route };
        let name = study.loaded.record(index).name();
        let first = words::shorten(first);
        let added = &first_history.commits[first_change.commit];
        let changed = place.branch_commit(record, last).unwrap_or(&place.commits[last.commit]);
        // A typing error that was put right.
        if added.day == changed.day {
            continue;
        }
        let (added, changed) =
            (format!("{}, {}", added.day, added.short()), format!("{}, {}", changed.day, changed.short()));
        let message = match &last.after {
            Some(now) => format!(
                "the {field} of {name} changed from `{first}` ({added}) to `{}` ({changed}) without a note",
                words::shorten(now)
            ),
            None => format!("the {field} of {name}, `{first}` ({added}), was removed ({changed}) without a note"),
        };
        let key: &[&str] = if last.after.is_some() { &route.split('.').collect::<Vec<_>>() } else { &[] };
        let help =
            format!("explain the change in `notes`; or restore the {field} and add the new one as a separate result");
        reporter.report(index, key, message, help);
    }
}

/// Where a field of a record was first set: a history, the record in it, and the change.
type Origin<'h> = (&'h History, &'h RecordHistory, &'h Change);

/// The change that first set a field; if it came in with a merge, the one on the merged branch follows, and so on.
fn origins<'h>(history: &'h History, record: &'h RecordHistory, route: &'h str) -> Vec<Origin<'h>> {
    let first_set = |(history, record): (&'h History, &'h RecordHistory)| -> Option<Origin<'h>> {
        // All changes up to the base count as one.
        let taken = record.changes_of(route).rfind(|change| history.is_up_to_base(change.commit));
        let later = record.changes_of(route).filter(|change| !history.is_up_to_base(change.commit));
        let first = taken.into_iter().chain(later).find(|change| change.after.is_some())?;
        Some((history, record, first))
    };
    let on_branch = |(history, record, change): &Origin<'h>| {
        let branch = history.branch_of_change(record, change).filter(|_| !history.is_up_to_base(change.commit));
        branch.and_then(first_set)
    };
    std::iter::successors(first_set((history, record)), on_branch).collect()
}

/// The last commit with a note that no earlier commit had; `None` if the last version has no note.
fn last_new_note(history: &History, record: &RecordHistory) -> Option<CommitIndex> {
    record.last_value_at("notes", history.after_all()).filter(|note| letters_and_digits(note).next().is_some())?;
    let letters = |note: &Option<Arc<str>>| letters_and_digits(note.as_deref().unwrap_or("")).collect::<String>();
    let mut seen = HashSet::default();
    let changes = record.changes_of("notes");
    let new = changes.filter(|change| change.after.is_some() && seen.insert(letters(&change.after)));
    new.map(|change| change.commit).max()
}

fn report_removal(subjects: &mut Subjects<'_>, result: &RecordHistory, reporter: &mut Reporter) {
    let (study, history) = (subjects.study, subjects.history);
    let Some(removed) = result.removed.filter(|removed| !history.is_up_to_base(*removed)) else { return };
    let last = |route: &str| result.last_value_at(route, removed.before()).map(Arc::<str>::from);
    let Some(of) = last("of") else { return };
    let loaded = &study.loaded;
    // The subject can have a new id.
    let Some(subject) = history.record(&of).map(|record| record.id.clone()) else { return };
    let Some(index) = loaded.find(&subject) else { return };
    if subjects.others(index).explain(result, removed) {
        return;
    }
    let content: Vec<Arc<str>> = ["value", "outcome", "date"].into_iter().filter_map(last).collect();
    let content =
        if content.is_empty() { String::new() } else { format!(" ({})", words::shorten(&content.join(", "))) };
    let commit = &history.commits[removed];
    let message = format!(
        "result {}{content} of {} was removed on {} ({}) without a note in another result",
        result.id,
        loaded.record(index).name(),
        commit.day,
        commit.short(),
    );
    reporter.report(index, &[], message, "restore it, or name it in the `notes` of the result that replaces it");
}

/// The results of subjects of which a result was removed.
struct Subjects<'s> {
    study: &'s Study,
    history: &'s History,
    known: HashMap<RecordId, Others<'s>>,
}

/// The results that a subject has.
struct Others<'s> {
    /// The ids of removed results that their notes name.
    named: HashSet<&'s str>,
    /// Those that were added in each commit.
    added: HashMap<CommitIndex, Vec<&'s RecordHistory>>,
    /// The content of each that was added in each commit, as it was written.
    contents: HashSet<(CommitIndex, Vec<Option<&'s str>>)>,
}

/// The largest number of results of one subject, added in one commit, that are compared with a removed one as numbers. The
/// same text is found among any number.
const MOST_COMPARED: usize = 100;

impl<'s> Subjects<'s> {
    fn others(&mut self, subject: RecordId) -> &Others<'s> {
        let (study, history) = (self.study, self.history);
        self.known.entry(subject).or_insert_with(|| Others::of(study, history, subject))
    }
}

impl<'s> Others<'s> {
    fn of(study: &'s Study, history: &'s History, subject: RecordId) -> Self {
        let mut own = Self { named: HashSet::default(), added: HashMap::default(), contents: HashSet::default() };
        for (id, result) in study.graph.results(subject) {
            let words = result.notes.iter().flat_map(|notes| words_of(notes));
            own.named.extend(words.filter(|word| history.record(word).is_some()));
            let Some(added) = history.record(study.loaded.record(id).id.as_str()) else { continue };
            own.added.entry(added.added).or_default().push(added);
            own.contents.insert((added.added, content(added, added.added).collect()));
        }
        own
    }

    /// Whether the notes of one name a removed result, or one was added in the commit that removed it, with the same
    /// content.
    fn explain(&self, result: &RecordHistory, removed: CommitIndex) -> bool {
        if self.named.contains(&*result.id) {
            return true;
        }
        let Some(added) = self.added.get(&removed) else { return false };
        let is_same = |other: &&RecordHistory| {
            let mut both = content(result, removed.before()).zip(content(other, removed));
            both.all(|(own, other)| is_same_text(own, other))
        };
        self.contents.contains(&(removed, content(result, removed.before()).collect()))
            || added.iter().take(MOST_COMPARED).any(is_same)
    }
}

/// The content of a result at a commit. Its subject, whose id may have changed, is not part of it.
fn content(result: &RecordHistory, commit: CommitIndex) -> impl Iterator<Item = Option<&str>> {
    let keys = CONTENT.iter().filter(|route| **route != "of");
    keys.map(move |route| result.last_value_at(route, commit))
}

/// The words of a text, of which an id is one.
fn words_of(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| !(c.is_alphanumeric() || c == '-'))
}

/// Whether two ids are of one record: the later one names the earlier one under `formerly`, also if there is a record with
/// the earlier id again, or the record was replaced in one commit by one with another id, but without `formerly`.
fn is_renamed(history: &History, before: Option<&str>, after: Option<&str>) -> bool {
    let (Some(old), Some(new)) = (before, after) else { return false };
    let mut ids: Vec<&str> = vec![new];
    let mut next = 0;
    while let Some(record) = ids.get(next).map(|id| history.record(id)) {
        next += 1;
        let Some(record) = record else { continue };
        let named = record.changes_of("formerly").filter_map(|change| change.after.as_deref());
        for id in named.flat_map(|list| list.split(", ")).chain(record.older_ids.iter().map(|id| &**id)) {
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
    }
    if ids.contains(&old) {
        return true;
    }
    let (Some(before), Some(after)) = (history.record(old), history.record(new)) else { return false };
    before.id == after.id || (before.kind == after.kind && before.removed == Some(after.added))
}

/// Whether a value only gets an uncertainty that it did not have.
fn adds_uncertainty(before: Option<&str>, after: Option<&str>) -> bool {
    let parse = |text: Option<&str>| Quantity::parse(text?).ok();
    let (Some(before), Some(after)) = (parse(before), parse(after)) else { return false };
    before.uncertainty().is_none() && before.same_value(&after)
}

/// Whether two texts are the same, or quantities with the same value and uncertainty.
fn is_same_text(a: Option<&str>, b: Option<&str>) -> bool {
    let parse = |text: Option<&str>| Quantity::parse(text?).ok();
    match (parse(a), parse(b)) {
        (Some(a), Some(b)) => {
            let uncertainty = |quantity: &Quantity| quantity.uncertainty().unwrap_or(0.0) * quantity.unit().factor();
            a.same_value(&b) && same_number(uncertainty(&a), uncertainty(&b))
        }
        _ => a == b,
    }
}
