//! `budget`: the shares of each budget, their room, and the limit changes that would close the gap.

use clap::Args;
use schema::suggest;
use trace::Error;

use super::{Done, TableFormat, folded};
use crate::args::{Records, Shared};
use crate::output::{budget, csv, grids, json};
use crate::screen::clean;

/// The arguments of `budget`.
#[derive(Args)]
pub(crate) struct Budget {
    /// Show only this amount, as in `mass`, or the budget of this target
    amount: Option<String>,
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: TableFormat,
}

impl Budget {
    pub(super) fn run(mut self, shared: &Shared) -> Result<Done, Error> {
        self.records.take_root(&mut self.amount);
        let study = self.records.study()?;
        let (loaded, budgets) = (&study.loaded, study.budgets());
        let wanted = |budget: &trace::values::Budget| match self.amount.as_deref() {
            None => true,
            Some(name) => budget.amount.as_deref() == Some(name) || loaded.record(budget.index).id.as_str() == name,
        };
        if let Some(name) = self.amount.as_deref()
            && !budgets.iter().any(wanted)
        {
            if loaded.renamed(name).is_some() {
                return Err(loaded.no_record(name, std::iter::empty()));
            }
            let names = budgets.iter().filter_map(|budget| budget.amount.as_deref());
            let ids = budgets.iter().map(|budget| loaded.record(budget.index).id.as_str());
            let help = suggest::did_you_mean(name, names.chain(ids), "`tierod budget` lists all budgets");
            return Err(Error::new(format!("no budget for `{}`", clean(name))).help(help));
        }
        let report = budget::ShownBudgets { values: study.values(), budgets, wanted: &wanted, day: study.day };
        let broken = report.broken();
        let text = match self.format {
            TableFormat::Terminal => folded(shared, |ink| broken.terminal(ink) + &budget::terminal(&report, ink)),
            TableFormat::Json => json::text(&budget::json(&report, &broken)),
            TableFormat::Csv => csv::text(&grids::budgets::grid(&study, &report, &broken)),
        };
        Ok(Done::answer(text, !broken.has_errors()))
    }
}
