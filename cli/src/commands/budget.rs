//! `budget`: what each budget has to give, who is over, who has room, and what would close the gap.

use std::path::Path;

use clap::Args;
use schema::suggest;
use trace::Error;

use super::{Done, Format, warned};
use crate::args::{Records, Shared};
use crate::output::{budget, json};
use crate::screen::{Ink, clean};

/// Show who is over in each budget, who has room, and the least change of limits that would close the gap.
#[derive(Args)]
pub(crate) struct Budget {
    /// One amount, as in `mass`, or the target whose budget it is
    amount: Option<String>,
    #[command(flatten)]
    records: Records,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Budget {
    pub(super) fn run(mut self, shared: &Shared) -> Result<Done, Error> {
        // One word may be an amount or, as in every other command, the data root.
        if self.records.root.is_none() && self.amount.as_deref().is_some_and(is_root) {
            self.records.root = self.amount.take().map(Into::into);
        }
        let study = self.records.study()?;
        let (loaded, budgets) = (&study.loaded, study.budgets());
        let wanted = |budget: &trace::values::Budget| match self.amount.as_deref() {
            None => true,
            Some(name) => budget.amount.as_deref() == Some(name) || loaded.record(budget.index).id.as_str() == name,
        };
        if let Some(name) = self.amount.as_deref()
            && !budgets.iter().any(wanted)
        {
            let names = budgets.iter().filter_map(|budget| budget.amount.as_deref());
            let ids = budgets.iter().map(|budget| loaded.record(budget.index).id.as_str());
            let help = suggest::did_you_mean(name, names.chain(ids), "`tierod budget` shows all budgets");
            return Err(Error::new(format!("there is no budget of `{}`", clean(name))).help(help));
        }
        let report = budget::Report { values: study.values(), budgets, wanted: &wanted, day: study.day };
        let ink = Ink::stdout(shared);
        Ok(match self.format {
            Format::Terminal => warned(loaded, ink) + &budget::terminal(&report, ink),
            Format::Json => json::text(&budget::json(&report)),
        }
        .into())
    }
}

/// A folder is a data root, or lies in one, when it is written as a path or holds the settings.
fn is_root(word: &str) -> bool {
    let path = Path::new(word);
    path.is_dir() && (!schema::words::is_kebab_case(word) || path.join(schema::settings::FILE).is_file())
}
