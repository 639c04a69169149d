//! An end for a command that would wait forever, or that takes far more time or memory than a project needs: git and
//! libgit2 cannot be interrupted from within, and not every way is known in which records can be made to be much work.
//!
//! A command that writes files is ended only before the first of them.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use trace::Error;
use trace::git::{commits_read, count_commits_again, never_ends, unless_writing};
use trace::study::states_evaluated;

use crate::args::{CLEAN, FAILED, Shared};
use crate::screen::print_error;

/// How often the command is looked at.
const INTERVAL: Duration = Duration::from_millis(50);

/// How long a command may take before a cause for waiting is looked for.
const PATIENCE: Duration = Duration::from_secs(1);

/// The most memory that a command may take, in bytes: far more than the largest project needs.
const MOST_MEMORY: u64 = 1_000 << 20;

/// The longest time on a processor, in milliseconds: the commands on a project of thousands of records take less than one
/// second.
const LONGEST: u64 = if cfg!(debug_assertions) { 200_000 } else { 10_000 };
/// What each commit that is read adds to it; one that is read again adds nothing.
const LONGEST_OF_COMMIT: u64 = LONGEST / 1000;
/// What each state that is evaluated adds to it: models and laps are calculated for it.
const LONGEST_OF_STATE: u64 = LONGEST / 200;

/// With this variable set, a command has no limits of time and memory.
const UNLIMITED: &str = "TIEROD_UNLIMITED";

/// What `page --watch` has done before the present page: milliseconds on a processor, and states evaluated.
static BEFORE: [AtomicU64; 2] = [const { AtomicU64::new(0) }; 2];

/// Starts to watch this command. The thread ends with the process.
pub(crate) fn start(shared: &Shared) {
    let shared = shared.clone();
    watch(move |error| {
        print_error(error, &shared);
        std::process::exit(i32::from(FAILED));
    });
}

/// The same for completion, which prints no error into the line that is typed.
pub(crate) fn start_silent() {
    watch(|_| std::process::exit(i32::from(CLEAN)));
}

/// Ends the command with an error where the crate of libgit2 (0.21) panics: it expects no packed object of an unknown kind.
pub(crate) fn end_where_libgit2_panics(shared: &Shared) {
    let (shared, usual) = (shared.clone(), std::panic::take_hook());
    std::panic::set_hook(Box::new(move |panic| {
        if panic.location().is_some_and(|at| at.file().contains("git2-")) {
            let error = Error::new("the repository has an object of an unknown kind");
            let error = error.help("the repository is damaged: `git fsck` shows what is; or clone it again");
            unless_writing(|| {
                print_error(&error, &shared);
                std::process::exit(i32::from(FAILED));
            });
        }
        usual(panic);
    }));
}

/// Begins to count time again, for the next piece of work of a command that goes on for hours.
pub(crate) fn count_again() {
    BEFORE[0].store(on_processor(), Ordering::Relaxed);
    BEFORE[1].store(states_evaluated(), Ordering::Relaxed);
    count_commits_again();
}

fn watch(end: impl Fn(&Error) + Send + Sync + 'static) {
    let end = Arc::new(end);
    let is_limited = std::env::var_os(UNLIMITED).is_none_or(|value| value.is_empty());
    let watch = move || {
        let mut passed = Duration::ZERO;
        loop {
            std::thread::sleep(INTERVAL);
            passed += INTERVAL;
            if passed == PATIENCE {
                let end = Arc::clone(&end);
                // In a thread of its own: a stranger can make the search long, too.
                let search = move || {
                    if let Some(error) = folders().iter().find_map(|folder| never_ends(folder)) {
                        unless_writing(|| end(&error));
                    }
                };
                let _ = std::thread::Builder::new().name("search".to_owned()).spawn(search);
            }
            if is_limited && let Some(error) = too_much() {
                unless_writing(|| end(&error));
            }
        }
    };
    // Without the thread the command does the same, only longer.
    let _ = std::thread::Builder::new().name("guard".to_owned()).spawn(watch);
}

/// What this process has taken too much of.
fn too_much() -> Option<Error> {
    let [before, states] = BEFORE.each_ref().map(|before| before.load(Ordering::Relaxed));
    let (time, states) = (on_processor().saturating_sub(before), states_evaluated().saturating_sub(states));
    let error = Error::new(excess(resident(), time, [commits_read(), states])?);
    let error = error.because("a project of thousands of records needs far less");
    Some(
        error.help(format!(
            "if you trust the repository, set {UNLIMITED}=1 in the environment: see Limits in SECURITY.md"
        )),
    )
}

/// What is over its limit, of a memory in bytes and of milliseconds on a processor in which commits were read and states
/// evaluated.
fn excess(memory: u64, time: u64, [commits, states]: [u64; 2]) -> Option<String> {
    let more = LONGEST_OF_COMMIT.saturating_mul(commits).saturating_add(LONGEST_OF_STATE.saturating_mul(states));
    let longest = LONGEST.saturating_add(more);
    if memory > MOST_MEMORY {
        Some(format!("the command takes more than {} MiB of memory", MOST_MEMORY >> 20))
    } else if time > longest {
        Some(format!("the command takes more than {} s on a processor", longest / 1000))
    } else {
        None
    }
}

/// The time that all threads of this process have taken on a processor, in milliseconds, where the system lists it;
/// otherwise 0.
fn on_processor() -> u64 {
    // `/proc` counts in hundredths of a second. The name of the program, in brackets, may have any signs.
    let text = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let rest = text.rsplit_once(')').map_or("", |(_, rest)| rest);
    let times = rest.split_ascii_whitespace().skip(11).take(2).filter_map(|number| number.parse::<u64>().ok());
    times.sum::<u64>() * 10
}

/// The memory of this process in bytes, where the system lists it; otherwise 0.
fn resident() -> u64 {
    let text = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:")?.trim().strip_suffix(" kB"));
    line.and_then(|number| number.parse::<u64>().ok()).unwrap_or(0) << 10
}

/// The current folder, and those that the command line names.
fn folders() -> Vec<PathBuf> {
    let named = std::env::args_os().skip(1).filter_map(|arg| {
        let value =
            arg.to_str().and_then(|arg| arg.strip_prefix("--")?.split_once('=')).map(|(_, value)| PathBuf::from(value));
        let path = value.unwrap_or_else(|| PathBuf::from(arg));
        path.ancestors().find(|up| up.is_dir() && !up.as_os_str().is_empty()).map(Path::to_owned)
    });
    let mut folders: Vec<PathBuf> = std::env::current_dir().into_iter().chain(named).collect();
    folders.sort();
    folders.dedup();
    folders
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_history_may_take_longer() {
        assert_eq!(excess(MOST_MEMORY, LONGEST, [0, 0]), None);
        assert_eq!(excess(0, 3 * LONGEST, [1000, 200]), None, "thrice as long");
        let seconds = LONGEST / 1000;
        assert_eq!(
            excess(0, LONGEST + 1, [0, 0]).unwrap(),
            format!("the command takes more than {seconds} s on a processor")
        );
        for work in [[2000, 0], [0, 400], [1000, 200]] {
            let over = excess(0, 3 * LONGEST + 1, work).unwrap();
            assert_eq!(over, format!("the command takes more than {} s on a processor", 3 * seconds));
        }
        assert_eq!(excess(MOST_MEMORY + 1, 0, [0, 0]).unwrap(), "the command takes more than 1000 MiB of memory");
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn what_a_process_takes_is_measured() {
        let before = on_processor();
        let mut sum = 0_u64;
        while on_processor() < before + 20 {
            sum = std::hint::black_box(sum.wrapping_mul(31) + 1);
        }
        assert!(resident() > 1 << 20, "{sum}");
    }
}
