//! `no-reason`: a link or a choice without a reason of its own.

use std::hash::BuildHasher as _;

use foldhash::fast::FixedState;
use foldhash::{HashMap, HashMapExt as _};
use schema::records::{Body, Serves};

use super::shared::listed;
use super::{About, Check, Error, Group, RecordId, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-reason",
    group: Group::Structure,
    about: About::Records,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A reason that is missing, is a placeholder (`todo`), or only repeats a title or id. As notes: a \
              reason that more than five records give word for word, and the instruction in a starter file.",
    why: "Newcomers, judges and next season's team need the reason; a link without it explains nothing.",
    fix: "Give the reason in one sentence, if possible with a number: what would be lost without it? \
          If one reason holds for many small parts, give it once, under `for-parts` of their system.",
    bad_example: "\
parts:
  front-upright:
    title: Front upright
    in: suspension
    serves: {circle-time: Front upright}",
    good_example: "\
parts:
  front-upright:
    title: Front upright
    in: suspension
    serves: {circle-time: It keeps the camber within 0.3 deg under 1.3 gn.}",
    run,
};

/// The largest number of records that may give the same reason without a note.
const MOST_ALIKE: usize = 5;

const HELP: &str = "give the reason in one sentence";

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    let mut alike: HashMap<u64, Vec<LinkPlace<'_>>> = HashMap::new();
    let mut folded = String::new();
    for (index, record) in graph.loaded.records() {
        let own = [Some(record.id.as_str()), record.body.common().title()];
        for (above, serves) in links(study, index) {
            for (parent, reason) in serves.iter() {
                let title =
                    graph.loaded.find(parent.as_str()).and_then(|i| graph.loaded.record(i).body.common().title());
                let names = own.into_iter().flatten().chain([parent.as_str()]).chain(title);
                let route = || above.iter().copied().chain([parent.as_str()]).collect::<Vec<&str>>();
                match (problem(reason.0.as_deref(), names), &reason.0) {
                    (None, Some(reason)) if is_of_starter(reason) => {
                        reporter.report_note(
                            index,
                            &route(),
                            format!("the reason for `serves: {parent}` {OF_STARTER}"),
                            HELP,
                        );
                    }
                    (Some(problem), _) => {
                        let message = format!("the reason for `serves: {parent}` {problem}");
                        reporter.report(index, &route(), message, HELP);
                    }
                    (None, Some(reason)) => {
                        let hash = hash_of_words(reason, &mut folded);
                        alike.entry(hash).or_default().push((index, above, parent));
                    }
                    (None, None) => {}
                }
            }
        }
        let (subject, reason) = match &record.body {
            Body::Goal(goal) => ("the goal", &goal.reason),
            Body::Decision(decision) if decision.chosen.is_some() => ("the chosen alternative", &decision.reason),
            Body::Revision(revision) => ("the revision", &revision.reason),
            Body::Waiver(waiver) => ("the waiver", &waiver.reason),
            Body::Event(_)
            | Body::System(_)
            | Body::Target(_)
            | Body::Requirement(_)
            | Body::Part(_)
            | Body::Analysis(_)
            | Body::Decision(_)
            | Body::Result(_) => continue,
        };
        if reason.as_deref().is_some_and(is_of_starter) {
            reporter.report_note(index, &["reason"], format!("the reason for {subject} {OF_STARTER}"), HELP);
        } else if let Some(problem) = problem(reason.as_deref(), own.into_iter().flatten()) {
            reporter.report(index, &["reason"], format!("the reason for {subject} {problem}"), HELP);
        }
    }
    report_repeated(study, alike, reporter);
}

/// The upward links of a record with the keys above them: its own, and those that the parts of a system inherit.
fn links(study: &Study, id: RecordId) -> impl Iterator<Item = (&'static [&'static str], &Serves)> {
    let group = study.loaded.system(id).and_then(|system| system.for_parts.as_ref());
    let own: (&[&str], _) = (&["serves"], study.loaded.record(id).body.common().serves());
    let of_parts = group.map(|group| -> (&[&str], _) { (&["for-parts", "serves"], &group.serves) });
    std::iter::once(own).chain(of_parts)
}

/// A link: its record, the keys above it, and the id that it names.
type LinkPlace<'r> = (RecordId, &'static [&'static str], &'r schema::Id);

/// A hash of a text that ignores capitals, and spaces except for one between words. `folded`: for the text without them,
/// used again for the next text.
fn hash_of_words(text: &str, folded: &mut String) -> u64 {
    folded.clear();
    if text.is_ascii() {
        let is_space = |c: char| matches!(c, ' ' | '\t'..='\r');
        for word in text.split(is_space).filter(|word| !word.is_empty()) {
            folded.push_str(word);
            folded.push(' ');
        }
        folded.make_ascii_lowercase();
        return FixedState::default().hash_one(&*folded);
    }
    for word in text.split_whitespace() {
        folded.extend(word.chars().flat_map(char::to_lowercase));
        folded.push(' ');
    }
    FixedState::default().hash_one(&*folded)
}

/// Whether a reason is the instruction in a file that `init` wrote.
fn is_of_starter(reason: &str) -> bool {
    reason.trim_start().starts_with("Give the reason for ")
}

const OF_STARTER: &str = "is the instruction of the starter project";

/// Reports each reason that many records have word for word: one note for all of them, on the first.
fn report_repeated(study: &Study, alike: HashMap<u64, Vec<LinkPlace<'_>>>, reporter: &mut Reporter) {
    let mut alike: Vec<_> = alike.into_values().filter(|links| links.len() > MOST_ALIKE).collect();
    alike.sort_by_key(|links| links.first().map(|(record, ..)| *record));
    for links in alike {
        let mut records: Vec<RecordId> = links.iter().map(|(record, ..)| *record).collect();
        records.dedup();
        if let (Some((first, above, parent)), true) = (links.first(), records.len() > MOST_ALIKE) {
            let route: Vec<&str> = above.iter().copied().chain([parent.as_str()]).collect();
            let message = format!("{} records give the same reason: {}", records.len(), listed(study, &records));
            let is_part = |record: &RecordId| study.loaded.part(*record).is_some();
            let help = if records.iter().all(is_part) {
                "give it once, under `for-parts: {serves: ...}` of their system, and remove `serves` from the parts; or \
                 give each part a reason of its own"
            } else {
                "give each record a reason of its own; parts can inherit one from `for-parts` of their system"
            };
            reporter.report_note(*first, &route, message, help);
        }
    }
}

/// What is wrong with a reason: it is missing, is a placeholder, or only repeats one of these names.
fn problem<'a>(reason: Option<&str>, names: impl IntoIterator<Item = &'a str>) -> Option<&'static str> {
    let reason = reason.unwrap_or("");
    let first = first_letter_or_digit(reason);
    if first.is_none() {
        return Some("is missing");
    }
    let is_same =
        |text: &str| first_letter_or_digit(text) == first && letters_and_digits(text).eq(letters_and_digits(reason));
    if ["todo", "tbd", "tba", "fixme", "wip"].into_iter().any(is_same) {
        return Some("is a placeholder (`todo`)");
    }
    names.into_iter().any(is_same).then_some("only repeats a title or id")
}

/// The first of the letters and digits of a text, which mostly differ already.
fn first_letter_or_digit(text: &str) -> Option<char> {
    let simple = text.bytes().find(|byte| byte.is_ascii_alphanumeric() || !byte.is_ascii());
    match simple {
        Some(byte) if byte.is_ascii() => Some(char::from(byte.to_ascii_lowercase())),
        Some(_) => letters_and_digits(text).next(),
        None => None,
    }
}

/// The letters and digits of a text in lower case: they are equal if texts differ only in spaces, punctuation and
/// capitals.
pub(super) fn letters_and_digits(text: &str) -> impl Iterator<Item = char> {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_letter_is_that_of_all() {
        for text in ["", "...", "To do", "  4 kg", "-é", "É", "İx", "…", "(ß)", "ＡB", "a"] {
            assert_eq!(first_letter_or_digit(text), letters_and_digits(text).next(), "{text}");
        }
        assert_eq!(problem(Some(" T.O. do!"), []), Some("is a placeholder (`todo`)"));
        assert_eq!(problem(Some("Front, upright"), ["hub", "front upright"]), Some("only repeats a title or id"));
        assert_eq!(problem(Some("It holds the wheel."), ["hub"]), None);
    }

    #[test]
    fn hashes_ignore_capitals_and_spaces() {
        let hash = |text: &str| hash_of_words(text, &mut "before".to_owned());
        assert_eq!(hash("It  holds\x0b\tthe wheel\n"), hash(" it HOLDS the wheel"));
        assert_eq!(hash("Größe  IST\talles"), hash("größe ist ALLES "));
        assert_ne!(hash("it holds thewheel"), hash("it holds the wheel"));
    }
}
