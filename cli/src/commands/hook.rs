//! `hook`: a pre-commit hook that checks exactly what is being committed.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use schema::settings;
use trace::Error;
use trace::git::{find_root, hooks_folder};

use super::Done;
use crate::args::{Shared, cwd};

/// Check every commit before it is made.
#[derive(Args)]
pub(crate) struct Hook {
    #[command(subcommand)]
    action: Action,
}

#[derive(Subcommand)]
enum Action {
    /// Write the pre-commit hook; leaves any other hook alone
    Install(Place),
    /// Remove the hook, if tierod wrote it
    Remove(Place),
}

#[derive(Args)]
struct Place {
    /// The data root, or a folder in it [default: the nearest one upward]
    #[arg(value_name = "ROOT")]
    root: Option<PathBuf>,
}

/// The line that tells our own hook from others.
const MARK: &str = "# Written by `tierod hook install`; `tierod hook remove` takes it away.";

impl Hook {
    pub(super) fn run(&self, _: &Shared) -> Result<Done, Error> {
        match &self.action {
            Action::Install(place) => install(place),
            Action::Remove(place) => remove(place),
        }
    }
}

/// The hook's path, and the data root relative to the top of the work tree.
fn find(place: &Place) -> Result<(PathBuf, String), Error> {
    let cwd = cwd()?;
    let start = place.root.as_ref().map_or_else(|| cwd.clone(), |root| cwd.join(root));
    let root = find_root(&start)?;
    let (hooks, top) = hooks_folder(&root, &cwd)?;
    if hooks.exists() && !hooks.is_dir() {
        let error = Error::new("hooks are switched off here").because(format!("{} is no folder", hooks.display()));
        return Err(error.help("`git config --unset core.hooksPath`, or name a folder there"));
    }
    let below =
        root.strip_prefix(&top).map_err(|_| Error::new("the data root is not in the repository's work tree"))?;
    let below = below.to_str().ok_or_else(|| Error::new("the data root's path is not UTF-8"))?.replace('\\', "/");
    Ok((hooks.join("pre-commit"), if below.is_empty() { ".".to_owned() } else { below }))
}

/// A text as one word of a POSIX shell.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

/// The line that runs the check. Git starts hooks at the top of the work tree.
fn call(root: &str, program: &Path) -> String {
    let program = program.to_str().map_or_else(|| "tierod".to_owned(), quoted);
    format!("{program} check --staged -- {}", quoted(root))
}

/// Asks git whether the next commit has the data root: a branch without it has nothing to check.
fn guard(root: &str) -> String {
    let marker = if root == "." { settings::FILE.to_owned() } else { format!("{root}/{}", settings::FILE) };
    // The stage is named, so that no path is taken for one.
    format!("git cat-file -e {} 2>/dev/null", quoted(&format!(":0:{marker}")))
}

/// The check as one line in a hook that does more.
fn chain(root: &str, program: &Path) -> String {
    format!("! {} || {} || exit 1", guard(root), call(root, program))
}

fn script(root: &str, program: &Path) -> String {
    format!("#!/bin/sh\n{MARK}\n{} || exit 0\nexec {}\n", guard(root), call(root, program))
}

fn install(place: &Place) -> Result<Done, Error> {
    let (hook, root) = find(place)?;
    let program = std::env::current_exe().unwrap_or_else(|_| PathBuf::from("tierod"));
    let script = script(&root, &program);
    let shown = hook.display();
    match fs::read(&hook) {
        Ok(bytes) if bytes == script.as_bytes() => Ok(format!("{shown} is in place already\n").into()),
        Ok(bytes) if String::from_utf8_lossy(&bytes).contains(MARK) => {
            let error = Error::new(format!("{shown} is a tierod hook for another data root or program"));
            let chain = chain(&root, &program);
            Err(error.help(format!(
                "`tierod hook remove` and install again; for two data roots add this line below its first: {chain}"
            )))
        }
        Ok(_) => {
            let error = Error::new(format!("{shown} is there already, and is left alone"));
            let chain = chain(&root, &program);
            Err(error.help(format!("to chain the check to it, add this line below its first: {chain}")))
        }
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && !hook.is_symlink() => {
            write(&hook, &script).map_err(|error| Error::new(format!("{shown} cannot be written")).because(error))?;
            Ok(format!("wrote {shown}: every commit is checked before it is made\n").into())
        }
        Err(error) => Err(Error::new(format!("{shown} is there already, and cannot be read")).because(error)),
    }
}

fn write(hook: &Path, script: &str) -> std::io::Result<()> {
    if let Some(folder) = hook.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut file = fs::OpenOptions::new().write(true).create_new(true).open(hook)?;
    file.write_all(script.as_bytes())?;
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        file.set_permissions(fs::Permissions::from_mode(0o755))?;
    }
    Ok(())
}

fn remove(place: &Place) -> Result<Done, Error> {
    let (hook, _) = find(place)?;
    let shown = hook.display();
    match fs::read(&hook) {
        Ok(bytes) if own(&bytes) => {
            fs::remove_file(&hook).map_err(|error| Error::new(format!("{shown} cannot be removed")).because(error))?;
            Ok(format!("removed {shown}\n").into())
        }
        Ok(bytes) if String::from_utf8_lossy(&bytes).contains(MARK) => {
            let error = Error::new(format!("{shown} was changed since tierod wrote it, and is left alone"));
            Err(error.help("take the tierod lines out of it by hand"))
        }
        Ok(_) => Err(Error::new(format!("{shown} was not written by tierod, and is left alone"))),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            Ok(format!("there is no {shown}: nothing to remove\n").into())
        }
        Err(error) => Err(Error::new(format!("{shown} cannot be read")).because(error)),
    }
}

/// Is this hook as tierod wrote it: its four lines and none besides?
fn own(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let lines: Vec<&str> = text.lines().collect();
    matches!(lines[..], ["#!/bin/sh", MARK, guard, exec] if guard.starts_with("git cat-file -e ") && exec.starts_with("exec "))
}
