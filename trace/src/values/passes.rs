//! How often all values may be looked at, for questions that many records ask.

use super::Values;

/// The largest number of values that are looked at.
const MOST_VALUES: usize = 100_000_000;

/// The number of passes over all values that are left.
pub(crate) struct Passes(usize);

impl Passes {
    /// As many as a project of this size may have.
    pub(crate) fn new(values: &Values) -> Self {
        Self(MOST_VALUES / values.network.nodes.len().max(1))
    }

    /// Takes one; `None` if none is left.
    pub(crate) fn take(&mut self) -> Option<()> {
        self.0 = self.0.checked_sub(1)?;
        Some(())
    }
}
