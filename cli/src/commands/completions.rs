//! `completions`: completions for a shell.

use clap::{Args, CommandFactory};
use clap_complete::Shell;
use trace::Error;

use super::{Cli, Done};
use crate::completion;

const AFTER_HELP: &str = "\
Load it when the shell starts:
  bash  add `source <(tierod completions bash)` to ~/.bashrc
  zsh   add `source <(tierod completions zsh)` to ~/.zshrc, behind `compinit`
  fish  add `tierod completions fish | source` to ~/.config/fish/config.fish
In these three it completes commands, options, ids, keys and names of checks; in the others commands and options.";

/// The arguments of `completions`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Completions {
    /// The shell
    shell: Shell,
}

impl Completions {
    pub(super) fn run(&self) -> Result<Done, Error> {
        if let Some(script) = completion::script(self.shell) {
            return Ok(format!("{script}\n{}", completion::header()).into());
        }
        let mut out = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::command(), "tierod", &mut out);
        Ok(String::from_utf8_lossy(&out).into_owned().into())
    }
}
