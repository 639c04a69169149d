//! One file a command; each returns its report as text, so that nothing is half printed.

mod audit;
mod budget;
mod check;
mod compare;
mod completions;
mod delta;
mod example;
mod explain;
mod graph;
mod history;
mod hook;
mod init;
mod points;
pub(crate) mod schema;
mod values;
mod why;
mod worth;

use clap::{Parser, Subcommand, ValueEnum};
use trace::Error;

use crate::args::Shared;

/// Ties every part of a race car to the points it is built to score.
#[derive(Parser)]
#[command(name = "tierod", version, about, max_term_width = 100, disable_help_subcommand = true)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
    /// Options of every command.
    #[command(flatten)]
    pub(crate) shared: Shared,
}

/// What to do.
#[derive(Subcommand)]
pub(crate) enum Command {
    /// Start a data root: settings, a goal, and one event, target, system and part to go on from
    Init(init::Init),
    /// Tell what is open or broken, from goal to part
    Check(check::Check),
    /// Tell what a change breaks, mends and moves, between two revisions or a revision and the work tree
    Delta(delta::Delta),
    /// Lay out an invented car with its season, commit by commit, to try the commands on
    Example(example::Example),
    /// Check every commit before it is made
    Hook(hook::Hook),
    /// Tell why a record is there: its chain to the goal, and what stands below it
    Why(why::Why),
    /// Show every target, event, goal and amount with its value, its limit and where it stands
    Values(values::Values),
    /// Show who is over in each budget, who has room, and what would close the gap
    Budget(budget::Budget),
    /// Show the points planned, needed and predicted, by event
    Points(points::Points),
    /// Tell what a unit, or a hundredth, of each value is worth in points
    Worth(worth::Worth),
    /// Put each alternative of a decision into the whole car
    Compare(compare::Compare),
    /// Look back on the season: which targets were met, by what evidence, and how good the predictions were
    Audit(audit::Audit),
    /// Tell the life of a record: every commit that changed it, and its value against its limit
    History(history::History),
    /// Explain a check, a kind of record or a model; list them all when none is named
    Explain(explain::Explain),
    /// Show the whole graph from the goals down
    Graph(graph::Graph),
    /// Print the JSON Schema of record files or of the settings
    Schema(schema::Schema),
    /// Print completions for a shell
    Completions(completions::Completions),
}

/// A report, and whether there is a finding at error level.
pub(crate) struct Done {
    pub(crate) text: String,
    pub(crate) errors: bool,
}

impl From<String> for Done {
    fn from(text: String) -> Self {
        Self { text, errors: false }
    }
}

/// The formats of commands that have no others.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people
    Terminal,
    /// For programs (version 1, stable)
    Json,
}

/// The formats of commands that tell findings.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum FindingsFormat {
    /// For people
    Terminal,
    /// For programs (version 1, stable)
    Json,
    /// SARIF 2.1.0, for editors and code scanning; waived findings are in it, as suppressed
    Sarif,
    /// One line a finding, as compilers print: `path:line:column: level: message [check]`
    Lines,
    /// Annotations of GitHub Actions
    Github,
    /// A Code Quality report of GitLab CI
    Gitlab,
}

/// A warning that stands before numbers when something could not be read; empty when all could.
fn warned(loaded: &trace::Loaded, ink: crate::screen::Ink) -> String {
    let mut out = String::new();
    if let Some(text) = crate::output::incomplete(loaded) {
        ink.block(&mut out, "", 0, &text);
        out.push('\n');
    }
    out
}

/// Runs a command.
pub(crate) fn run(command: Command, shared: &Shared) -> Result<Done, Error> {
    match command {
        Command::Init(command) => command.run(shared),
        Command::Check(command) => command.run(shared),
        Command::Delta(command) => command.run(shared),
        Command::Example(command) => command.run(shared),
        Command::Hook(command) => command.run(shared),
        Command::Why(command) => command.run(shared),
        Command::Values(command) => command.run(shared),
        Command::Audit(command) => command.run(shared),
        Command::Budget(command) => command.run(shared),
        Command::Points(command) => command.run(shared),
        Command::Worth(command) => command.run(shared),
        Command::Compare(command) => command.run(shared),
        Command::History(command) => command.run(shared),
        Command::Explain(command) => command.run(shared),
        Command::Graph(command) => command.run(shared),
        Command::Schema(command) => command.run(),
        Command::Completions(command) => command.run(),
    }
}
