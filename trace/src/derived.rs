//! What follows from something else and is calculated when it is first asked for.

use std::sync::OnceLock;

/// An index, a key or another value that follows from what it is kept with.
#[derive(Debug)]
pub(crate) struct Derived<T>(OnceLock<T>);

impl<T> Derived<T> {
    /// The value, made once.
    pub(crate) fn get_or_init(&self, make: impl FnOnce() -> T) -> &T {
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
