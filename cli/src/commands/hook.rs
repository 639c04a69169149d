//! `hook`: a pre-commit hook that checks the content of the commit.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use schema::settings;
use trace::Error;
use trace::git::{find_root, hooks_folder};

use super::Done;
use crate::args::{Shared, cwd};
use crate::screen::quoted;

/// The arguments of `hook`.
#[derive(Args)]
pub(crate) struct Hook {
    #[command(subcommand)]
    action: Action,
}

#[derive(Subcommand)]
enum Action {
    /// Install the pre-commit hook; another hook is not changed
    Install(Root),
    /// Remove the pre-commit hook if tierod wrote it
    Remove(Root),
}

#[derive(Args)]
struct Root {
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(value_name = "ROOT")]
    path: Option<PathBuf>,
}

/// The line that distinguishes our own hook from others.
const MARK: &str = "# Written by `tierod hook install`; `tierod hook remove` takes it away.";

impl Hook {
    pub(super) fn run(&self, _: &Shared) -> Result<Done, Error> {
        match &self.action {
            Action::Install(root) => install(root),
            Action::Remove(root) => remove(root),
        }
    }
}

/// The path of the hook, and the project root relative to the top of the working tree.
fn find(named: &Root) -> Result<(PathBuf, String), Error> {
    let cwd = cwd()?;
    let start = named.path.as_ref().map_or_else(|| cwd.clone(), |root| cwd.join(root));
    let root = find_root(&start)?;
    let (hooks, top) = hooks_folder(&root, &cwd)?;
    if hooks.exists() && !hooks.is_dir() {
        let error = Error::new("hooks are disabled here").because(format!("{} is not a folder", hooks.display()));
        return Err(error.help("run `git config --unset core.hooksPath`, or set it to a folder"));
    }
    let below = root
        .strip_prefix(&top)
        .map_err(|_| Error::new("the project root is not in the working tree of the repository"))?;
    let below =
        below.to_str().ok_or_else(|| Error::new("the path of the project root is not UTF-8"))?.replace('\\', "/");
    Ok((hooks.join("pre-commit"), if below.is_empty() { ".".to_owned() } else { below }))
}

/// The line that runs the check. Git starts hooks at the top of the working tree.
fn call(root: &str, program: &Path) -> String {
    let program = program.to_str().map_or_else(|| "tierod".to_owned(), quoted);
    format!("{program} check --staged -- {}", quoted(root))
}

/// The test whether the next commit contains the project root: a branch without it has no records to check.
fn guard(root: &str) -> String {
    let marker = if root == "." { settings::FILE.to_owned() } else { format!("{root}/{}", settings::FILE) };
    // The stage is given, because a path could otherwise be read as one.
    format!("git cat-file -e {} 2>/dev/null", quoted(&format!(":0:{marker}")))
}

/// The check as one line for a hook that does more.
fn chain(root: &str, program: &Path) -> String {
    format!("! {} || {} || exit 1", guard(root), call(root, program))
}

fn script(root: &str, program: &Path) -> String {
    format!("#!/bin/sh\n{MARK}\n{} || exit 0\nexec {}\n", guard(root), call(root, program))
}

fn install(named: &Root) -> Result<Done, Error> {
    let (hook, root) = find(named)?;
    let program = std::env::current_exe().unwrap_or_else(|_| PathBuf::from("tierod"));
    let script = script(&root, &program);
    let shown = hook.display();
    match fs::read(&hook) {
        Ok(bytes) if bytes == script.as_bytes() => Ok(format!("{shown} is already installed\n").into()),
        Ok(bytes) if String::from_utf8_lossy(&bytes).contains(MARK) => {
            let error = Error::new(format!("{shown} is a tierod hook for another project root or program"));
            let chain = chain(&root, &program);
            Err(error.help(format!(
                "run `tierod hook remove` and install again; for two project roots, add this line after its first line: {chain}"
            )))
        }
        Ok(_) => {
            let error = Error::new(format!("{shown} already exists and was not changed"));
            let chain = chain(&root, &program);
            Err(error.help(format!("to run the check from it, add this line after its first line: {chain}")))
        }
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && !hook.is_symlink() => {
            write(&hook, &script).map_err(|error| Error::new(format!("{shown} cannot be written")).because(error))?;
            Ok(format!("wrote {shown}: every commit is checked before it is created\n").into())
        }
        Err(error) => Err(Error::new(format!("{shown} already exists and cannot be read")).because(error)),
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

fn remove(named: &Root) -> Result<Done, Error> {
    let (hook, _) = find(named)?;
    let shown = hook.display();
    match fs::read(&hook) {
        Ok(bytes) if own(&bytes) => {
            fs::remove_file(&hook).map_err(|error| Error::new(format!("{shown} cannot be removed")).because(error))?;
            Ok(format!("removed {shown}\n").into())
        }
        Ok(bytes) if String::from_utf8_lossy(&bytes).contains(MARK) => {
            let error = Error::new(format!("{shown} was edited after tierod wrote it, and was not changed"));
            Err(error.help("remove the tierod lines by hand"))
        }
        Ok(_) => Err(Error::new(format!("{shown} was not written by tierod, and was not changed"))),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            Ok(format!("{shown} does not exist: nothing to remove\n").into())
        }
        Err(error) => Err(Error::new(format!("{shown} cannot be read")).because(error)),
    }
}

/// Whether a hook is as tierod wrote it: its four lines and no other.
fn own(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let lines: Vec<&str> = text.lines().collect();
    matches!(lines[..], ["#!/bin/sh", MARK, guard, exec] if guard.starts_with("git cat-file -e ") && exec.starts_with("exec "))
}
