//! What is wrong with formulas, units and models: told at the key, and at the character of its text.

use crate::ids::RecordId;

/// The kinds of thing that can be wrong; each goes to the check of its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueProblemKind {
    /// Dimensions do not fit.
    Unit,
    /// Values that need one another.
    Cycle,
    /// A name that leads nowhere.
    Reference,
    /// A formula, a table or a model's input that cannot be read, or a model without an answer.
    Bad,
    /// More than one thing gives the value of a target.
    Twice,
}

/// Something wrong with a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ValueProblem {
    /// What kind of thing.
    pub kind: ValueProblemKind,
    /// The record.
    pub record: RecordId,
    /// The keys below it.
    pub route: Vec<String>,
    /// The character of the text, counted from 0.
    pub offset: usize,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}
