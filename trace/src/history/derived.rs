//! What follows from a history and is calculated when it is first asked for.

use std::sync::OnceLock;

/// An index of something.
#[derive(Debug)]
pub(super) struct Derived<T>(OnceLock<T>);

impl<T> Derived<T> {
    /// The index, made once.
    pub(super) fn get_or_init(&self, make: impl FnOnce() -> T) -> &T {
        self.0.get_or_init(make)
    }
}

impl<T> Default for Derived<T> {
    fn default() -> Self {
        Self(OnceLock::new())
    }
}

// It follows from the rest, so that it is no part of what is compared, and a copy may get other contents.
impl<T> Clone for Derived<T> {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl<T> PartialEq for Derived<T> {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl<T> Eq for Derived<T> {}
