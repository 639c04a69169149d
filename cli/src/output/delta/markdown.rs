//! The report of `delta` as Markdown, from a template: the team's own where it has one.

use trace::Error;

use super::{DeltaView, context};
use crate::output::template::{self, Escape};

/// For a pull request, or the summary of a step in CI.
pub(crate) fn markdown(view: &DeltaView<'_>) -> Result<String, Error> {
    let own = view.loaded()[1].snapshot.template("delta.md");
    template::render("delta.md", include_str!("../../../../templates/delta.md"), own, Escape::Markdown, &context(view))
}
