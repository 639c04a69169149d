//! How many commits this process has read: what ends a command that takes too long allows more time for a long history.

use std::sync::atomic::{AtomicU64, Ordering};

/// The bits of an id that are looked at.
const LENGTH: usize = 24;

/// Different commits.
struct Commits {
    /// A bit for each by the beginning of its id, so that one that is read again does not count again. Two commits with one
    /// bit count once: of 100,000 commits some hundred do.
    bits: [AtomicU64; 1 << (LENGTH - 6)],
    number: AtomicU64,
}

static OF_PROCESS: Commits = Commits::new();

impl Commits {
    const fn new() -> Self {
        Self { bits: [const { AtomicU64::new(0) }; 1 << (LENGTH - 6)], number: AtomicU64::new(0) }
    }

    fn add(&self, id: &str) {
        let start = id.get(..LENGTH / 4).and_then(|start| usize::from_str_radix(start, 16).ok()).unwrap_or(0);
        let bit = 1 << (start % 64);
        if self.bits[start / 64].fetch_or(bit, Ordering::Relaxed) & bit == 0 {
            self.number.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn forget(&self) {
        self.number.store(0, Ordering::Relaxed);
        self.bits.iter().for_each(|bits| bits.store(0, Ordering::Relaxed));
    }
}

/// The number of different commits that were read so far.
pub fn commits_read() -> u64 {
    OF_PROCESS.number.load(Ordering::Relaxed)
}

/// Begins to count again.
pub fn count_commits_again() {
    OF_PROCESS.forget();
}

/// Counts one more, given its id.
pub(crate) fn count_commit(id: &str) {
    OF_PROCESS.add(id);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_commit_counts_once() {
        static SOME: Commits = Commits::new();
        let number = || SOME.number.load(Ordering::Relaxed);
        let ids = [format!("{:040x}", 1), format!("{}{}", "f".repeat(6), "0".repeat(34)), "e".repeat(64)];
        for id in ids.iter().chain(&ids) {
            SOME.add(id);
        }
        assert_eq!(number(), 3);
        SOME.forget();
        SOME.add(&ids[1]);
        assert_eq!(number(), 1);
    }
}
