//! Errors that stop a command. They are shown as message, cause and fix; the exit status is 2.

use std::fmt;

use crate::git::GitError;

/// An error with its cause and how to fix it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Error {
    /// What failed.
    pub message: String,
    /// Why it failed, often the message of another program or library.
    pub cause: Option<String>,
    /// How to fix it.
    pub help: Option<String>,
    /// The error of git, if it came from git. Code decides on its kind, never on the texts.
    pub git: Option<Box<GitError>>,
}

impl Error {
    /// An error with a message only.
    pub fn new(message: impl Into<String>) -> Self {
        Self { message: message.into(), cause: None, help: None, git: None }
    }

    /// Adds the cause.
    #[must_use]
    pub fn because(mut self, cause: impl fmt::Display) -> Self {
        self.cause = Some(cause.to_string().trim().to_owned());
        self
    }

    /// Adds the fix.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }
}

impl From<GitError> for Error {
    fn from(error: GitError) -> Self {
        Self { message: error.message(), cause: error.cause(), help: error.hint(), git: Some(Box::new(error)) }
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
