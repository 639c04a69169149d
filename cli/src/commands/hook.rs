//! `hook`: the hooks that check the content of a commit and of a merge.

mod script;

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use trace::Error;
use trace::git::{Beside, Hooks, LeadsOut, Rights, find_root};

use self::script::{Script, chain, checks, is_marked, recorded};
use super::Done;
use crate::args::{Shared, cwd};

/// The arguments of `hook`.
#[derive(Args)]
pub(crate) struct Hook {
    #[command(subcommand)]
    action: Action,
}

#[derive(Subcommand)]
enum Action {
    /// Install or renew the hooks pre-commit and pre-merge-commit; other hooks are not changed
    Install(Options),
    /// Remove the hooks if tierod wrote them
    Remove(Options),
}

#[derive(Args)]
struct Options {
    #[command(flatten)]
    root: Root,
    /// Also if the configuration of this repository, or a link in it, leads to a folder outside of it
    #[arg(long)]
    outside: bool,
}

#[derive(Args)]
struct Root {
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(value_name = "ROOT")]
    path: Option<PathBuf>,
}

/// The hooks, and what is done for them.
const NAMES: [(&str, &str); 2] = [
    ("pre-commit", "every commit is checked before it is created"),
    ("pre-merge-commit", "every merge is checked before it is committed"),
];

/// What git starts no hook for.
const NOT_ASKED: &str = "git runs no hook for a fast-forward, cherry-pick, revert or rebase, nor with --no-verify: CI \
                         checks them, `tierod init --ci` writes its file";

impl Hook {
    pub(super) fn run(&self, _: &Shared) -> Result<Done, Error> {
        let (Action::Install(options) | Action::Remove(options)) = &self.action;
        let place = RootHooks::find(&options.root)?;
        if !options.outside {
            place.refuse_outside()?;
        }
        match &self.action {
            Action::Install(_) => install(&place),
            Action::Remove(_) => remove(&place),
        }
    }
}

/// Where the hooks are, and the project root that they check.
struct RootHooks {
    hooks: Hooks,
    /// The project root from the top of the working tree.
    root: String,
}

impl RootHooks {
    fn find(named: &Root) -> Result<Self, Error> {
        let cwd = cwd()?;
        let start = named.path.as_ref().map_or_else(|| cwd.clone(), |root| cwd.join(root));
        let root = find_root(&start)?;
        let hooks = Hooks::of(&root, &cwd)?;
        if hooks.off {
            let error = Error::new("hooks are disabled here").because("core.hooksPath is empty: git starts no hook");
            return Err(error.help("run `git config --unset core.hooksPath`, or set it to a folder"));
        }
        if hooks.folder.exists() && !hooks.folder.is_dir() {
            let cause = format!("{} is not a folder", hooks.folder.display());
            let error = Error::new("hooks are disabled here").because(cause);
            return Err(error.help("run `git config --unset core.hooksPath`, or set it to a folder"));
        }
        let below = root
            .strip_prefix(&hooks.top)
            .map_err(|_| Error::new("the project root is not in the working tree of the repository"))?;
        let below = below.to_str().ok_or_else(|| Error::new("the path of the project root is not UTF-8"))?.to_owned();
        // Elsewhere a backslash is a character of a name.
        let below = if cfg!(windows) { below.replace('\\', "/") } else { below };
        Ok(Self { hooks, root: if below.is_empty() { ".".to_owned() } else { below } })
    }

    /// The hooks in their order: path, what is done, and what is there now.
    fn found(&self) -> Result<Vec<(PathBuf, &'static str, Found)>, Error> {
        let found = |(name, does): (&str, &'static str)| {
            let hook = self.hooks.folder.join(name);
            let found = Found::read(&hook, &self.root)?;
            Ok((hook, does, found))
        };
        NAMES.into_iter().map(found).collect()
    }

    /// # Errors
    /// Something of the repository itself, which a stranger may have written, leads to a folder of hooks outside of it.
    fn refuse_outside(&self) -> Result<(), Error> {
        // The folder is not shown: a file outside of the repository may name it.
        let (cause, help) = match self.hooks.outside {
            None | Some(LeadsOut::User) => return Ok(()),
            Some(LeadsOut::Repository) => (
                "core.hooksPath of this repository leads out of it: `git config --show-origin core.hooksPath` shows it",
                "run `git config --unset core.hooksPath`",
            ),
            Some(LeadsOut::Link) => (
                "a link or a file of git leads out of it: `git rev-parse --git-path hooks` shows it",
                "clone the repository again",
            ),
        };
        let error = Error::new("the hooks of this repository are outside of it").because(cause);
        Err(error.help(format!("{help}, or add `--outside` if this is intended")))
    }

    /// What is unusual about the folder of the hooks.
    fn warnings(&self) -> String {
        let folder = self.hooks.folder.display();
        let mut out = String::new();
        if let Some(by) = self.hooks.outside {
            let setting = if by == LeadsOut::Link { "" } else { " (core.hooksPath)" };
            out.push_str(&format!(
                "warning: {folder}{setting} is outside of this repository: every repository that uses it runs \
                 these hooks; they check only repositories with a project root at {}\n",
                self.root
            ));
        }
        if self.hooks.tracked {
            out.push_str(&format!(
                "warning: {folder} (core.hooksPath) is in the working tree and not ignored: the hooks are committed with \
                 the path of the program on this computer, which is used if tierod is not on the PATH\n"
            ));
        }
        out
    }
}

/// What is in the place of a hook.
enum Found {
    Nothing,
    /// A hook as tierod wrote it; `text` is its content, `None` if git does not run it.
    Ours {
        script: Script,
        text: Option<String>,
    },
    /// Anything else; whether tierod wrote it once, and whether it checks the project root.
    Other {
        edited: bool,
        checks: bool,
    },
}

impl Found {
    fn read(hook: &Path, root: &str) -> Result<Self, Error> {
        // A pipe or a device would be waited for.
        if fs::metadata(hook).is_ok_and(|found| !found.is_file()) {
            let shown = hook.display();
            return Err(Error::new(format!("{shown} already exists and is not a file"))
                .help("remove it, then run the command again"));
        }
        let text = match trace::git::read_hook(hook) {
            Ok(bytes) => String::from_utf8_lossy(&bytes).into_owned(),
            Err(error) if error.kind() == ErrorKind::NotFound && !hook.is_symlink() => return Ok(Self::Nothing),
            Err(error) => {
                let shown = hook.display();
                return Err(Error::new(format!("{shown} already exists and cannot be read")).because(error));
            }
        };
        let ours = Script::parse(&text).filter(|_| !hook.is_symlink());
        Ok(match ours {
            Some(script) => Self::Ours { script, text: is_run(hook).then_some(text) },
            None => Self::Other { edited: is_marked(&text), checks: checks(&text, root) },
        })
    }
}

/// Whether git runs a hook: it ignores files that cannot be executed.
fn is_run(hook: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        hook.metadata().is_ok_and(|data| data.permissions().mode() & 0o100 != 0)
    }
    #[cfg(not(unix))]
    hook.exists()
}

fn install(place: &RootHooks) -> Result<Done, Error> {
    let program = recorded(&std::env::current_exe().unwrap_or_else(|_| PathBuf::from("tierod")));
    let found = place.found()?;
    for (hook, _, found) in &found {
        let Found::Other { edited, checks: false } = found else { continue };
        let what = if *edited { "was edited after tierod wrote it" } else { "already exists" };
        let error = Error::new(format!("{} {what} and was not changed", hook.display()));
        let chain = chain(&program, &place.root);
        return Err(error.help(format!(
            "to run the check from it, add this line after its first line, then install again: {chain}"
        )));
    }
    let mut out = String::new();
    let mut all = true;
    for (hook, does, found) in found {
        let shown = hook.display();
        let (before, mut roots) = match found {
            Found::Nothing => (None, Vec::new()),
            Found::Ours { script, text } => (Some(text), script.roots),
            Found::Other { .. } => {
                out.push_str(&format!("{shown} was not changed: it runs the check already\n"));
                continue;
            }
        };
        if !roots.contains(&place.root) {
            roots.push(place.root.clone());
            roots.sort();
        }
        let text = Script { program: program.clone(), roots }.text();
        if before.as_ref().is_some_and(|before| before.as_ref() == Some(&text)) {
            out.push_str(&format!("{shown} is already installed\n"));
            continue;
        }
        all = false;
        write(&hook, &text).map_err(|error| Error::new(format!("{shown} cannot be written")).because(error))?;
        let verb = if before.is_some() { "renewed" } else { "wrote" };
        out.push_str(&format!("{verb} {shown}: {does}\n"));
    }
    if !all {
        out.push_str(NOT_ASKED);
        out.push('\n');
    }
    out.push_str(&place.warnings());
    Ok(out.into())
}

/// Replaces a hook in one step, because git may be running it.
fn write(hook: &Path, script: &str) -> std::io::Result<()> {
    trace::git::begin_writing();
    fs::create_dir_all(hook.parent().unwrap_or(hook))?;
    Beside::create_again(hook)?.fill(script.as_bytes(), Rights::Program)?.replace()
}

fn remove(place: &RootHooks) -> Result<Done, Error> {
    let found = place.found()?;
    let none_is_ours = !found.iter().any(|(.., found)| matches!(found, Found::Ours { .. }));
    for (hook, _, found) in &found {
        let shown = hook.display();
        match found {
            Found::Other { edited, checks } if *edited || *checks => {
                let what = if *edited { "was edited after tierod wrote it" } else { "was not written by tierod" };
                let error = Error::new(format!("{shown} {what}, and was not changed"));
                return Err(error.help("remove the tierod lines by hand"));
            }
            Found::Other { .. } if none_is_ours => {
                return Err(Error::new(format!("{shown} was not written by tierod, and was not changed")));
            }
            _ => {}
        }
    }
    trace::git::begin_writing();
    let mut out = String::new();
    for (hook, _, found) in found {
        let shown = hook.display();
        let line = match found {
            Found::Nothing => format!("{shown} does not exist: nothing to remove\n"),
            Found::Other { .. } => format!("{shown} was not written by tierod, and was not changed\n"),
            Found::Ours { script, .. } if !script.roots.contains(&place.root) => {
                format!("{shown} does not check {}: nothing to remove\n", place.root)
            }
            Found::Ours { mut script, .. } => {
                script.roots.retain(|root| *root != place.root);
                let rest = script.roots.join(", ");
                let done = if rest.is_empty() { fs::remove_file(&hook) } else { write(&hook, &script.text()) };
                done.map_err(|error| Error::new(format!("{shown} cannot be removed")).because(error))?;
                if rest.is_empty() {
                    format!("removed {shown}\n")
                } else {
                    format!("removed {} from {shown}, which still checks {rest}\n", place.root)
                }
            }
        };
        out.push_str(&line);
    }
    Ok(out.into())
}
