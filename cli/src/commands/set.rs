//! `set`: changes or removes one value of a record in its file.

use clap::Args;
use trace::Error;
use trace::edit::{remove, set};

use super::Done;
use super::edits::{self, About, Options};
use crate::args::Shared;
use crate::screen::clean;

const AFTER_HELP: &str = "\
Examples:
  tierod set front-upright.mass '0.61 kg'
  tierod set accel-time.verify.due 2027-06-01
  tierod set season-goal.place --remove
  tierod set front-upright --remove

A value keeps its kind of quantity: `500` in place of `513.5 g` is refused. To give a key another kind of value, remove it first.

Exit status: 2 if the edit would make the record wrong: a value that cannot be read, a missing unit or one of another \
dimension, a reference to a record that does not exist; 1 if it adds an error that stops a commit; otherwise 0.";

/// The arguments of `set`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Set {
    /// The id of the record, a dot and the key; further dots lead to nested keys and items of lists: `front-upright.mass`,
    /// `accel-time.verify.due`, `brake-run.evidence.2`
    #[arg(value_name = "ID.KEY")]
    address: String,
    /// The value as in YAML: `'0.61 kg'`, `'[a, b]'`; it gets quotes in the file if it needs them
    #[arg(value_name = "VALUE", allow_hyphen_values = true, conflicts_with = "remove")]
    value: Option<String>,
    /// Remove the key with its value, or the record if only its id is given
    #[arg(long)]
    remove: bool,
    /// Write the name of a record that does not exist yet
    #[arg(long)]
    allow_unknown: bool,
    #[command(flatten)]
    options: Options,
}

impl Set {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        // `ID.KEY=VALUE` as `add` has it.
        let (address, value) = match (&self.value, self.address.split_once('=')) {
            (None, Some((address, value))) if !self.remove => (address, Some(value)),
            (value, _) => (self.address.as_str(), value.as_deref()),
        };
        let (address, value) = (address.trim(), value.map(str::trim));
        edits::run(&self.options, shared, |edits| {
            if self.allow_unknown {
                edits.allow_unknown();
            }
            let record = match value {
                _ if self.remove => remove(edits, address)?,
                Some(value) if !value.is_empty() => set(edits, address, value)?,
                _ => {
                    let help = format!(
                        "give it after the key: `tierod set {} VALUE`; `--remove` removes the key",
                        clean(address)
                    );
                    return Err(Error::new("the value is missing").help(help));
                }
            };
            Ok(About::record(edits.loaded().record(record).id.as_str()))
        })
    }
}
