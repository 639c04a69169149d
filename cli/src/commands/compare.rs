//! `compare`: put each alternative of a decision into the whole car.

use clap::Args;
use trace::Error;
use trace::graph::Graph;
use trace::values::{Measured, Values};

use super::{Done, Format, warned};
use crate::args::{Records, Shared};
use crate::output::{compare, json};
use crate::screen::Ink;
use schema::records::Body;

use super::points::no_goal;

/// Put each alternative of a decision into the whole car.
#[derive(Args)]
pub(crate) struct Compare {
    /// The decision
    decision: String,
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Compare {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let loaded = self.records.load()?;
        let graph = Graph::new(&loaded);
        let values = Values::with(&graph, Measured::Nothing);
        let index = super::why::find(&loaded, &self.decision)?;
        let Body::Decision(decision) = &loaded.record(index).body else {
            let kind = loaded.record(index).kind();
            return Err(Error::new(format!("`{}` is no decision but a {kind}", self.decision)).help("name a decision"));
        };
        let gradients = values.gradients();
        let goal = values.goals(&gradients).into_iter().next().ok_or_else(no_goal)?;
        let outcomes = values.compare(decision, goal.node);
        let ink = Ink::stdout(shared);
        Ok(match self.format {
            Format::Terminal => warned(&loaded, ink) + &compare::terminal(&values, index, &goal, &outcomes, ink),
            Format::Json => json::text(&compare::json(&values, index, &goal, &outcomes)),
        }
        .into())
    }
}
