//! Errors of models: invalid inputs, or a car that cannot do what is calculated.

use std::fmt;

/// Why a model has no result. Every variant names the input or the physics, so that it can be shown to the user directly.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum ModelError {
    /// A required input is missing.
    Missing {
        /// The input.
        input: &'static str,
        /// When it is required, or what can be used instead.
        hint: &'static str,
    },
    /// The model has no input with this name, or it has another kind.
    Unknown {
        /// The model.
        model: &'static str,
        /// The unknown name.
        input: String,
    },
    /// Two inputs exclude each other, or one has no effect without another.
    Conflict {
        /// The input to remove.
        input: &'static str,
        /// Why.
        reason: &'static str,
    },
    /// A number outside the valid range of the model.
    OutOfRange {
        /// The input.
        input: &'static str,
        /// The value; can be NaN.
        value: f64,
        /// What it must be.
        must: &'static str,
    },
    /// An invalid row of a table or entry of a list.
    WrongRow {
        /// The table or list.
        input: &'static str,
        /// Counted from 1; 0 for the whole table.
        row: usize,
        /// What is wrong.
        problem: &'static str,
    },
    /// Grip increases with speed at least as fast as the force that is needed: there is no finite limit.
    NoFiniteLimit {
        /// What has no limit.
        what: &'static str,
    },
    /// The car stops, or does not start, before the end of the distance.
    Stuck {
        /// The distance from the start, m.
        at: f64,
    },
    /// The start speed of an open lap is too high for the track that follows.
    StartTooFast {
        /// The start speed, m/s.
        start: f64,
        /// The highest possible start speed, m/s.
        limit: f64,
    },
    /// The numbers are so extreme that the calculation does not converge or overflows.
    NotComputable,
}

impl fmt::Display for ModelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Missing { input, hint } => write!(f, "`{input}` is missing: {hint}"),
            Self::Unknown { model, input } => write!(f, "the model `{model}` has no input `{input}`"),
            Self::Conflict { input, reason } => write!(f, "`{input}` must not be set: {reason}"),
            Self::OutOfRange { input, value, must } => write!(f, "`{input}` must be {must}, not {}", short(*value)),
            Self::WrongRow { input, row: 0, problem } => write!(f, "`{input}`: {problem}"),
            Self::WrongRow { input, row, problem } => write!(f, "`{input}`, row {row}: {problem}"),
            Self::NoFiniteLimit { what } => {
                write!(f, "{what} has no finite limit: grip increases with speed as fast as the force that is needed")
            }
            Self::Stuck { at } => write!(f, "the car stops at {at:.3} m: the driving force is below the resistance"),
            Self::StartTooFast { start, limit } => {
                write!(
                    f,
                    "the start speed of {start:.3} m/s is too high for the track that follows: the highest possible is {limit:.3} m/s"
                )
            }
            Self::NotComputable => f.write_str("the inputs are too extreme: the calculation does not converge"),
        }
    }
}

impl std::error::Error for ModelError {}

/// A number with four significant digits, without zeros at the end; with an exponent if it is very large or very small.
fn short(value: f64) -> String {
    let size = value.abs();
    if value == 0.0 || !value.is_finite() {
        return value.to_string();
    }
    let without_zeros = |text: &str| match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text.to_owned(),
    };
    if !(1e-4..1e9).contains(&size) {
        let text = format!("{value:.3e}");
        let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}e{power}", without_zeros(digits));
    }
    let decimals = (3 - size.log10().floor() as i32).max(0) as usize;
    without_zeros(&format!("{value:.decimals$}"))
}

/// Checks of single inputs.
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

    pub(crate) fn be_a_part(input: &'static str, value: f64) -> Checked {
        check(input, value, (0.0..=1.0).contains(&value), "from 0 to 1")
    }

    pub(crate) fn check(input: &'static str, value: f64, fine: bool, must: &'static str) -> Checked {
        if fine && value.is_finite() { Ok(value) } else { Err(ModelError::OutOfRange { input, value, must }) }
    }

    /// Rejects a result that is not finite.
    pub(crate) fn be_computable(value: f64) -> Checked {
        if value.is_finite() { Ok(value) } else { Err(ModelError::NotComputable) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_messages_are_short() {
        let numbers = [(0.65e-6 / 3.6, "1.806e-7"), (-0.25, "-0.25"), (0.0, "0"), (1234.5678, "1235"), (2e12, "2e12")];
        for (value, text) in numbers {
            assert_eq!(short(value), text);
        }
    }
}
