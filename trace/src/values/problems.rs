//! Problems of formulas, units and models, with the key and the character of its text.

use crate::ids::RecordId;

/// The kind of a problem, which determines the check that reports it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ValueProblemKind {
    /// Units do not match.
    Unit,
    /// Values that depend on each other.
    Cycle,
    /// An unknown name.
    Reference,
    /// An invalid formula, table or input of a model, or a model without a result.
    Bad,
    /// More than one source of the value of a target.
    Twice,
    /// A formula, a model or a total that has no number although everything that it reads has one.
    Number,
}

/// A problem of a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ValueProblem {
    /// The kind.
    pub kind: ValueProblemKind,
    /// The record.
    pub record: RecordId,
    /// The keys below it.
    pub route: Vec<String>,
    /// The position in the text, in characters from 0.
    pub offset: usize,
    /// The id or amount that was not found, if that is the problem; empty for an amount.
    pub missing: Option<String>,
    /// The message.
    pub message: String,
    /// How to fix it.
    pub help: String,
}
