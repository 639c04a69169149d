//! `compare`: the whole car with each alternative of a decision.

use clap::Args;
use trace::Error;

use super::{Done, Format, warning};
use crate::args::{Records, Shared};
use crate::output::{compare, json};
use crate::screen::Ink;

use super::points::no_goal;

/// The arguments of `compare`.
#[derive(Args)]
pub(crate) struct Compare {
    /// The id of the decision
    decision: String,
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Compare {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let study = self.records.study()?;
        let (loaded, values) = (&study.loaded, study.values_on_paper());
        let index = super::why::find(loaded, &self.decision)?;
        let Some(decision) = loaded.decision(index) else {
            let kind = loaded.kind(index).with_article();
            let error = Error::new(format!("`{}` is {kind}, not a decision", self.decision));
            return Err(error.help("give the id of a decision"));
        };
        let goal = values.goals().into_iter().next().ok_or_else(no_goal)?;
        let outcomes = values.compare(decision, goal.node);
        let ink = Ink::stdout(shared);
        Ok(match self.format {
            Format::Terminal => warning(loaded, ink) + &compare::terminal(values, index, &goal, &outcomes, ink),
            Format::Json => json::text(&compare::json(values, index, &goal, &outcomes)),
        }
        .into())
    }
}
