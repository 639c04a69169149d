//! `completions`: completions for a shell.

use clap::{Args, CommandFactory};
use clap_complete::Shell;
use trace::Error;

use super::{Cli, Done};

/// The arguments of `completions`.
#[derive(Args)]
pub(crate) struct Completions {
    /// The shell
    shell: Shell,
}

impl Completions {
    pub(super) fn run(&self) -> Result<Done, Error> {
        let mut out = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::command(), "tierod", &mut out);
        Ok(String::from_utf8_lossy(&out).into_owned().into())
    }
}
