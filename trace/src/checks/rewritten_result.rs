//! `rewritten-result`: what was measured reads otherwise than when it was written down.

use std::sync::Arc;

use foldhash::HashSet;
use schema::quantity::same_number;
use schema::{Kind, Quantity, words};

use super::no_reason::letters;
use super::{Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::history::{Change, History, RecordHistory};

pub(super) static CHECK: Check = Check {
    name: "rewritten-result",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A result whose value, outcome, date or subject was changed in a later commit than the one that wrote it, and no new note \
            was written with the change or after it; a result that was removed while its subject stands, and no other one of \
            the subject names it or came with the same words.",
    why: "A measurement is what was seen on that day: one that can be changed in silence proves nothing.",
    fix: "Say in the `notes` of the result why it reads otherwise, or put it back and write the new measurement as a result of \
           its own. A result that was removed is put back, or named in the `notes` of the one in its place.",
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
    {of: rack-force, value: 295 N, date: 2027-01-30, evidence: [chain.yaml], notes: The cell was read before its zero was taken off.}",
    run,
};

/// What a result says.
const SAID: [&str; 4] = ["value", "outcome", "date", "of"];

fn run(study: &Study, reporter: &mut Reporter) {
    let Some(history) = study.history() else { return };
    for life in history.records().iter().filter(|life| life.kind == Kind::Result) {
        match study.loaded.find(&life.id) {
            Some(index) => changed(study, history, life, index, reporter),
            None => removed(study, history, life, reporter),
        }
    }
}

fn changed(study: &Study, history: &History, life: &RecordHistory, index: RecordId, reporter: &mut Reporter) {
    let noted_now = noted(history, life).is_some();
    for route in SAID {
        let levels = written(history, life, route);
        // What was not said at first was not measured otherwise.
        let Some((origin, _, begun)) = levels.last() else { continue };
        let Some(first) = begun.after.as_deref() else { continue };
        // What was put back is as it was, and a subject that got another id is the same.
        let as_before = |before: Option<&str>, after: Option<&str>| {
            let life = |id: Option<&str>| history.record(id?).map(|life| &life.id);
            same(before, after) || (route == "of" && life(before).is_some() && life(before) == life(after))
        };
        if as_before(Some(first), life.last_value_at(route, history.commits.len())) {
            continue;
        }
        let found = levels.iter().enumerate().find_map(|(at, (_, life, written))| {
            let last = life.changes_of(route).rfind(|change| {
                change.commit > written.commit && !as_before(change.before.as_deref(), change.after.as_deref())
            });
            // The merge itself may have brought another value than its branch had.
            let came = || levels.get(at + 1).map(|(branch, life, _)| life.last_value_at(route, branch.commits.len()));
            let other = || came().is_some_and(|came| !as_before(came, written.after.as_deref()));
            Some((at, last.or_else(|| Some(*written).filter(|_| other()))?))
        });
        let Some((at, last)) = found else { continue };
        let (place, own, _) = &levels[at];
        let later =
            |(history, life, written): &Written<'_>| noted(history, life).is_some_and(|note| note > written.commit);
        let said = noted(place, own).is_some_and(|note| note >= last.commit) || levels[..at].iter().any(later);
        if noted_now && said {
            continue;
        }
        let born = &origin.commits[begun.commit];
        let step = place.branch_commit(own, last).unwrap_or(&place.commits[last.commit]);
        let now = match &last.after {
            Some(text) => format!("`{}`", words::shorten(text)),
            None => "gone".to_owned(),
        };
        let message = format!(
            "the {} of {} was `{}` on {} ({}) and is {now} since {} ({}), and no note says why",
            if route == "of" { "subject" } else { route },
            study.loaded.record(index).name(),
            words::shorten(first),
            born.day,
            born.short(),
            step.day,
            step.short(),
        );
        let key: &[&str] = if last.after.is_some() { &[route] } else { &[] };
        reporter.report(
            index,
            key,
            message,
            "say in its `notes` why; or put it back, and write the new one as a result of its own",
        );
    }
}

/// Where a field of a record was first written: its life in a history, and the change.
type Written<'h> = (&'h History, &'h RecordHistory, &'h Change);

/// The step that brought a field, then that of the branch which a merge brought it from, and so on.
fn written<'h>(history: &'h History, life: &'h RecordHistory, route: &'h str) -> Vec<Written<'h>> {
    let in_life = |(history, life): (&'h History, &'h RecordHistory)| -> Option<Written<'h>> {
        Some((history, life, life.changes_of(route).find(|change| change.after.is_some())?))
    };
    let branch = |(history, life, change): &Written<'h>| history.branch_of_change(life, change).and_then(in_life);
    std::iter::successors(in_life((history, life)), branch).collect()
}

/// The last step in which a note was written that stands at the end, and says something that was not said before.
fn noted(history: &History, life: &RecordHistory) -> Option<usize> {
    life.last_value_at("notes", history.commits.len()).filter(|note| letters(note).next().is_some())?;
    let says = |text: &Option<Arc<str>>| letters(text.as_deref().unwrap_or("")).collect::<String>();
    let mut said = HashSet::default();
    let new = life.changes_of("notes").filter(|change| change.after.is_some() && said.insert(says(&change.after)));
    new.map(|change| change.commit).max()
}

fn removed(study: &Study, history: &History, life: &RecordHistory, reporter: &mut Reporter) {
    let Some(gone) = life.removed else { return };
    let before = |route: &str| life.last_value_at(route, gone.saturating_sub(1)).map(Arc::<str>::from);
    let Some(of) = before("of") else { return };
    let loaded = &study.loaded;
    // The subject may have another id by now.
    let now = |id: &str| history.record(id).map(|life| life.id.clone());
    let Some(subject) = now(&of) else { return };
    let Some(index) = loaded.find(&subject) else { return };
    let accounted = study.graph.results(index).into_iter().any(|(id, other)| {
        let named = other.notes.as_deref().is_some_and(|notes| names(notes, &life.id));
        named || copied(history, loaded.record(id).id.as_str(), life, gone)
    });
    if accounted {
        return;
    }
    let said: Vec<Arc<str>> = ["value", "outcome", "date"].into_iter().filter_map(before).collect();
    let said = if said.is_empty() { String::new() } else { format!(" ({})", words::shorten(&said.join(", "))) };
    let step = &history.commits[gone];
    let message = format!(
        "the result {}{said} of {} was removed on {} ({}), and no other result of it says why",
        life.id,
        loaded.record(index).name(),
        step.day,
        step.short(),
    );
    reporter.report(index, &[], message, "put it back, or name it in the `notes` of the result in its place");
}

/// Does another result of that commit say the same under another id?
fn copied(history: &History, id: &str, life: &RecordHistory, gone: usize) -> bool {
    // That both have one subject is known by now, whatever its id was.
    let said = SAID.iter().filter(|route| **route != "of");
    history.record(id).filter(|other| other.added == gone).is_some_and(|other| {
        said.clone().all(|route| {
            same(life.last_value_at(route, gone.saturating_sub(1)), other.last_value_at(route, other.added))
        })
    })
}

/// Is this id one of the words of a text?
fn names(text: &str, id: &str) -> bool {
    text.split(|c: char| !(c.is_alphanumeric() || c == '-')).any(|word| word == id)
}

/// Do two texts say the same?
fn same(a: Option<&str>, b: Option<&str>) -> bool {
    let read = |text: Option<&str>| Quantity::parse(text?).ok();
    match (read(a), read(b)) {
        (Some(a), Some(b)) => {
            let spread = |one: &Quantity| one.uncertainty().unwrap_or(0.0) * one.unit().factor();
            a.same_value(&b) && same_number(spread(&a), spread(&b))
        }
        _ => a == b,
    }
}
