//! Problems of a file, with messages.

use foldhash::{HashSet, HashSetExt as _};

use super::decode::ErrorKind;
use super::tree::{Content, NodeId, Tree};
use super::{LARGEST_FILE, Spot, likely};
use crate::records::Kind;
use crate::renamed;
use crate::suggest;
use crate::words::shorten;

/// The kind of a problem; each kind is reported by its own check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ProblemKind {
    /// The file is not valid YAML, or not a map of records.
    Unreadable,
    /// The file has conflict markers of a merge.
    Conflict,
    /// A key that the map does not have.
    UnknownKey,
    /// A key that appears twice.
    DuplicateKey,
    /// An id that appears twice.
    DuplicateId,
    /// A missing required key.
    MissingKey,
    /// A value of the wrong type or format.
    BadValue,
}

/// A problem in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The kind.
    pub kind: ProblemKind,
    /// The id of the record, if it is in one.
    pub record: Option<String>,
    /// The keys from the top of the file to the problem: kind, id, and the keys of the record.
    pub route: Vec<String>,
    /// The position; if it is missing, it is found by the route.
    pub spot: Option<Spot>,
    /// The message.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

impl Problem {
    pub(super) fn new(kind: ProblemKind, spot: Option<Spot>, message: impl Into<String>, help: &str) -> Self {
        Self { kind, record: None, route: Vec::new(), spot, message: message.into(), help: help.to_owned() }
    }

    pub(super) fn unreadable(spot: Spot, message: &str, help: &str) -> Self {
        Self::new(ProblemKind::Unreadable, Some(spot), message, help)
    }

    /// A file that is too large to be read.
    pub fn too_large(bytes: u64) -> Self {
        let help = "split it, or list it under `ignore:` in tierod.yaml";
        Self { help: help.to_owned(), ..Self::above_limit(bytes, LARGEST_FILE) }
    }

    /// A file next to the records that is larger than its limit.
    pub fn above_limit(bytes: u64, most: u64) -> Self {
        let mib = |bytes: u64| bytes as f64 / (1024.0 * 1024.0);
        let message = format!("the file has {:.1} MiB; the limit is {:.0} MiB", mib(bytes), mib(most));
        Self::unreadable(Spot::START, &message, "use a smaller file")
    }

    /// An existing file that cannot be opened, or that is not a regular file.
    pub fn cannot_open(message: &str, help: &str) -> Self {
        Self::unreadable(Spot::START, message, help)
    }

    pub(super) fn on(mut self, top: &str, route: &[&str]) -> Self {
        self.route = std::iter::once(top).chain(route.iter().copied()).map(str::to_owned).collect();
        self
    }

    pub(super) fn on_record(mut self, kind: Kind, id: &str, route: &[&str]) -> Self {
        self.record = Some(id.to_owned());
        let top = [kind.plural(), id];
        self.route = top.iter().chain(route).map(|s| (*s).to_owned()).collect();
        self
    }

    pub(super) fn below(mut self, route: &[String]) -> Self {
        self.route.extend(route.iter().cloned());
        self
    }
}

pub(super) fn unknown_kind(name: &str, spot: Spot) -> Problem {
    let kinds = || Kind::ALL.iter().map(|kind| kind.plural());
    let near =
        suggest::nearest(name, kinds()).or_else(|| kinds().find(|plural| plural.strip_suffix('s') == Some(name)));
    let help = match near {
        Some(kind) => format!("did you mean `{kind}`?"),
        None => format!("a record file contains {}", suggest::any_of(kinds())),
    };
    let message = format!("unknown record kind `{}`", shorten(name));
    Problem::new(ProblemKind::UnknownKey, Some(spot), message, &help).on(&shorten(name), &[])
}

/// Reports every key that appears twice in a map of the subtree, and omits the later one.
pub(super) fn duplicate_keys(
    tree: &Tree<'_>,
    node: NodeId,
    left_out: &mut HashSet<NodeId>,
    report: &mut impl FnMut(Problem, Vec<String>),
) {
    fn walk(
        tree: &Tree<'_>,
        node: NodeId,
        route: &mut Vec<String>,
        left_out: &mut HashSet<NodeId>,
        visited: &mut HashSet<NodeId>,
        report: &mut impl FnMut(Problem, Vec<String>),
    ) {
        // An alias refers to this node again; each problem is reported once.
        if !visited.insert(node) {
            return;
        }
        match tree.content(node) {
            Content::Scalar { .. } => {}
            Content::List(items) => {
                for item in items {
                    walk(tree, *item, route, left_out, visited, report);
                }
            }
            Content::Map(entries) => {
                let mut seen = HashSet::new();
                for &[key, value] in entries {
                    let name = tree.text(key);
                    route.push(shorten(name.unwrap_or("?")));
                    if name.is_some_and(|name| !seen.insert(name)) {
                        let message = format!("`{}` appears twice", shorten(name.unwrap_or("")));
                        let help = "keep one of them";
                        let problem = Problem::new(ProblemKind::DuplicateKey, Some(tree.spot(key)), message, help);
                        report(problem, route.clone());
                        left_out.insert(key);
                    } else {
                        walk(tree, value, route, left_out, visited, report);
                    }
                    route.pop();
                }
            }
        }
    }
    walk(tree, node, &mut Vec::new(), left_out, &mut HashSet::new(), report);
}

/// The route of keys from a node down to another one, which may be a key or a value.
fn route_to(tree: &Tree<'_>, from: NodeId, to: NodeId) -> Option<Vec<String>> {
    /// Collects the steps from the last to the first.
    fn walk(tree: &Tree<'_>, at: NodeId, to: NodeId, route: &mut Vec<String>, visited: &mut HashSet<NodeId>) -> bool {
        if at == to {
            return true;
        }
        if tree.is_scalar(at) || !visited.insert(at) {
            return false;
        }
        let step = |node: NodeId| shorten(tree.text(node).unwrap_or("?"));
        match tree.content(at) {
            Content::Scalar { .. } => false,
            Content::List(items) => items.iter().any(|item| {
                let found = walk(tree, *item, to, route, visited);
                if found && tree.is_scalar(*item) {
                    route.push(step(*item));
                }
                found
            }),
            Content::Map(entries) => entries.iter().any(|&[key, value]| {
                let found = key == to || walk(tree, value, to, route, visited);
                if found {
                    route.push(step(key));
                }
                found
            }),
        }
    }
    let mut route = Vec::new();
    let found = walk(tree, from, to, &mut route, &mut HashSet::new());
    route.reverse();
    found.then_some(route)
}

/// The message of a decoding error; `None` if it only follows from one that is reported already.
pub(super) fn of_decoding(
    tree: &Tree<'_>,
    record: NodeId,
    of: Option<Kind>,
    at: NodeId,
    kind: ErrorKind,
    left_out: &HashSet<NodeId>,
) -> Option<(Problem, Vec<String>)> {
    let mut route = route_to(tree, record, at).unwrap_or_default();
    let spot = Some(tree.spot(at));
    if let (ErrorKind::UnknownKey { .. } | ErrorKind::Other(_), Some((message, help))) =
        (&kind, likely::begun_by_comma(tree, at))
    {
        let kind = if matches!(kind, ErrorKind::Other(_)) { ProblemKind::BadValue } else { ProblemKind::UnknownKey };
        return Some((Problem::new(kind, spot, message, &help), route));
    }
    let problem = match kind {
        ErrorKind::UnknownKey { key, known } => {
            let renamed = of.filter(|_| route.len() <= 1).map(renamed::Use::Key);
            if let Some((message, new)) = renamed.and_then(|place| renamed::notice(place, &key)) {
                let help = format!("use `{new}`");
                return Some((Problem::new(ProblemKind::UnknownKey, spot, message, &help), route));
            }
            let otherwise = format!("the keys here are {}", suggest::any_of(known.iter().copied()));
            let help = match key.as_str() {
                "<<" => "merge keys are not supported: write the keys in each record".to_owned(),
                _ => suggest::did_you_mean(&key, known.iter().copied(), &otherwise),
            };
            Problem::new(ProblemKind::UnknownKey, spot, format!("unknown key `{}`", shorten(&key)), &help)
        }
        ErrorKind::UnknownWord { word, known } => {
            let list = suggest::any_of(known.iter().copied());
            let help = suggest::did_you_mean(&word, known.iter().copied(), "use one of these words");
            Problem::new(ProblemKind::BadValue, spot, format!("`{}` is not {list}", shorten(&word)), &help)
        }
        ErrorKind::MissingKey(key) => {
            let lost = tree.entry(at, key).is_some_and(|nodes| nodes.iter().any(|node| left_out.contains(node)));
            if lost {
                return None;
            }
            route.push(key.to_owned());
            let help = format!("add `{key}:` here");
            Problem::new(ProblemKind::MissingKey, spot, format!("`{key}` is missing"), &help)
        }
        ErrorKind::WrongType { found, expected } => {
            let expected = plain_words(&expected);
            let list = (expected == "a list").then(|| as_list(tree.text(at)?, route.last()?)).flatten();
            let help = list.map_or_else(|| format!("use {expected}"), |line| format!("write `{line}`"));
            Problem::new(ProblemKind::BadValue, spot, format!("expected {expected}, found {found}"), &help)
        }
        ErrorKind::Other(message) => {
            let (message, help) = message_and_help(message);
            Problem::new(ProblemKind::BadValue, spot, message, &help)
        }
    };
    Some((problem, route))
}

/// The line to type for a single text where a list is expected; `None` if the text is too long for a message.
fn as_list(text: &str, key: &str) -> Option<String> {
    // Inside of brackets, these would end the text or begin something else.
    let is_plain = !text.contains(['[', ']', '{', '}', '"', '\'', '#', '\\'])
        && !text.contains(": ")
        && !text.starts_with(['&', '*', '!', '|', '>', '%', '@', '`', '-', '?', ':']);
    let item = if is_plain { text.to_owned() } else { format!("{text:?}") };
    (shorten(&item) == item).then(|| format!("{key}: [{item}]"))
}

/// The parts of a message of this crate before and after the first colon: what is wrong, and how to fix it.
pub(super) fn message_and_help(message: String) -> (String, String) {
    match message.split_once(": ") {
        Some((what, how)) => (what.to_owned(), how.to_owned()),
        None => (message, "fix the value".to_owned()),
    }
}

/// The names of types in serde, in plain words.
fn plain_words(expected: &str) -> String {
    match expected {
        "a boolean" => "true or false",
        "a string" => "a text",
        "a sequence" => "a list",
        // Counts and places; a year is the only shorter number.
        "u32" => "a whole number of at least 1",
        "u16" | "u64" => "a whole number",
        _ if expected.starts_with("struct ") => "a map of keys",
        _ if expected.starts_with("tuple ") => "a list",
        other => other,
    }
    .to_owned()
}
