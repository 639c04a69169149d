//! One file per command; each returns its output as text, so that no partial output is printed.

mod add;
mod audit;
mod budget;
mod check;
mod compare;
mod completions;
mod deck;
mod delta;
mod edits;
mod example;
mod explain;
mod export;
mod graph;
mod history;
mod hook;
mod import;
mod init;
pub(crate) mod keys;
mod page;
mod points;
mod rename;
mod revise;
pub(crate) mod schema;
mod set;
mod values;
mod why;
mod worth;

use clap::{Parser, Subcommand, ValueEnum};
use trace::Error;

use crate::args::Shared;
use crate::output::flow::fitted;
use crate::screen::Ink;

/// Links every part of a race car to the points that it is built to score.
#[derive(Parser)]
#[command(name = "tierod", version, about, max_term_width = 100)]
pub(crate) struct Cli {
    /// The command.
    #[command(subcommand)]
    pub(crate) command: Command,
    /// Options of every command.
    #[command(flatten)]
    pub(crate) shared: Shared,
}

/// The commands.
#[derive(Subcommand)]
pub(crate) enum Command {
    /// Create a starter project: settings, a goal, and one event, target, system and part to build on
    Init(init::Init),
    /// Add a record; without values, ask for them one by one
    Add(add::Add),
    /// Check all records and report what is wrong or missing, from goal to part
    Check(check::Check),
    /// Show what a change does (new and fixed findings, changed limits and values) between two revisions, or a revision
    /// and the working tree
    Delta(delta::Delta),
    /// Create an example repository to try the commands on: a fictional car and its season, commit by commit
    Example(example::Example),
    /// Install or remove the git hook that checks every commit
    Hook(hook::Hook),
    /// Show why a record exists: its chain to the goal, and the records that serve it
    Why(why::Why),
    /// List every target, event, goal and amount with its value, limit and status
    Values(values::Values),
    /// Show the shares of each budget, their room, and the limit changes that would close the gap
    Budget(budget::Budget),
    /// Show the planned, predicted and needed points of each event
    Points(points::Points),
    /// Show how many points one unit, or 1 %, of each value is worth
    Worth(worth::Worth),
    /// Compare the alternatives of a decision: points, amounts and targets of the whole car with each one
    Compare(compare::Compare),
    /// Review the season: which targets were met, with what evidence, and how good the predictions were
    Audit(audit::Audit),
    /// Write a talk about the car as one HTML file: slides with notes and a clock, for judges, sponsors or newcomers
    Deck(deck::Deck),
    /// Write one HTML page of the car as it is now: the answer first, and a place for every record
    Page(page::Page),
    /// Show the history of a record: every commit that changed it, and its value and limit over time
    History(history::History),
    /// Write parts, budgets, targets, results and points to a workbook for a spreadsheet (.xlsx)
    Export(export::Export),
    /// Explain a check, a kind of record, a model or a score sheet; without a name, list all
    Explain(explain::Explain),
    /// Change one value of a record: only its line in the file is edited
    Set(set::Set),
    /// Change the limit of a target, and add the revision with who agreed and why
    Revise(revise::Revise),
    /// Give a record another id, with every reference to it
    Rename(rename::Rename),
    /// Take parts with their amounts from a spreadsheet (.xlsx, .ods, .csv), again and again
    Import(import::Import),
    /// Show all records and their links, from the goals down
    Graph(graph::Graph),
    /// Print the JSON Schema of record files, of the settings, or of a JSON answer
    Schema(schema::Schema),
    /// Print shell completions
    Completions(completions::Completions),
}

/// The output, and how the command ends.
pub(crate) struct Done {
    pub(crate) text: String,
    /// Whether there is a finding at error level.
    pub(crate) errors: bool,
    /// Whether the answer cannot be had, because what it depends on is broken or missing.
    pub(crate) unanswered: bool,
    /// Whether its lines are commands to the runner of a CI.
    pub(crate) commands: bool,
}

impl Done {
    /// The output of a command that ends with the status of a failure unless its answer can be had.
    fn answer(text: String, can_be_had: bool) -> Self {
        Self { text, errors: false, unanswered: !can_be_had, commands: false }
    }
}

/// The text of a printer, inside the width of the terminal.
fn folded(shared: &Shared, printer: impl FnOnce(Ink) -> String) -> String {
    let ink = Ink::stdout(shared);
    fitted(&printer(ink), ink)
}

/// The same for a command that has only text.
fn prose(shared: &Shared, done: Result<Done, Error>) -> Result<Done, Error> {
    done.map(|done| Done { text: folded(shared, |_| done.text), ..done })
}

impl From<String> for Done {
    fn from(text: String) -> Self {
        Self { text, errors: false, unanswered: false, commands: false }
    }
}

/// The output formats of most commands.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// Text
    Terminal,
    /// JSON for scripts (version 1, stable)
    Json,
}

/// The output formats of commands whose answer is a table.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum TableFormat {
    /// Text
    Terminal,
    /// JSON for scripts (version 1, stable)
    Json,
    /// A table for a spreadsheet: numbers without units, `unit` in a column or in the head; text that could be a formula
    /// begins with an apostrophe
    Csv,
}

/// The output formats of commands that list findings.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum FindingsFormat {
    /// Text
    Terminal,
    /// JSON for scripts (version 1, stable)
    Json,
    /// SARIF 2.1.0, for editors and code scanning; waived findings are included as suppressed
    Sarif,
    /// One line per finding, in compiler format: `path:line:column: level: message [check]`
    Lines,
    /// Annotations of GitHub Actions
    Github,
    /// Code quality report of GitLab CI
    Gitlab,
    /// A table for a spreadsheet; waived findings are included with the name of the waiver
    Csv,
}

/// Runs a command.
pub(crate) fn run(command: Command, shared: &Shared) -> Result<Done, Error> {
    match command {
        Command::Init(command) => prose(shared, command.run(shared)),
        Command::Add(command) => command.run(shared),
        Command::Check(command) => command.run(shared),
        Command::Delta(command) => command.run(shared),
        Command::Example(command) => prose(shared, command.run(shared)),
        Command::Hook(command) => prose(shared, command.run(shared)),
        Command::Why(command) => command.run(shared),
        Command::Values(command) => command.run(shared),
        Command::Audit(command) => command.run(shared),
        Command::Budget(command) => command.run(shared),
        Command::Points(command) => command.run(shared),
        Command::Worth(command) => command.run(shared),
        Command::Compare(command) => command.run(shared),
        Command::Deck(command) => command.run(shared),
        Command::Page(command) => prose(shared, command.run(shared)),
        Command::History(command) => command.run(shared),
        Command::Explain(command) => command.run(shared),
        Command::Set(command) => command.run(shared),
        Command::Revise(command) => command.run(shared),
        Command::Rename(command) => command.run(shared),
        Command::Import(command) => command.run(shared),
        Command::Export(command) => command.run(shared),
        Command::Graph(command) => command.run(shared),
        Command::Schema(command) => command.run(),
        Command::Completions(command) => command.run(),
    }
}
