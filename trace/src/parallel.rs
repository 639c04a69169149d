//! The same work on several threads: its results do not depend on their number.

pub(crate) use models::parallel::{both, cores, in_parallel};

/// From this number of records on, evaluating them takes much longer than starting a thread.
pub(crate) const MANY_RECORDS: usize = 1_000;

/// Does some work on another thread while this one does something else. If no thread can be started, the work is not
/// done: it is for results that are also evaluated when they are first asked for.
pub(crate) fn during<T>(work: impl FnOnce() + Send, own: impl FnOnce() -> T) -> T {
    std::thread::scope(|scope| {
        let _ = std::thread::Builder::new().spawn_scoped(scope, work);
        own()
    })
}
