//! `tierod`: the command line. One file per command, one file per output format.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

mod args;
mod commands;
mod completion;
mod guard;
mod output;
mod screen;
mod season;

use std::process::ExitCode;

use clap::Parser;

use args::{CLEAN, Color, FAILED, FINDINGS, Shared};
use commands::Cli;

/// Records are many small pieces: the allocator of the system needs a fifth of the time of a check.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let mut args = std::env::args_os().skip(1);
    let first = args.next().unwrap_or_default();
    if first == output::confined::ARGUMENT {
        return ExitCode::from(output::confined::run(args.filter_map(|arg| arg.into_string().ok())));
    }
    if first == completion::ARGUMENT {
        guard::start_silent();
        completion::run(args);
        return ExitCode::from(CLEAN);
    }
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => match args::renamed(&error) {
            Some(error) => {
                screen::print_error(&error, &Shared { color: Color::Auto });
                return ExitCode::from(FAILED);
            }
            None => {
                // An argument can be the name of a file in a stranger's repository.
                if !screen::print_usage(&error.render().to_string()) {
                    error.exit();
                }
                return ExitCode::from(FAILED);
            }
        },
    };
    guard::start(&cli.shared);
    guard::end_where_libgit2_panics(&cli.shared);
    match commands::run(cli.command, &cli.shared) {
        Ok(done) => match screen::print(&done.text, done.commands, &cli.shared) {
            Ok(()) if done.unanswered => ExitCode::from(FAILED),
            Ok(()) => ExitCode::from(if done.errors { FINDINGS } else { CLEAN }),
            Err(error) => {
                screen::print_error(&trace::Error::new("cannot write the output").because(error), &cli.shared);
                ExitCode::from(FAILED)
            }
        },
        Err(error) => {
            screen::print_error(&error, &cli.shared);
            ExitCode::from(FAILED)
        }
    }
}
