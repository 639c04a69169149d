//! From the bytes of a file to records, with the position of every problem.
//!
//! A file becomes a [`tree::Tree`] with the range of every key and value, and is decoded from it record by record, so that
//! one bad record hides no other and all errors are reported in one run.

pub mod decode;
pub mod flat;
pub mod tree;
pub mod yaml;

mod conflict;
mod deck;
mod earlier;
mod imports;
mod input;
mod likely;
mod position;
mod problems;
mod settings;
mod shapes;
mod unreadable;

pub use earlier::{EarlierVersion, Version};
pub use position::Position;
pub use problems::{Problem, ProblemKind};
pub use unreadable::PossibleIds;

use crate::records::{Body, Kind, Record};
use crate::renamed;
use crate::settings::Settings;
use crate::words::{CAR, Id, shorten};
use decode::NodeDeserializer;
use foldhash::{HashSet, HashSetExt as _};
use serde::Deserialize as _;
use tree::{NodeId, Tree};

/// The largest record file that is read, in bytes: 8 MiB, about 20,000 records.
pub const LARGEST_FILE: u64 = 8 * 1024 * 1024;

/// The most errors of a file that are listed: what follows them is not read.
const MOST_ERRORS: usize = 60_000;

/// A position in a file. Lines and columns count from 1, columns in characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spot {
    /// The line.
    pub line: u32,
    /// The column.
    pub column: u32,
}

impl Spot {
    /// The start of a file.
    pub const START: Self = Self { line: 1, column: 1 };

    /// From a line that counts from 1 and a column that counts from 0.
    fn new(line: usize, column: usize) -> Self {
        let clip = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        Self { line: clip(line).max(1), column: clip(column).saturating_add(1) }
    }

    /// The line and column of a byte in a text.
    pub(crate) fn of_byte(bytes: &[u8], at: usize) -> Self {
        let before = &bytes[..at.min(bytes.len())];
        // A line ends with LF, CR LF or CR, as in YAML.
        let ends = |i: usize| before[i] == b'\n' || (before[i] == b'\r' && bytes.get(i + 1) != Some(&b'\n'));
        let line_start = (0..before.len()).rev().find(|i| ends(*i)).map_or(0, |i| i + 1);
        let line = (0..before.len()).filter(|i| ends(*i)).count() + 1;
        Self::new(line, String::from_utf8_lossy(&before[line_start..]).chars().count())
    }
}

/// What a position refers to: the key or the value of the last step of a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// The key.
    Key,
    /// Its value, if it has one.
    Value,
}

/// A record that could not be read completely.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Damage {
    /// The record.
    pub id: Id,
    /// The omitted keys, sorted, each once; empty if no key could be read.
    pub keys: Vec<String>,
}

impl Damage {
    /// Whether a key was omitted.
    pub fn has(&self, key: &str) -> bool {
        self.keys.binary_search_by(|own| own.as_str().cmp(key)).is_ok()
    }
}

/// The content of a record file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FileRecords {
    /// The records that could be read, kind by kind, those of a kind in the order of the file.
    pub records: Vec<Record>,
    /// The values of each of them, with aliases expanded; a long text counts as several.
    pub values: Vec<u32>,
    /// The problems, in the order of the file.
    pub problems: Vec<Problem>,
    /// Records that were read only partly, or not at all.
    pub damaged: Vec<Damage>,
}

/// The text of a file.
///
/// # Errors
/// The file is too large, is not UTF-8, or contains NUL.
pub fn text(bytes: &[u8]) -> Result<&str, Problem> {
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(Problem::too_large(bytes.len() as u64));
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(Problem::unreadable(Spot::START, "the file is UTF-16", "save it as UTF-8"));
    }
    // A byte order mark is not a character of the text: columns count without it, as in editors.
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let spot = Spot::of_byte(bytes, error.valid_up_to());
        Problem::unreadable(spot, "the file is not UTF-8 here", "save it as UTF-8")
    })?;
    match memchr::memchr(0, bytes) {
        Some(at) => {
            Err(Problem::unreadable(Spot::of_byte(bytes, at), "a NUL byte", "record files are text: remove it"))
        }
        None => Ok(text),
    }
}

/// Reads a record file.
pub fn records(bytes: &[u8]) -> FileRecords {
    let text = match text(bytes) {
        Ok(text) => text,
        Err(problem) => return FileRecords { problems: vec![problem], ..FileRecords::default() },
    };
    match tree_of(text) {
        Ok(tree) => from_tree(&tree),
        Err(problem) => FileRecords { problems: vec![problem], ..FileRecords::default() },
    }
}

/// The tree of a file.
///
/// # Errors
/// The file has conflict markers, or is not valid YAML.
pub(crate) fn tree_of(text: &str) -> Result<Tree<'_>, Problem> {
    let tree = yaml::tree(text);
    if (tree.is_err() || conflict::is_whole(text))
        && let Some(problem) = conflict::problem(text)
    {
        return Err(problem);
    }
    tree.map_err(|error| Problem::unreadable(error.spot, &error.message, &error.help))
}

/// Decodes the records of a file.
fn from_tree(tree: &Tree<'_>) -> FileRecords {
    let mut out = FileRecords::default();
    let Some(root) = tree.root().filter(|root| !tree.is_null(*root)) else { return out };
    if !matches!(tree.content(root), tree::Content::Map(_)) {
        let help = "a record file maps kinds to ids to records: `parts:`, below it `front-upright:`, and so on";
        out.problems.push(Problem::unreadable(tree.spot(root), "the file is not a map of record kinds", help));
        return out;
    }
    let mut seen = HashSet::new();
    for &[key, value] in tree.entries(root) {
        if out.problems.len() >= MOST_ERRORS {
            out.problems.push(too_many_errors(tree.spot(key)));
            break;
        }
        let name = tree.text(key).unwrap_or("");
        let Some(kind) = Kind::from_plural(name) else {
            out.problems.push(problems::unknown_kind(name, tree.spot(key)));
            continue;
        };
        if !seen.insert(kind) {
            let message = format!("`{name}` appears twice in this file");
            let help = "put the records of both under one of them";
            out.problems
                .push(Problem::new(ProblemKind::DuplicateKey, Some(tree.spot(key)), message, help).on(name, &[]));
        }
        if tree.is_null(value) {
            continue;
        }
        if !matches!(tree.content(value), tree::Content::Map(_)) {
            let message = format!("`{name}` is not a map of id to record");
            let help = "write an id and a colon, and its keys indented below";
            let problem = Problem::new(ProblemKind::BadValue, Some(tree.spot(value)), message, help);
            out.problems.push(problem.on(name, &[]));
            continue;
        }
        let entries = tree.entries(value);
        out.records.reserve(entries.len());
        let mut ids = HashSet::with_capacity(entries.len());
        for &[id, record] in entries {
            if out.problems.len() >= MOST_ERRORS {
                out.problems.push(too_many_errors(tree.spot(id)));
                return sorted(out);
            }
            read_record(tree, kind, id, record, &mut ids, &mut out);
        }
    }
    sorted(out)
}

/// The records kind by kind.
fn sorted(mut file: FileRecords) -> FileRecords {
    let by_kind = |records: &[Record]| records.is_sorted_by_key(Record::kind);
    if !by_kind(&file.records) {
        let mut both: Vec<(Record, u32)> = file.records.into_iter().zip(file.values).collect();
        both.sort_by_key(|(record, _)| record.kind());
        (file.records, file.values) = both.into_iter().unzip();
    }
    file
}

/// The problem of a file in which nearly everything is wrong.
fn too_many_errors(spot: Spot) -> Problem {
    let message = "the file has more than 60,000 errors, and is not read from here on";
    Problem::unreadable(spot, message, "correct the errors before; if it is not a record file, list it under `ignore:`")
}

fn read_record<'t>(
    tree: &'t Tree<'t>,
    kind: Kind,
    key: NodeId,
    node: NodeId,
    ids: &mut HashSet<&'t str>,
    out: &mut FileRecords,
) {
    let spot = || Some(tree.spot(key));
    let Some(text) = tree.text(key) else {
        let help = "use a kebab-case id, for example `front-upright`";
        let problem = Problem::new(ProblemKind::BadValue, spot(), "an id is not a text", help);
        out.problems.push(problem.on(kind.plural(), &[]));
        return;
    };
    let id = match Id::new(text) {
        Ok(id) if id.as_str() == CAR => {
            let message = format!("`{CAR}` is the whole car, and cannot be the id of a record");
            let problem = Problem::new(ProblemKind::BadValue, spot(), &message, "give it another id");
            out.problems.push(problem.on_record(kind, CAR, &[]));
            None
        }
        Ok(id) => Some(id),
        Err(message) => {
            let (message, help) = problems::message_and_help(message);
            let problem = Problem::new(ProblemKind::BadValue, spot(), message, &help);
            out.problems.push(problem.on_record(kind, &shorten(text), &[]));
            None
        }
    };
    let first = ids.insert(text);
    if !first {
        let message = format!("`{}` appears twice", shorten(text));
        let problem = Problem::new(ProblemKind::DuplicateId, spot(), message, "give one of them another id");
        out.problems.push(problem.on_record(kind, &shorten(text), &[]));
    }
    let reported = out.problems.len();
    let body = decode_all(
        tree,
        node,
        Some(kind),
        out,
        |problem| problem.on_record(kind, &shorten(text), &[]),
        |source| Body::decode(kind, source),
    );
    let Some(id) = id else { return };
    let wrong = out.problems[reported..].iter().filter_map(|problem| problem.route.get(2));
    let new_name = |key: &str| renamed::new_name(renamed::Use::Key(kind), key).map(str::to_owned);
    let mut keys: Vec<String> = wrong.flat_map(|key| std::iter::once(key.clone()).chain(new_name(key))).collect();
    keys.sort_unstable();
    keys.dedup();
    if body.is_none() || !keys.is_empty() {
        out.damaged.push(Damage { id: id.clone(), keys: if body.is_some() { keys } else { Vec::new() } });
    }
    if let (Some(body), true) = (body, first) {
        let record = Record { id, body };
        shapes::report(&record, tree, reported, out);
        out.records.push(record);
        out.values.push(u32::try_from(tree.values(node)).unwrap_or(u32::MAX));
    }
}

/// Decodes a node, omitting what is wrong until the rest can be read.
fn decode_all<T>(
    tree: &Tree<'_>,
    node: NodeId,
    kind: Option<Kind>,
    out: &mut FileRecords,
    own: impl Fn(Problem) -> Problem,
    decode: impl Fn(NodeDeserializer<'_>) -> Result<T, decode::DecodeError>,
) -> Option<T> {
    /// A record with more errors than this is not read. For a huge record the limit is lower, because every error costs a
    /// pass over it.
    const MOST_OF_RECORD: usize = 60;
    const MOST_STEPS: usize = 2_000_000;
    let mut left_out = HashSet::new();
    // A key that appears twice is an error of every map that is decoded, so what can be decoded has none.
    if let Ok(value) = decode(NodeDeserializer { tree, node, left_out: &left_out }) {
        return Some(value);
    }
    problems::duplicate_keys(tree, node, &mut left_out, &mut |problem, route| {
        if out.problems.len() < MOST_ERRORS {
            out.problems.push(own(problem).below(&route));
        }
    });
    for _ in 0..(MOST_STEPS / tree.size(node)).clamp(3, MOST_OF_RECORD) {
        let error = match decode(NodeDeserializer { tree, node, left_out: &left_out }) {
            Ok(value) => return Some(value),
            Err(error) => error,
        };
        let at = error.node.unwrap_or(node);
        if let Some((problem, route)) = problems::of_decoding(tree, node, kind, at, error.kind, &left_out) {
            out.problems.push(own(problem).below(&route));
        }
        if at == node || !left_out.insert(at) {
            return None;
        }
    }
    None
}

/// Reads the settings; a key with a problem keeps its default.
pub fn settings(bytes: &[u8]) -> (Settings, Vec<Problem>) {
    let text = match text(bytes) {
        Ok(text) => text,
        Err(problem) => return (Settings::default(), vec![problem]),
    };
    let mut out = FileRecords::default();
    let mut settings = match tree_of(text) {
        Ok(tree) => match tree.root().filter(|root| !tree.is_null(*root)) {
            Some(root) => {
                let settings =
                    decode_all(&tree, root, None, &mut out, |problem| problem, |source| Settings::deserialize(source));
                settings.unwrap_or_default()
            }
            None => Settings::default(),
        },
        Err(problem) => {
            out.problems.push(problem);
            Settings::default()
        }
    };
    settings::report(&mut settings, &mut out.problems);
    out.problems.truncate(MOST_ERRORS);
    (settings, out.problems)
}

/// Reads a score sheet that ships with the tool.
pub fn sheet(text: &str) -> Option<crate::sheet::Sheet> {
    yaml::shipped(text).ok()
}

/// Reads data that ships with the tool.
///
/// # Errors
/// The message of `serde_yaml`.
pub fn shipped<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, String> {
    yaml::shipped(text)
}

/// The position at the end of a route of keys; the start of a file that cannot be read.
pub fn locate<'a>(tree: Option<&Tree<'_>>, route: impl IntoIterator<Item = &'a str>, aim: Aim) -> Spot {
    tree.map_or(Spot::START, |tree| tree.locate(route, aim))
}

/// The position of a character of a scalar's text, found by following the text through the source: past the quote or the
/// block sign at its start, and past folded lines. The start of the scalar if text and source differ. `source` begins with the
/// line where the scalar starts.
pub fn within(source: &str, start: Spot, text: &str, offset: usize) -> Spot {
    let mut spot = start;
    let mut chars = source.lines().enumerate().flat_map(|(number, line)| {
        let skip = if number == 0 { start.column as usize - 1 } else { 0 };
        let line_number = start.line + number as u32;
        line.chars().chain(['\n']).enumerate().skip(skip).map(move |(at, c)| (c, line_number, at as u32 + 1))
    });
    let mut next = chars.next();
    if matches!(next, Some(('|' | '>', ..))) {
        next = chars.find(|(c, ..)| *c == '\n');
    } else if matches!(next, Some(('"' | '\'', ..))) {
        next = chars.next();
    }
    let blank = |c: char| c.is_whitespace();
    for (at, wanted) in text.chars().enumerate() {
        if !blank(wanted) {
            while next.is_some_and(|(c, ..)| blank(c)) {
                next = chars.next();
            }
        }
        let Some((c, line, column)) = next else { return start };
        if at == offset {
            spot = Spot { line, column };
            break;
        }
        if blank(wanted) && blank(c) {
            next = chars.next();
        } else if c == wanted {
            next = chars.next();
            spot = Spot { line, column: column + 1 };
        } else {
            return start;
        }
    }
    spot
}

/// The tree of a file, for positions; `None` if it cannot be read.
pub fn places(bytes: &[u8]) -> Option<Tree<'_>> {
    let text = text(bytes).ok()?;
    Some(yaml::tree(text).ok()?.skip(bytes.len() - text.len()))
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod range_tests;
