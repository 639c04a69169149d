//! The shape of every JSON answer, declared once.
//!
//! `tierod schema ANSWER` prints the JSON Schema built from these tables, and `docs/json.md` is generated from them.
//! A test validates the real answers, so a key that is added to an answer must be added here.

mod causes;
mod chain;
mod compare;
#[cfg(test)]
mod docs;
mod edit;
mod findings;
mod history;
mod import;
mod json_schema;
mod numbers;
mod review;
mod season;
mod shared;
mod written;

pub(crate) use chain::{EXPLAIN, GRAPH, WHY};
pub(crate) use compare::COMPARE;
pub(crate) use edit::EDIT;
pub(crate) use findings::{CHECK, DELTA, DELTA_CONTEXT};
pub(crate) use history::HISTORY;
pub(crate) use import::IMPORT;
pub(crate) use json_schema::of_answer;
pub(crate) use numbers::{BUDGET, POINTS, VALUES, WORTH};
pub(crate) use review::AUDIT_BRIEF;
pub(crate) use season::{AUDIT, AUDIT_CONTEXT};
pub(crate) use written::{ADD, EXPORT};

/// One JSON answer.
pub(crate) struct Answer {
    /// Its name for `tierod schema`.
    pub(crate) name: &'static str,
    /// The command that prints it.
    pub(crate) command: &'static str,
    /// What it contains, in one or two sentences.
    pub(crate) summary: &'static str,
    /// The keys of the answer: one list, or one per variant with its title.
    variants: &'static [(&'static str, Keys)],
}

/// All answers.
pub(crate) const ALL: [&Answer; 19] = [
    &CHECK,
    &DELTA,
    &DELTA_CONTEXT,
    &GRAPH,
    &WHY,
    &VALUES,
    &POINTS,
    &BUDGET,
    &WORTH,
    &COMPARE,
    &HISTORY,
    &AUDIT,
    &AUDIT_CONTEXT,
    &AUDIT_BRIEF,
    &EXPLAIN,
    &EDIT,
    &IMPORT,
    &ADD,
    &EXPORT,
];

/// The keys of an object, in groups that several objects can share.
type Keys = &'static [&'static [Key]];

/// A key of an object.
struct Key {
    name: &'static str,
    shape: Shape,
    /// The unit of its numbers; empty if it has none.
    unit: &'static str,
    meaning: &'static str,
    optional: bool,
}

/// The type of a value.
enum Shape {
    Text,
    Number,
    Integer,
    Flag,
    /// A day of the calendar, as in `2027-03-19`.
    Date,
    /// The number 1: the version of the answer.
    Version,
    /// One of the given words.
    Words(&'static [&'static str]),
    List(&'static Shape),
    /// A list of exactly two values.
    Pair(&'static Shape),
    /// An object whose keys are ids or names.
    Map(&'static Shape),
    OrNull(&'static Shape),
    Object(Keys),
    Named(&'static Named),
}

/// An object that several answers contain.
struct Named {
    name: &'static str,
    summary: &'static str,
    keys: Keys,
}

/// A key without a unit.
const fn key(name: &'static str, shape: Shape, meaning: &'static str) -> Key {
    Key { name, shape, unit: "", meaning, optional: false }
}

/// A key with a number in a unit.
const fn measure(name: &'static str, shape: Shape, unit: &'static str, meaning: &'static str) -> Key {
    Key { name, shape, unit, meaning, optional: false }
}

impl Key {
    /// The same key, which may be missing.
    const fn optional(mut self) -> Self {
        self.optional = true;
        self
    }
}

const VERSION: Key = key("version", Shape::Version, "version of the answer");
const TEXT_OR_NULL: Shape = Shape::OrNull(&Shape::Text);
const NUMBER_OR_NULL: Shape = Shape::OrNull(&Shape::Number);
const TEXTS: Shape = Shape::List(&Shape::Text);
