//! Completion in the shell: commands, options, ids, keys and names of checks.
//!
//! The scripts of `tierod completions` start this process with [`ARGUMENT`] and what is typed so far; it prints what fits,
//! one per line. It reads the records as every command does and nothing else, runs nothing, and prints only names that a
//! shell takes as they are: what holds another character is left out.

mod names;

use std::ffi::OsString;
use std::io::Write as _;
use std::sync::Arc;

use clap::CommandFactory;
use clap_complete::engine;

use crate::commands::Cli;
use crate::screen::clean;

/// The first argument of the process. It is not a command for people.
pub(crate) const ARGUMENT: &str = "--complete";

/// The longest description behind a name.
const LONGEST: usize = 80;

/// Prints what fits: `SHELL WORD...`, the last word being completed; for bash `bash LINE BREAKS`, since it splits words at
/// characters such as `=`.
pub(crate) fn run(mut args: impl Iterator<Item = OsString>) {
    let shell = args.next().unwrap_or_default();
    let mut rest: Vec<String> = args.map(|word| word.to_string_lossy().into_owned()).collect();
    let is_bash = shell == "bash";
    let breaks = if is_bash { rest.get(1).cloned().unwrap_or_default() } else { String::new() };
    if is_bash {
        rest = rest.first().map(|line| words(line)).unwrap_or_default();
    }
    let current = rest.last().cloned().unwrap_or_default();
    // What bash replaces begins behind the last of these characters.
    let kept = current.rfind(|c| "=:".contains(c) && breaks.contains(c)).map_or(0, |at| at + 1);
    let mut out = String::new();
    for (name, about) in fitting(&rest) {
        let Some(name) = name.get(kept..) else { continue };
        out.push_str(name);
        if is_bash {
            // It adds no space by itself.
            out.push_str(if is_open(name) { "" } else { " " });
        } else {
            out.push('\t');
            out.extend(clean(&about).chars().take(LONGEST));
        }
        out.push('\n');
    }
    let _ = std::io::stdout().lock().write_all(out.as_bytes());
}

/// Whether more follows in the same word.
fn is_open(name: &str) -> bool {
    name.ends_with(['=', '.', '/'])
}

/// The names that fit the last of the words, each with its description.
fn fitting(words: &[String]) -> Vec<(String, String)> {
    let Some(current) = words.last() else { return Vec::new() };
    let command = names::with_names(Cli::command(), &Arc::from(words));
    let args: Vec<OsString> = words.iter().map(OsString::from).collect();
    let found = engine::complete(&mut { command }, args, words.len() - 1, None).unwrap_or_default();
    let mut all: Vec<(String, String)> = found
        .iter()
        .filter(|candidate| !candidate.is_hide_set())
        .filter_map(|candidate| {
            let help = candidate.get_help().map(ToString::to_string).unwrap_or_default();
            Some((candidate.get_value().to_str()?.to_owned(), help.lines().next().unwrap_or_default().to_owned()))
        })
        .filter(|(name, _)| is_plain(name) && name.starts_with(current.as_str()))
        .collect();
    // Options are only for who types a `-`.
    if !current.starts_with('-') {
        all.retain(|(name, _)| !name.starts_with('-'));
    }
    all
}

/// Whether a shell takes a name as it is.
fn is_plain(name: &str) -> bool {
    !name.is_empty() && name.chars().all(|c| c.is_alphanumeric() || "-_./=:,+@%".contains(c))
}

/// The words of a line up to the cursor, as a shell splits them; nothing in it is expanded. The last one may be empty.
fn words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let (mut quote, mut chars) = (None, line.chars());
    while let Some(c) = chars.next() {
        let word = words.last_mut();
        let Some(word) = word else { break };
        match (quote, c) {
            (Some(open), c) if open == c => quote = None,
            (None, '\'' | '"') => quote = Some(c),
            (None | Some('"'), '\\') => word.extend(chars.next()),
            (None, ' ' | '\t') => {
                if !word.is_empty() {
                    words.push(String::new());
                }
            }
            _ => word.push(c),
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_split_as_a_shell_does() {
        assert_eq!(words("tierod why hub"), ["tierod", "why", "hub"]);
        assert_eq!(words("tierod  why "), ["tierod", "why", ""]);
        assert_eq!(words("tierod add part x title='a b' in=su"), ["tierod", "add", "part", "x", "title=a b", "in=su"]);
        assert_eq!(words("a \\ b \"c\\\"d 'e"), ["a", " b", "c\"d 'e"]);
        assert_eq!(words(""), [""]);
    }

    #[test]
    fn commands_options_and_words_fit() {
        let fit = |line: &str| fitting(&words(line)).into_iter().map(|(name, _)| name).collect::<Vec<_>>();
        assert_eq!(fit("tierod expl"), ["explain"]);
        assert!(fit("tierod ").contains(&"check".to_owned()));
        assert!(!fit("tierod ").iter().any(|name| name.starts_with('-')));
        assert_eq!(fit("tierod check --stag"), ["--staged"]);
        assert_eq!(fit("tierod values --format c"), ["csv"]);
        assert_eq!(fit("tierod check --only no-rea"), ["no-reason"]);
        assert_eq!(fit("tierod explain no-rea"), ["no-reason"]);
        assert_eq!(fit("tierod add resu"), ["result"]);
        assert!(fit("tierod add result x ").contains(&"of=".to_owned()));
        assert_eq!(fit("tierod add result x outcome=p"), ["outcome=pass"]);
        assert_eq!(fit("tierod add part x verify.by=t"), ["verify.by=test"]);
        assert_eq!(fit("tierod add part x ser"), ["serves."]);
    }
}
