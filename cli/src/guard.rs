//! An end for a command that would wait for ever: git and libgit2 cannot be interrupted from within.
//!
//! A command that writes files is ended only before the first of them.

use std::path::{Path, PathBuf};
use std::time::Duration;

use trace::Error;
use trace::git::{never_ends, unless_writing};

use crate::args::Shared;
use crate::screen::print_error;
use crate::{CLEAN, FAILED};

/// How often the command is looked at.
const INTERVAL: Duration = Duration::from_millis(200);

/// How long a command may take before a cause for waiting is looked for.
const PATIENCE: Duration = Duration::from_secs(1);

/// The most memory that a command may take, in bytes: far more than the largest project needs.
const MOST_MEMORY: u64 = 1_500 << 20;

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

fn watch(end: impl Fn(&Error) + Send + 'static) {
    let watch = move || {
        let mut passed = Duration::ZERO;
        loop {
            std::thread::sleep(INTERVAL);
            passed += INTERVAL;
            if passed == PATIENCE
                && let Some(error) = folders().iter().find_map(|folder| never_ends(folder))
            {
                unless_writing(|| end(&error));
            }
            if resident() > MOST_MEMORY {
                let error = Error::new(format!("the command takes more than {} MiB of memory", MOST_MEMORY >> 20));
                let error = error.help("see Limits in SECURITY.md: the repository is far larger than a project");
                unless_writing(|| end(&error));
            }
        }
    };
    // Without the thread the command does the same, only longer.
    let _ = std::thread::Builder::new().name("guard".to_owned()).spawn(watch);
}

/// The memory of this process in bytes, where the system lists it; otherwise 0.
fn resident() -> u64 {
    // The second number is that of pages in memory.
    let pages = std::fs::read_to_string("/proc/self/statm").ok();
    let pages = pages.and_then(|text| text.split(' ').nth(1)?.parse::<u64>().ok()).unwrap_or(0);
    #[cfg(unix)]
    let size = rustix::param::page_size() as u64;
    #[cfg(not(unix))]
    let size = 4096;
    pages * size
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
