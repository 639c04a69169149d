//! What is wrong with a text that is not a quantity.

use std::fmt;

/// The kinds of error that decide about more than a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum QuantityErrorKind {
    /// Two numbers with an operator between them.
    Calculation,
    /// A name that is not a unit.
    UnknownUnit,
    /// Any other.
    Other,
}

/// What is wrong with a text that is not a quantity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QuantityError {
    /// The kind of error.
    pub kind: QuantityErrorKind,
    /// What is wrong, and after a colon how to fix it.
    text: String,
}

impl QuantityError {
    pub(super) fn new(kind: QuantityErrorKind, text: String) -> Self {
        Self { kind, text }
    }

    /// What is wrong, and how to fix it.
    pub fn parts(&self) -> Option<(&str, &str)> {
        self.text.split_once(": ")
    }
}

impl From<String> for QuantityError {
    fn from(text: String) -> Self {
        Self::new(QuantityErrorKind::Other, text)
    }
}

impl From<QuantityError> for String {
    fn from(error: QuantityError) -> Self {
        error.text
    }
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}
