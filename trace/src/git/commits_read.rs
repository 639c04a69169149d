//! How many commits this process has read: what ends a command that takes too long allows more time for a long history.

use std::sync::atomic::{AtomicU64, Ordering};

static OF_PROCESS: AtomicU64 = AtomicU64::new(0);

/// The number of commits that were read so far; one that is read again counts again.
pub fn commits_read() -> u64 {
    OF_PROCESS.load(Ordering::Relaxed)
}

/// Counts one more.
pub(super) fn count_commit() {
    OF_PROCESS.fetch_add(1, Ordering::Relaxed);
}
