//! The output of `delta` as Markdown, from the template of the project if it has one.

use trace::Error;

use super::{DeltaView, context};
use crate::output::template::{self, Escape};

/// The comparison for a pull request, or the summary of a CI job.
pub(crate) fn markdown(view: &DeltaView<'_>) -> Result<String, Error> {
    let own = view.loaded()[usize::from(!view.template_of_base)].snapshot.template("delta.md");
    template::render("delta.md", include_str!("../../../../templates/delta.md"), own, Escape::Markdown, &context(view))
}
