//! `completions`: completions for a shell.

mod scripts;

use clap::{Args, CommandFactory};
use clap_complete::Shell;
use trace::Error;

use super::{Cli, Done};

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
        if let Some(script) = scripts::script(self.shell) {
            return Ok(format!("{script}\n{}", completed()).into());
        }
        let mut out = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::command(), "tierod", &mut out);
        Ok(String::from_utf8_lossy(&out).into_owned().into())
    }
}

/// The last lines of a script: what it completes, for whoever reads it.
fn completed() -> String {
    let command = Cli::command();
    let commands: Vec<&str> = command.get_subcommands().map(clap::Command::get_name).collect();
    let all = command.get_subcommands().flat_map(clap::Command::get_arguments).filter_map(clap::Arg::get_long);
    let mut options: Vec<&str> = all.collect();
    options.sort_unstable();
    options.dedup();
    format!("# Commands: {}\n# Options: {}\n# and ids, keys, names of checks\n", commands.join(" "), options.join(" "))
}
