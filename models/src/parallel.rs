//! The same work on several threads: its results do not depend on their number.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

/// How many threads can run at the same time. The system is asked once: it reads several files to know it.
pub fn cores() -> usize {
    static CORES: OnceLock<usize> = OnceLock::new();
    *CORES.get_or_init(|| std::thread::available_parallelism().map_or(1, std::num::NonZero::get))
}

/// Does the same with every item, on several threads; the results are in the order of the items.
pub fn in_parallel<T: Sync, R: Send>(items: &[T], threads: usize, work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    if threads <= 1 || items.len() <= 1 {
        return items.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let worker = || {
        let mut done = Vec::new();
        while let Some((index, item)) = {
            let index = next.fetch_add(1, Ordering::Relaxed);
            items.get(index).map(|item| (index, item))
        } {
            done.push((index, work(item)));
        }
        done
    };
    let mut all: Vec<(usize, R)> = std::thread::scope(|scope| {
        let others: Vec<_> = (1..threads.min(items.len()))
            .filter_map(|_| std::thread::Builder::new().spawn_scoped(scope, worker).ok())
            .collect();
        let mut all = worker();
        for other in others {
            match other.join() {
                Ok(done) => all.extend(done),
                Err(panic) => std::panic::resume_unwind(panic),
            }
        }
        all
    });
    all.sort_unstable_by_key(|(index, _)| *index);
    all.into_iter().map(|(_, result)| result).collect()
}

/// Does two things at the same time, the first one on another thread. If no thread can be started, it is done afterwards.
pub fn both<A: Send, B>(other: impl Fn() -> A + Sync, own: impl FnOnce() -> B) -> (A, B) {
    std::thread::scope(|scope| {
        let started = std::thread::Builder::new().spawn_scoped(scope, &other);
        let own = own();
        let other = match started.map(std::thread::ScopedJoinHandle::join) {
            Ok(Ok(done)) => done,
            Ok(Err(panic)) => std::panic::resume_unwind(panic),
            Err(_) => other(),
        };
        (other, own)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_in_a_thread_is_not_lost() {
        let items: Vec<usize> = (0..100).collect();
        let work = |item: &usize| assert_ne!(*item, 77);
        assert!(std::panic::catch_unwind(|| in_parallel(&items, 4, work)).is_err());
        assert_eq!(in_parallel(&items, 4, |item| item * 2)[99], 198);
        assert!(std::panic::catch_unwind(|| both(|| assert_eq!(1, 2), || 3)).is_err());
        assert_eq!(both(|| 2, || 3), (2, 3));
    }
}
