//! Edits of a record file or the settings that change only their lines.
//!
//! An edit replaces or inserts text at the ranges that the reader found. Comments, quotes, flow and block style, the order,
//! line ends, a byte order mark and every other byte stay. The result is read again and compared with the values that were
//! there and the intended change: an edit that would do anything else is refused, so none is written by mistake.
//!
//! ```
//! use schema::Kind;
//! use schema::edit::{Change, Value, edit};
//!
//! let file = "parts:\n  front-upright:   # left and right\n    in: suspension\n    amounts: {mass: 0.62 kg}\n";
//! let at = ["parts", "front-upright", "amounts", "mass"];
//! let changes = [
//!     Change::set(at, Value::typed("0.61 kg")),
//!     Change::add_record(Kind::Part, "rear-upright", [("in", Value::typed("suspension"))]),
//! ];
//! assert_eq!(
//!     edit(file, &changes).unwrap(),
//!     "parts:\n  front-upright:   # left and right\n    in: suspension\n    amounts: {mass: 0.61 kg}\n  \
//!      rear-upright:\n    in: suspension\n"
//! );
//! ```

mod find;
mod insert;
mod model;
mod names;
mod pairs;
mod remove;
mod replace;
mod value;

use std::collections::BTreeMap;
use std::fmt;
use std::ops::Range;

use crate::read::tree::Tree;
use crate::read::{LARGEST_FILE, Problem};
use crate::records::Kind;
use crate::words::shorten;
use model::Model;
pub use names::mentions;
pub use value::Value;

/// The keys from the top of a file to a value: `parts`, `front-upright`, `amounts`, `mass`.
///
/// A step in a list is the text of an item or, if no item has this text, its number from 1.
pub type Route = Vec<String>;

/// One change of a file.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Change {
    /// Sets the value at the end of a route, whether it is there or not; missing maps on the way are added.
    Set {
        /// The route.
        at: Route,
        /// The new value.
        value: Value,
    },
    /// Adds a key or a record that is not there yet; otherwise like [`Change::Set`].
    Add {
        /// The route.
        at: Route,
        /// Its value.
        value: Value,
    },
    /// Adds an item at the end of a list, which is added if it is missing.
    Append {
        /// The route of the list.
        at: Route,
        /// The item.
        value: Value,
    },
    /// Removes a key with its value, a record, or an item of a list. Comments around it stay.
    Remove {
        /// The route.
        at: Route,
    },
    /// Gives a key another name: also the id of a record.
    RenameKey {
        /// The route.
        at: Route,
        /// The new name.
        to: String,
    },
    /// Replaces a name by another one wherever it is a whole word of a text: an id in a formula, an id that is the whole
    /// text, an item of a list. What follows a dot, as the amount of a part, stays.
    ReplaceName {
        /// The route of the text.
        at: Route,
        /// The name.
        from: String,
        /// The new name.
        to: String,
    },
}

impl Change {
    /// [`Change::Set`].
    pub fn set<S: Into<String>>(at: impl IntoIterator<Item = S>, value: Value) -> Self {
        Self::Set { at: route(at), value }
    }

    /// [`Change::Add`].
    pub fn add<S: Into<String>>(at: impl IntoIterator<Item = S>, value: Value) -> Self {
        Self::Add { at: route(at), value }
    }

    /// Adds a record with its keys, in their order, at the end of the records of its kind.
    pub fn add_record<S: Into<String>>(kind: Kind, id: &str, keys: impl IntoIterator<Item = (S, Value)>) -> Self {
        let keys = keys.into_iter().map(|(key, value)| (key.into(), value)).collect();
        Self::add([kind.plural(), id], Value::Map(keys))
    }

    /// [`Change::Append`].
    pub fn append<S: Into<String>>(at: impl IntoIterator<Item = S>, value: Value) -> Self {
        Self::Append { at: route(at), value }
    }

    /// [`Change::Remove`].
    pub fn remove<S: Into<String>>(at: impl IntoIterator<Item = S>) -> Self {
        Self::Remove { at: route(at) }
    }

    /// [`Change::RenameKey`].
    pub fn rename_key<S: Into<String>>(at: impl IntoIterator<Item = S>, to: &str) -> Self {
        Self::RenameKey { at: route(at), to: to.to_owned() }
    }

    /// [`Change::ReplaceName`].
    pub fn replace_name<S: Into<String>>(at: impl IntoIterator<Item = S>, from: &str, to: &str) -> Self {
        Self::ReplaceName { at: route(at), from: from.to_owned(), to: to.to_owned() }
    }
}

fn route<S: Into<String>>(at: impl IntoIterator<Item = S>) -> Route {
    at.into_iter().map(Into::into).collect()
}

/// Why an edit is refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EditError {
    /// The file cannot be read as it is.
    Unreadable(Box<Problem>),
    /// There is nothing at the end of a route.
    Missing(Route),
    /// There is something at the end of a route already.
    Exists(Route),
    /// The value at a route is not a map, so that it can have no keys.
    NoMap(Route),
    /// The value at a route is not a list, so that it can have no items.
    NoList(Route),
    /// The text at a route does not have the name in it.
    NoName(Route),
    /// The value is shared by an anchor and its aliases, or is written in a way that an edit cannot keep.
    ByHand(Route),
    /// The file would be larger than is read.
    TooLarge,
}

/// A route as it is typed: `front-upright.mass`.
fn shown(route: &[String]) -> String {
    shorten(&route.join("."))
}

impl fmt::Display for EditError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable(problem) => f.write_str(&problem.message),
            Self::Missing(at) => write!(f, "`{}` is missing", shown(at)),
            Self::Exists(at) => write!(f, "`{}` exists already", shown(at)),
            Self::NoMap(at) => write!(f, "`{}` is not a map of keys", shown(at)),
            Self::NoList(at) => write!(f, "`{}` is not a list", shown(at)),
            Self::NoName(at) => write!(f, "`{}` does not have the name in it", shown(at)),
            Self::ByHand(at) => write!(f, "`{}` cannot be edited without a change of something else", shown(at)),
            Self::TooLarge => write!(f, "the file would be larger than {} MiB", LARGEST_FILE >> 20),
        }
    }
}

impl std::error::Error for EditError {}

impl EditError {
    /// How to go on.
    pub fn help(&self) -> String {
        match self {
            Self::Unreadable(problem) => problem.help.clone(),
            Self::Missing(_) => "check the id and the keys".to_owned(),
            Self::Exists(_) => "use another name, or change the one that exists".to_owned(),
            Self::NoMap(_) => "set it to a map first, for example `{key: value}`".to_owned(),
            Self::NoList(_) => "set it to a list first, for example `[a, b]`".to_owned(),
            Self::NoName(_) => "check the name".to_owned(),
            Self::ByHand(_) => "edit the file by hand: its value may be shared by an alias (`*name`)".to_owned(),
            Self::TooLarge => "split the file".to_owned(),
        }
    }
}

/// A piece of the source that is replaced.
#[derive(Clone, Debug)]
struct Splice {
    range: Range<usize>,
    text: String,
}

impl Splice {
    fn new(range: Range<usize>, text: impl Into<String>) -> Self {
        Self { range, text: text.into() }
    }

    fn insert(at: usize, text: impl Into<String>) -> Self {
        Self::new(at..at, text)
    }
}

/// The ranges of pieces that have no bytes in common: the end of each, or of the longest one, by its start.
#[derive(Default)]
struct Ranges(BTreeMap<usize, usize>);

impl Ranges {
    /// Whether one of them has bytes in common with a range, or one is inside of the other.
    fn overlap(&self, Range { start, end }: Range<usize>) -> bool {
        let is_empty = start >= end;
        let begins_inside = !is_empty && self.0.range(start + 1..end).next().is_some();
        let last_before = if is_empty { self.0.range(..start) } else { self.0.range(..=start) }.next_back();
        begins_inside || last_before.is_some_and(|(_, last)| *last > start)
    }

    fn add(&mut self, range: &Range<usize>) {
        let end = self.0.entry(range.start).or_insert(range.end);
        *end = range.end.max(*end);
    }
}

/// Changes the text of a file.
///
/// # Errors
/// [`EditError`]; then nothing is changed.
pub fn edit(source: &str, changes: &[Change]) -> Result<String, EditError> {
    let text = read(source)?;
    let mark = &source[..source.len() - text.len()];
    let expected = {
        let mut model = Model::of(&tree_of(text)?);
        for change in changes {
            model.apply(change)?;
        }
        model
    };
    // All at once is fast; one after the other is right if one change builds on another.
    let mut result = Err(EditError::ByHand(Route::new()));
    for at_once in [true, false] {
        if at_once && changes.len() < 2 {
            continue;
        }
        result = attempt(text, changes, at_once).and_then(|edited| {
            let wrong = || EditError::ByHand(changes.first().map(|change| change.route().clone()).unwrap_or_default());
            let read = tree_of(read(&edited)?).map_err(|_| wrong())?;
            if expected.is_same(&Model::of(&read)) { Ok(format!("{mark}{edited}")) } else { Err(wrong()) }
        });
        if result.is_ok() {
            break;
        }
    }
    let edited = result?;
    if edited.len() as u64 > LARGEST_FILE { Err(EditError::TooLarge) } else { Ok(edited) }
}

/// The text of a file without its byte order mark.
fn read(source: &str) -> Result<&str, EditError> {
    crate::read::text(source.as_bytes()).map_err(|problem| EditError::Unreadable(Box::new(problem)))
}

fn tree_of(text: &str) -> Result<Tree<'_>, EditError> {
    crate::read::tree_of(text).map_err(|problem| EditError::Unreadable(Box::new(problem)))
}

/// The most bytes that are read for the changes of a file, each of which may need another reading.
const MOST_READ: usize = 1 << 30;

/// Makes the changes, as many as possible from one reading of the text.
fn attempt(text: &str, changes: &[Change], at_once: bool) -> Result<String, EditError> {
    let mut text = text.to_owned();
    let mut rest = changes;
    let mut left = MOST_READ;
    while !rest.is_empty() {
        left = left.checked_sub(text.len()).ok_or_else(|| EditError::ByHand(rest[0].route().clone()))?;
        let tree = tree_of(&text)?;
        let (mut splices, mut ranges): (Vec<Splice>, Ranges) = Default::default();
        let mut taken = 0;
        for change in rest {
            let own = match change.splices(&tree) {
                Ok(own) => own,
                Err(error) if taken == 0 => return Err(error),
                Err(_) => break,
            };
            if own.iter().any(|own| ranges.overlap(own.range.clone())) {
                break;
            }
            own.iter().for_each(|own| ranges.add(&own.range));
            splices.extend(own);
            taken += 1;
            if !at_once {
                break;
            }
        }
        text = spliced(&text, splices);
        rest = &rest[taken..];
    }
    Ok(text)
}

/// The text with pieces of it replaced.
fn spliced(text: &str, mut splices: Vec<Splice>) -> String {
    splices.sort_by_key(|splice| (splice.range.start, splice.range.end));
    let mut out = String::with_capacity(text.len() + splices.iter().map(|splice| splice.text.len()).sum::<usize>());
    let mut at = 0;
    for splice in splices {
        out.push_str(text.get(at..splice.range.start).unwrap_or(""));
        out.push_str(&splice.text);
        at = splice.range.end.max(at);
    }
    out.push_str(text.get(at..).unwrap_or(""));
    out
}

impl Change {
    /// The route that it is about.
    pub fn route(&self) -> &Route {
        match self {
            Self::Set { at, .. }
            | Self::Add { at, .. }
            | Self::Append { at, .. }
            | Self::Remove { at }
            | Self::RenameKey { at, .. }
            | Self::ReplaceName { at, .. } => at,
        }
    }

    /// The pieces of the source to replace.
    fn splices(&self, tree: &Tree<'_>) -> Result<Vec<Splice>, EditError> {
        match self {
            Self::Set { at, value } | Self::Add { at, value } => replace::set(tree, at, value),
            Self::Append { at, value } => insert::append(tree, at, value),
            Self::Remove { at } => remove::remove(tree, at),
            Self::RenameKey { at, to } => names::rename_key(tree, at, to),
            Self::ReplaceName { at, from, to } => names::replace_name(tree, at, from, to),
        }
    }
}

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;
