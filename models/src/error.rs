//! What can be wrong with a model's inputs, or with the car that they describe.

use std::fmt;

/// Why a model has no answer. Every variant names the input or the physics, so that it can be shown as it is.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum ModelError {
    /// An input that this run needs was not given.
    Missing {
        /// The input.
        input: &'static str,
        /// When it is needed, or what may stand in its place.
        hint: &'static str,
    },
    /// The model has no input of this name (or not of this kind).
    Unknown {
        /// The model.
        model: &'static str,
        /// The name that was given.
        input: String,
    },
    /// Two inputs exclude one another, or one has no effect without another.
    Conflict {
        /// The input that should go.
        input: &'static str,
        /// Why.
        reason: &'static str,
    },
    /// A number outside the range in which the model holds.
    OutOfRange {
        /// The input.
        input: &'static str,
        /// What was given; may be NaN.
        value: f64,
        /// What it must be.
        must: &'static str,
    },
    /// A wrong row of a table or entry of a list.
    WrongRow {
        /// The table or list.
        input: &'static str,
        /// Counted from 1; 0 speaks of the whole table.
        row: usize,
        /// What is wrong.
        problem: &'static str,
    },
    /// The grip grows with speed as fast as the need for it: there is no finite limit.
    NoFiniteLimit {
        /// What has no limit.
        what: &'static str,
    },
    /// The car comes to rest, or does not start, before it is there.
    Stuck {
        /// Where, from the start, in metres.
        at: f64,
    },
    /// An open lap that starts faster than the car can be going there.
    StartTooFast {
        /// The start speed that was given, m/s.
        start: f64,
        /// The highest one that is possible, m/s.
        limit: f64,
    },
    /// The numbers are so extreme that the calculation does not end or leaves the range of floating point.
    NotComputable,
}

impl fmt::Display for ModelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { input, hint } => write!(f, "`{input}` is missing: {hint}"),
            Self::Unknown { model, input } => write!(f, "the model `{model}` has no such input: `{input}`"),
            Self::Conflict { input, reason } => write!(f, "`{input}` should not be given: {reason}"),
            Self::OutOfRange { input, value, must } => write!(f, "`{input}` must be {must}, not {value}"),
            Self::WrongRow { input, row: 0, problem } => write!(f, "`{input}`: {problem}"),
            Self::WrongRow { input, row, problem } => write!(f, "`{input}`, row {row}: {problem}"),
            Self::NoFiniteLimit { what } => {
                write!(f, "{what} has no finite limit: grip grows with speed as fast as the need for it")
            }
            Self::Stuck { at } => write!(f, "the car does not move on at {at:.3} m: the drive is below the resistance"),
            Self::StartTooFast { start, limit } => {
                write!(f, "a start at {start} m/s is too fast for what follows; {limit:.3} m/s is the most")
            }
            Self::NotComputable => f.write_str("the inputs are too extreme for the calculation to end"),
        }
    }
}

impl std::error::Error for ModelError {}

/// The checks of single inputs.
pub(crate) mod must {
    use super::ModelError;

    type Checked = Result<f64, ModelError>;

    pub(crate) fn be_positive(input: &'static str, value: f64) -> Checked {
        check(input, value, value > 0.0, "above zero and finite")
    }

    pub(crate) fn not_be_negative(input: &'static str, value: f64) -> Checked {
        check(input, value, value >= 0.0, "zero or more, and finite")
    }

    pub(crate) fn be_finite(input: &'static str, value: f64) -> Checked {
        check(input, value, true, "finite")
    }

    pub(crate) fn be_a_share(input: &'static str, value: f64) -> Checked {
        check(input, value, value > 0.0 && value <= 1.0, "above 0 and at most 1")
    }

    pub(crate) fn check(input: &'static str, value: f64, fine: bool, must: &'static str) -> Checked {
        if fine && value.is_finite() { Ok(value) } else { Err(ModelError::OutOfRange { input, value, must }) }
    }

    /// An answer that left the range of floating point is no answer.
    pub(crate) fn be_computable(value: f64) -> Checked {
        if value.is_finite() { Ok(value) } else { Err(ModelError::NotComputable) }
    }
}
