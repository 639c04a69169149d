//! The season of the example car, from its data in `templates/season/`.
//!
//! One commit of it, the anchor, is `example-car/` as it ships. Commits up to the anchor are described by what they add,
//! and are undone backwards from there; commits after it are applied forwards. So the text of each record exists once.

mod files;
mod text;

use std::collections::BTreeMap;

use schema::settings;
use serde::Deserialize;
use trace::Error;
use trace::git::NewCommit;

/// The files of one state, by path; the text of a binary one is empty here.
type Files = BTreeMap<String, String>;

/// One commit of the season.
#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct SeasonCommit {
    /// Date, time and zone, as in `2026-10-05T18:40+02:00`.
    when: String,
    /// The role of the author.
    by: String,
    message: String,
    /// Whether the state after it is the example car as it ships.
    #[serde(default)]
    anchor: bool,
    /// Files that are moved: old and new path.
    #[serde(default)]
    moves: BTreeMap<String, String>,
    /// Up to the anchor: the records that it adds, ...
    #[serde(default)]
    adds: Vec<String>,
    /// ... the other files, ...
    #[serde(default)]
    files: Vec<String>,
    /// ... and the keys that it adds to existing records.
    #[serde(default)]
    brings: BTreeMap<String, Vec<String>>,
    /// After the anchor: text at the end of files, new or not.
    #[serde(default)]
    appends: BTreeMap<String, String>,
    /// After the anchor: the records that it removes.
    #[serde(default)]
    removes: Vec<String>,
    /// `part.amount`, and `<value> <basis> -> <value> <basis>`.
    #[serde(default)]
    amounts: BTreeMap<String, String>,
    #[serde(default)]
    edits: Vec<Edit>,
}

/// A replacement of text in a record or a file. The old text occurs once before it, and the new text once after it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Edit {
    /// A record's id, or a path.
    at: String,
    from: String,
    to: String,
}

/// The season, in the order of its commits.
pub(crate) struct Season(Vec<SeasonCommit>);

/// Reads the season that ships with the tool.
pub(crate) fn read() -> Result<Season, Error> {
    let mut steps = Vec::new();
    for (phase, text) in files::PHASES {
        let read: Vec<SeasonCommit> =
            schema::read::shipped(text).map_err(|error| wrong(&format!("{phase}: {error}")))?;
        steps.extend(read);
    }
    Ok(Season(steps))
}

/// The data ships with the tool and a test creates the season, so users do not see this error.
fn wrong(what: &str) -> Error {
    Error::new("the data of the season is inconsistent").because(what)
}

impl Season {
    /// The dates of the first and the last commit.
    pub(crate) fn days(&self) -> (String, String) {
        let days = |step: &SeasonCommit| step.when.get(..10).unwrap_or_default().to_owned();
        (self.0.first().map(days).unwrap_or_default(), self.0.last().map(days).unwrap_or_default())
    }

    /// The revision of the anchor, counted from the last commit, as in `HEAD~47`.
    pub(crate) fn anchor(&self) -> String {
        let after = self.0.iter().rev().take_while(|step| !step.anchor).count();
        format!("HEAD~{after}")
    }

    /// Every commit with all its files.
    pub(crate) fn commits(&self) -> Result<Vec<NewCommit>, Error> {
        let anchor = self.0.iter().position(|step| step.anchor).map(|at| at + 1);
        let (before, after) = anchor.and_then(|at| self.0.split_at_checked(at)).ok_or_else(|| wrong("no anchor"))?;
        let binary = files::BINARY.iter().map(|(path, _)| (*path, ""));
        let shipped = || files::CAR.iter().copied().chain(binary.clone());
        let shipped = || shipped().map(|(path, text)| (path.to_owned(), text.to_owned()));
        let mut state: Files = shipped().collect();
        // During the season each revision is evaluated for its own date.
        let set = state.get_mut(settings::FILE).ok_or_else(|| wrong("no settings"))?;
        *set = set
            .split_inclusive('\n')
            .filter(|line| !line.starts_with("as-of:") && !line.starts_with("history:"))
            .collect();

        let mut commits = Vec::new();
        for step in before.iter().rev() {
            commits.push(step.commit(&state)?);
            step.undo(&mut state).map_err(|error| wrong(&format!("{}: {error}", step.when)))?;
        }
        if let Some(path) = state.keys().next() {
            return Err(wrong(&format!("no commit adds {path}")));
        }
        commits.reverse();
        state = shipped().collect();
        if let (Some(set), Some(last)) = (state.get_mut(settings::FILE), commits.last()) {
            *set = last.files.get(settings::FILE).map(|text| String::from_utf8_lossy(text).into()).unwrap_or_default();
        }
        for step in after {
            step.make(&mut state).map_err(|error| wrong(&format!("{}: {error}", step.when)))?;
            commits.push(step.commit(&state)?);
        }
        Ok(commits)
    }
}

impl SeasonCommit {
    fn commit(&self, state: &Files) -> Result<NewCommit, Error> {
        let fail = || wrong(&format!("`{}` is not a time with a zone", self.when));
        let seconds = self.when.parse::<jiff::Timestamp>().map_err(|_| fail())?.as_second();
        let zone = self.when.get(16..).ok_or_else(fail)?.replace(':', "");
        let email = format!("{}@tarnmoor.example", self.by.replace(' ', "-"));
        let bytes = |path: &str, text: &str| match files::BINARY.iter().find(|(binary, _)| *binary == path) {
            Some((_, bytes)) => bytes.to_vec(),
            None => text.as_bytes().to_vec(),
        };
        let files = state.iter().map(|(path, text)| (path.clone(), bytes(path, text))).collect();
        Ok(NewCommit { seconds, zone, name: self.by.clone(), email, message: self.message.clone(), files })
    }

    /// Changes the state after the commit into the state before it.
    fn undo(&self, state: &mut Files) -> Result<(), String> {
        if !(self.appends.is_empty() && self.removes.is_empty()) {
            return Err("`appends` or `removes` is used before the anchor".to_owned());
        }
        for edit in self.edits.iter().rev() {
            replace(state, &edit.at, &edit.to, &edit.from)?;
        }
        for (amount, change) in &self.amounts {
            let (from, to) = both_amounts(amount, change)?;
            replace(state, part(amount), &to, &from)?;
        }
        for (id, keys) in &self.brings {
            for key in keys {
                let (path, range) = find(state, id)?;
                let text = &state[&path];
                let left = text::without_key(&text[range.clone()], key).ok_or(format!("{id} has no `{key}`"))?;
                let text = [&text[..range.start], &left, &text[range.end..]].concat();
                state.insert(path, text);
            }
        }
        for id in &self.adds {
            remove(state, id)?;
        }
        for path in &self.files {
            state.remove(path).ok_or(format!("no file {path}"))?;
        }
        for (from, to) in &self.moves {
            move_file(state, to, from)?;
        }
        Ok(())
    }

    /// Changes the state before the commit into the state after it.
    fn make(&self, state: &mut Files) -> Result<(), String> {
        if !(self.adds.is_empty() && self.files.is_empty() && self.brings.is_empty()) {
            return Err("`adds`, `files` or `brings` is used after the anchor".to_owned());
        }
        for (from, to) in &self.moves {
            move_file(state, from, to)?;
        }
        for (path, text) in &self.appends {
            state.entry(path.clone()).or_default().push_str(text);
        }
        for id in &self.removes {
            remove(state, id)?;
        }
        for (amount, change) in &self.amounts {
            let (from, to) = both_amounts(amount, change)?;
            replace(state, part(amount), &from, &to)?;
        }
        for edit in &self.edits {
            replace(state, &edit.at, &edit.from, &edit.to)?;
        }
        Ok(())
    }
}

fn move_file(state: &mut Files, from: &str, to: &str) -> Result<(), String> {
    let text = state.remove(from).ok_or(format!("no file {from}"))?;
    match state.insert(to.to_owned(), text) {
        Some(_) => Err(format!("{to} already exists")),
        None => Ok(()),
    }
}

/// Removes a record, and its file with the last record.
fn remove(state: &mut Files, id: &str) -> Result<(), String> {
    let (path, range) = find(state, id)?;
    match text::without(&state[&path], &range) {
        Some(left) => state.insert(path, left),
        None => state.remove(&path),
    };
    Ok(())
}

/// The file of a record, and its position in it.
fn find(state: &Files, id: &str) -> Result<(String, std::ops::Range<usize>), String> {
    let records = state.iter().filter(|(path, _)| path.ends_with(".yaml"));
    let found = records.filter_map(|(path, text)| Some((path.clone(), text::record(text, id)?))).next();
    found.ok_or(format!("no record {id}"))
}

fn part(amount: &str) -> &str {
    amount.split_once('.').map_or(amount, |(part, _)| part)
}

/// The two texts of `part.mass` and `0.8 kg drawn -> 0.79 kg weighed`, as they are written in the record.
fn both_amounts(amount: &str, change: &str) -> Result<(String, String), String> {
    let fail = || format!("{amount}: `{change}` is not a change of an amount");
    let (_, name) = amount.split_once('.').ok_or_else(fail)?;
    let (from, to) = change.split_once(" -> ").ok_or_else(fail)?;
    let written = |text: &str| {
        let (value, basis) = text.rsplit_once(' ').ok_or_else(fail)?;
        Ok::<_, String>(format!("{name}: {{value: {value}, basis: {basis}}}"))
    };
    Ok((written(from)?, written(to)?))
}

/// Replaces text that must occur once in a record or a file.
fn replace(state: &mut Files, at: &str, from: &str, to: &str) -> Result<(), String> {
    let (path, range) = match state.get(at) {
        Some(text) => (at.to_owned(), 0..text.len()),
        None => find(state, at)?,
    };
    let text = &state[&path];
    let within = &text[range.clone()];
    if from.is_empty() || within.matches(from).count() != 1 {
        return Err(format!("{at} contains `{from}` {} times", within.matches(from).count()));
    }
    let text = [&text[..range.start], &within.replacen(from, to, 1), &text[range.end..]].concat();
    state.insert(path, text);
    Ok(())
}

#[cfg(test)]
mod tests;
