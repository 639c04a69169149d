//! The names that the arguments of each command take: ids, checks, keys.

use std::ffi::OsStr;
use std::sync::Arc;

use clap::{Arg, Command};
use clap_complete::engine::{ArgValueCompleter, CompletionCandidate};
use schema::Kind;
use trace::Loaded;
use trace::graph::ids_for;

use crate::args::cwd;
use crate::commands::keys::{self, Key};

/// The words of the line.
type Words = Arc<[String]>;

/// What an argument takes.
#[derive(Clone, Copy)]
enum Takes {
    /// The id of a record of one of these kinds; of any for none.
    Ids(&'static [Kind]),
    /// An amount, or the id of a target.
    Amounts,
    /// The role that is responsible for a record.
    Leads,
    /// The name of a check.
    Checks,
    /// A check or a kind of record.
    Explained,
    /// A kind of record.
    Kinds,
    /// `key=value` of the kind that is the first argument.
    Keys,
    /// `id.key` of a record.
    Routes,
}

/// The arguments by command and name; a command that is not there is skipped.
const ARGUMENTS: &[(&str, &str, Takes)] = &[
    ("why", "id", Takes::Ids(&[])),
    ("history", "id", Takes::Ids(&[])),
    ("graph", "below", Takes::Ids(&[])),
    ("worth", "id", Takes::Ids(&[Kind::Target, Kind::Event, Kind::Part])),
    ("compare", "decision", Takes::Ids(&[Kind::Decision])),
    ("budget", "amount", Takes::Amounts),
    ("check", "only", Takes::Checks),
    ("check", "system", Takes::Ids(&[Kind::System])),
    ("check", "lead", Takes::Leads),
    ("explain", "name", Takes::Explained),
    ("add", "kind", Takes::Kinds),
    ("add", "values", Takes::Keys),
    ("set", "address", Takes::Routes),
    ("revise", "target", Takes::Ids(&[Kind::Target])),
    ("rename", "old", Takes::Ids(&[])),
];

/// The command with the names that its arguments take.
pub(super) fn with_names(mut command: Command, words: &Words) -> Command {
    for (name, argument, takes) in ARGUMENTS {
        let known = |command: &Command| command.get_arguments().any(|own| own.get_id() == *argument);
        if !command.find_subcommand(name).is_some_and(known) {
            continue;
        }
        let words = Arc::clone(words);
        let complete = move |current: &OsStr| names(*takes, current.to_str().unwrap_or_default(), &words);
        let completer = ArgValueCompleter::new(complete);
        // `mut_arg` would move the argument behind the others.
        let with = |own: Arg| if own.get_id() == *argument { own.add(completer.clone()) } else { own };
        command = command.mut_subcommand(name, |own| own.mut_args(with));
    }
    command
}

fn names(takes: Takes, current: &str, words: &Words) -> Vec<CompletionCandidate> {
    match takes {
        Takes::Ids(kinds) => ids(kinds),
        Takes::Amounts => {
            let amounts = load().map(|loaded| amounts(&loaded)).unwrap_or_default();
            amounts.into_iter().map(|name| candidate(name, "")).chain(ids(&[Kind::Target])).collect()
        }
        Takes::Leads => leads(),
        Takes::Checks => checks().collect(),
        Takes::Explained => checks().chain(kinds()).collect(),
        Takes::Kinds => kinds().collect(),
        Takes::Keys => {
            let at = words.iter().position(|word| word == "add").map_or(2, |at| at + 1);
            let kind = words.iter().skip(at).find_map(|word| keys::kind(word));
            kind.map(|kind| key_values(kind, current)).unwrap_or_default()
        }
        Takes::Routes => routes(current),
    }
}

fn candidate(name: impl Into<String>, help: &str) -> CompletionCandidate {
    let help = (!help.is_empty()).then(|| help.to_owned().into());
    CompletionCandidate::new(name.into()).help(help)
}

/// The records of the project around the current folder, if they can be read.
fn load() -> Option<Loaded> {
    let request = trace::snapshot::Request { cwd: cwd().ok()?, path: None, state: trace::snapshot::State::Worktree };
    trace::Project::open(&request).load().ok()
}

fn ids(kinds: &[Kind]) -> Vec<CompletionCandidate> {
    let Some(loaded) = load() else { return Vec::new() };
    let fits = |kind: Kind| kinds.is_empty() || kinds.contains(&kind);
    loaded.records().filter(|(_, record)| fits(record.kind())).map(|(_, record)| of_record(record)).collect()
}

fn of_record(record: &schema::Record) -> CompletionCandidate {
    candidate(record.id.as_str(), record.body.common().title().unwrap_or(record.kind().singular()))
}

fn leads() -> Vec<CompletionCandidate> {
    let Some(loaded) = load() else { return Vec::new() };
    let mut all: Vec<&str> = loaded.records().filter_map(|(_, record)| record.body.common().lead()).collect();
    all.sort_unstable();
    all.dedup();
    all.into_iter().map(|lead| candidate(lead, "")).collect()
}

fn amounts(loaded: &Loaded) -> Vec<String> {
    let used = loaded.parts().flat_map(|(.., part)| part.amounts.keys().map(ToString::to_string));
    let mut all: Vec<String> = loaded.settings().growth.keys().map(ToString::to_string).chain(used).collect();
    all.sort_unstable();
    all.dedup();
    all
}

fn checks() -> impl Iterator<Item = CompletionCandidate> {
    trace::checks::all().iter().map(|check| candidate(check.name, ""))
}

fn kinds() -> impl Iterator<Item = CompletionCandidate> {
    Kind::ALL.iter().map(|kind| candidate(kind.singular(), ""))
}

/// What fits `key`, `key.key` or `key=value`.
fn key_values(kind: Kind, current: &str) -> Vec<CompletionCandidate> {
    let all = keys::of_kind(kind);
    match current.split_once('=') {
        Some((route, _)) => values(kind, &all, route),
        None => routes_of(kind, &all, current),
    }
}

fn routes_of(kind: Kind, all: &[Key], current: &str) -> Vec<CompletionCandidate> {
    let Some((top, _)) = current.split_once('.') else {
        let end = |key: &Key| if key.is_map() { "." } else { "=" };
        return all.iter().map(|key| candidate(format!("{}{}", key.name(), end(key)), key.meaning())).collect();
    };
    let Some(key) = all.iter().find(|key| key.name() == top) else { return Vec::new() };
    let below = key.below().iter().map(|below| candidate(format!("{top}.{}=", below.name()), below.meaning()));
    if top == "amounts" {
        let amounts = load().map(|loaded| amounts(&loaded)).unwrap_or_default();
        return amounts.into_iter().map(|name| candidate(format!("amounts.{name}="), "")).collect();
    }
    if key.has_names() {
        let loaded = load();
        let ids = loaded.as_ref().and_then(|loaded| ids_for(loaded, kind, top)).unwrap_or_default();
        return ids.into_iter().map(|id| candidate(format!("{top}.{id}="), "")).collect();
    }
    below.collect()
}

/// The values of a key: its words, `today` for a date, the ids that it may name.
fn values(kind: Kind, all: &[Key], route: &str) -> Vec<CompletionCandidate> {
    let mut steps = route.split('.');
    let top = steps.next().unwrap_or_default();
    let Some(mut key) = all.iter().find(|key| key.name() == top) else { return Vec::new() };
    for step in steps {
        let Some(below) = key.below().iter().find(|below| below.name() == step) else { return Vec::new() };
        key = below;
    }
    let full = |value: &str| candidate(format!("{route}={value}"), "");
    if !key.words().is_empty() {
        return key.words().iter().map(|word| full(word)).collect();
    }
    if key.is_date() {
        return vec![full("today")];
    }
    let loaded = (route == top).then(load).flatten();
    let ids = loaded.as_ref().and_then(|loaded| ids_for(loaded, kind, top)).unwrap_or_default();
    ids.into_iter().map(full).collect()
}

/// What fits `id.key` of a record.
fn routes(current: &str) -> Vec<CompletionCandidate> {
    let Some(loaded) = load() else { return Vec::new() };
    let Some((id, rest)) = current.split_once('.') else {
        return loaded.records().map(|(_, record)| candidate(format!("{}.", record.id), record.name())).collect();
    };
    let Some(found) = loaded.find(id) else { return Vec::new() };
    let kind = loaded.kind(found);
    let all = keys::of_kind(kind);
    let known = routes_of(kind, &all, rest);
    let name = |known: &CompletionCandidate| known.get_value().to_string_lossy().trim_end_matches('=').to_owned();
    known.iter().map(|known| candidate(format!("{id}.{}", name(known)), "")).collect()
}
