//! `rename`: gives a record another id, with everything that names it.

use clap::Args;
use trace::Error;
use trace::edit::rename;

use super::Done;
use super::edits::{self, About, Options};
use crate::args::Shared;

/// The arguments of `rename`.
#[derive(Args)]
pub(crate) struct Rename {
    /// The id of the record
    old: String,
    /// The new id
    new: String,
    #[command(flatten)]
    options: Options,
}

impl Rename {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        edits::run(&self.options, shared, |edits| {
            rename(edits, &self.old, &self.new)?;
            Ok(About { earlier: Some(self.old.clone()), ..About::record(&self.new) })
        })
    }
}
