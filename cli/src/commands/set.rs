//! `set`: changes one value of a record in its file.

use clap::Args;
use schema::edit::Value;
use trace::Error;
use trace::edit::Address;

use super::Done;
use super::edits::{self, About, Options};
use crate::args::Shared;

/// The arguments of `set`.
#[derive(Args)]
pub(crate) struct Set {
    /// The id of the record, a dot and the key; further dots lead to nested keys and items of lists: `front-upright.mass`,
    /// `accel-time.verify.due`, `brake-run.evidence.2`
    #[arg(value_name = "ID.KEY")]
    address: String,
    /// The value as in YAML: `'0.61 kg'`, `'[a, b]'`; it gets quotes in the file if it needs them
    #[arg(value_name = "VALUE", allow_hyphen_values = true)]
    value: String,
    #[command(flatten)]
    options: Options,
}

impl Set {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        edits::run(&self.options, shared, |edits| {
            let address = Address::parse(edits.loaded(), &self.address)?;
            let change = address.set(edits.loaded(), Value::typed(&self.value));
            let path = edits.path_of(address.record).to_owned();
            edits.change(&path, change);
            Ok(About::record(edits.loaded().record(address.record).id.as_str()))
        })
    }
}
