//! Why a stress file cannot be used.

use std::fmt;

/// Why a stress file cannot be used, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StressError {
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

impl StressError {
    pub(super) fn new(message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { message: message.into(), help: help.into() }
    }

    /// A file that does not have the form of its format.
    pub(super) fn damaged(message: impl Into<String>) -> Self {
        Self::new(message, "export the file again; it may be cut off or damaged")
    }

    /// No field of this name.
    pub(super) fn no_field(what: &str, name: &str, known: &[impl AsRef<str>]) -> Self {
        const MOST: usize = 20;
        let mut list: Vec<String> = known.iter().take(MOST).map(|name| format!("`{}`", short(name.as_ref()))).collect();
        if known.len() > MOST {
            list.push(format!("{} more", known.len() - MOST));
        }
        let help = match list.is_empty() {
            true => format!("the file has no {what}s at all: export the stress with the mesh"),
            false => format!("its {what}s are {}", list.join(", ")),
        };
        Self::new(format!("the file has no {what} `{}`", short(name)), help)
    }

    /// More of something than the limit.
    pub(super) fn too_many(what: &str, count: usize, most: usize) -> Self {
        Self::new(format!("{count} {what}; the limit is {most}"), "use a coarser mesh, or export only this part")
    }
}

impl fmt::Display for StressError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for StressError {}

/// A name of the file, shortened for a message.
pub(super) fn short(name: &str) -> String {
    const MOST: usize = 40;
    match name.char_indices().nth(MOST) {
        Some((end, _)) => format!("{}…", &name[..end]),
        None => name.to_owned(),
    }
}
