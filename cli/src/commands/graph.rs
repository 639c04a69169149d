//! `graph`: all records and their links.

use clap::{Args, ValueEnum};
use trace::Error;

use super::{Done, folded};
use crate::args::{Records, Shared};
use crate::output::{dot, json, tree};

/// The arguments of `graph`.
#[derive(Args)]
pub(crate) struct Graph {
    #[command(flatten)]
    records: Records,
    /// Show only this record and the records below it
    #[arg(long, value_name = "ID")]
    below: Option<String>,
    /// Show each part in the text, and in the drawing also the records outside of the chain
    #[arg(long)]
    all: bool,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

/// The output formats.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// Text: a tree from the goals down
    Terminal,
    /// JSON for scripts (version 1, stable)
    Json,
    /// Graph description for Graphviz
    Dot,
}

impl Graph {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let study = self.records.study()?;
        let graph = &study.graph;
        let top = self.below.as_deref().map(|id| study.loaded.named(id)).transpose()?;
        let keep = top.map(|index| {
            let mut keep = graph.below(index);
            keep.push(index);
            keep.sort_unstable();
            keep
        });
        let keep = keep.as_deref();
        Ok(match self.format {
            Format::Terminal => folded(shared, |ink| tree::graph(&study, top, self.all, ink)),
            Format::Json => json::text(&json::graph(graph, keep)),
            Format::Dot => dot::graph(&study, keep, self.all),
        }
        .into())
    }
}
