//! The bytes of a spreadsheet: of a project, or any file that a person names.

use std::path::Path;

use super::regular::{self, NotRead};
use super::worktree;
use crate::Error;
use crate::snapshot::{Snapshot, inside};
use crate::spreadsheet::LARGEST;

/// Reads a spreadsheet that a person names.
///
/// # Errors
/// It is missing, a link, not a regular file, too large, or cannot be read.
pub fn read_spreadsheet(path: &Path) -> Result<Vec<u8>, Error> {
    let failed = |why: &str, help: &str| {
        Error::new(format!("cannot read {}", path.display())).because(why).help(help.to_owned())
    };
    regular::read(path, LARGEST).map_err(|error| match error {
        NotRead::Link => failed("it is a symbolic link", "give the file itself"),
        NotRead::NotRegular => failed("it is not a regular file", "give a .xlsx, .ods or .csv file"),
        NotRead::TooLarge(size) => {
            let mib = |bytes: u64| bytes as f64 / f64::from(1 << 20);
            let why = format!("it has {:.1} MiB, at most {:.0} MiB are read", mib(size), mib(LARGEST));
            failed(&why, "save only the sheet that is needed")
        }
        NotRead::Failed(error) => failed(&error.to_string(), "check its path and its permissions"),
    })
}

/// Reads a spreadsheet of the working tree of a snapshot.
///
/// # Errors
/// Those of [`read_spreadsheet`]; a path that leads out of the project.
pub(super) fn of_project(snapshot: &Snapshot, path: &str) -> Result<Vec<u8>, Error> {
    let (Some(root), Some(inside)) = (&snapshot.folder, inside(path)) else {
        let message = format!("`{}` is not a path in the project", schema::words::shorten(path));
        return Err(Error::new(message).help("under `file`, use a path below the project root"));
    };
    match worktree::found(root, &inside) {
        Some(_) => read_spreadsheet(&root.join(&inside)),
        None => Err(Error::new(format!("no file {inside} in the project"))
            .because("it is missing, or a link is on its path")
            .help("correct `file` in the entry of the settings, or add the file")),
    }
}
