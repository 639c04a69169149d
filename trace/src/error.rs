//! What keeps the tool from doing its work: told as error, cause and cure, and ended with status 2.

use std::fmt;

/// An error with its cause and what to do about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Error {
    /// What could not be done.
    pub message: String,
    /// Why, in the words of whoever said so.
    pub cause: Option<String>,
    /// What cures it.
    pub help: Option<String>,
}

impl Error {
    /// An error without a cause of its own.
    pub fn new(message: impl Into<String>) -> Self {
        Self { message: message.into(), cause: None, help: None }
    }

    /// Adds the cause.
    #[must_use]
    pub fn because(mut self, cause: impl fmt::Display) -> Self {
        self.cause = Some(cause.to_string().trim().to_owned());
        self
    }

    /// Adds the cure.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)?;
        if let Some(cause) = &self.cause {
            write!(f, ": {cause}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {}
