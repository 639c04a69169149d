//! `revise`: changes a limit, and adds the revision with who agreed and why.

use clap::Args;
use schema::Day;
use trace::Error;
use trace::edit::{Revising, revise};

use super::Done;
use super::edits::{self, About, Options};
use crate::args::Shared;

/// The arguments of `revise`.
#[derive(Args)]
pub(crate) struct Revise {
    /// The id of the target
    target: String,
    /// The limit to change: `at-most`, `at-least`, `between.1` or `between.2`
    key: String,
    /// The new limit
    #[arg(value_name = "LIMIT", allow_hyphen_values = true)]
    to: String,
    /// Why the limit is changed, in one sentence
    #[arg(long, value_name = "TEXT")]
    reason: String,
    /// The role that agreed to it
    #[arg(long, value_name = "ROLE")]
    agreed_by: String,
    /// The date of the agreement [default: the date that is used as today]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    date: Option<Day>,
    /// The id of the revision [default: the id of the target and the date]
    #[arg(long, value_name = "ID")]
    id: Option<String>,
    #[command(flatten)]
    options: Options,
}

impl Revise {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        edits::run(&self.options, shared, |edits| {
            let revising = Revising {
                target: &self.target,
                key: &self.key,
                to: &self.to,
                reason: &self.reason,
                agreed_by: &self.agreed_by,
                date: self.date,
                id: self.id.as_deref(),
            };
            let revision = revise(edits, &revising)?;
            Ok(About { revision: Some(revision.to_string()), ..About::record(&self.target) })
        })
    }
}
