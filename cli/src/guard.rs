//! An end for a command that would wait for ever: git and libgit2 cannot be interrupted from within.

use std::path::{Path, PathBuf};
use std::time::Duration;

use trace::git::never_ends;

use crate::FAILED;
use crate::args::Shared;
use crate::screen::print_error;

/// How long a command may take before a cause for waiting is looked for.
const PATIENCE: Duration = Duration::from_secs(1);

/// Starts to watch this command. The thread ends with the process.
pub(crate) fn start(shared: &Shared) {
    let shared = shared.clone();
    let watch = move || {
        std::thread::sleep(PATIENCE);
        if let Some(error) = folders().iter().find_map(|folder| never_ends(folder)) {
            print_error(&error, &shared);
            std::process::exit(i32::from(FAILED));
        }
    };
    // Without the thread the command does the same, only longer.
    let _ = std::thread::Builder::new().name("guard".to_owned()).spawn(watch);
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
