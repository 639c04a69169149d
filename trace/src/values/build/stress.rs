//! The stress file of an analysis, and what is wrong with it.

use std::sync::Arc;

use models::stress::{StressField, StressPart};
use schema::records::{Analysis, Found};

use super::builder::{Builder, Field};
use crate::ids::RecordId;
use crate::stress;
use crate::values::problems::ValueProblemKind;

impl Builder<'_> {
    /// The field of an analysis with a stress file; `None` if it cannot be read, which is reported, or if nothing needs it.
    pub(super) fn stress_field(
        &mut self,
        index: RecordId,
        analysis: &Analysis,
    ) -> Option<Vec<(&'static str, Arc<StressField>)>> {
        let ask = match stress::ask(analysis) {
            Ok(ask) => ask,
            Err(wrong) => {
                for wrong in wrong {
                    let field = match wrong.input {
                        Some(input) => Field::new(index, &["given", input]),
                        None => Field::new(index, &["model"]),
                    };
                    self.report(ValueProblemKind::Bad, &field, 0, wrong.message, wrong.help);
                }
                return None;
            }
        };
        let loaded = &self.graph.loaded;
        if self.superseded.contains(loaded.record(index).id.as_str()) {
            return None;
        }
        match loaded.stress_field(&ask)? {
            Ok(field) => Some(vec![(stress::FILE, field)]),
            Err(error) => {
                let file = stress::file_of(analysis).unwrap_or_default();
                let field = Field::new(index, &["given", stress::FILE]);
                self.report(ValueProblemKind::Table, &field, 0, format!("{file}: {error}"), error.help);
                None
            }
        }
    }

    /// Reports an output that needs the density of an analysis which has none.
    pub(super) fn report_missing_density(
        &mut self,
        index: RecordId,
        analysis: &Analysis,
        output: Option<&Found>,
        field: &Field,
    ) {
        let needs = output.is_some_and(|output| StressPart::OF_DENSITY.contains(&output.text()));
        if needs && stress::has_stress(analysis) && analysis.given.get("density").is_none() {
            let message = format!("{} has no `density`, which its mass needs", self.graph.loaded.record(index).id);
            let help = "add the density of the material, as in `density: 2700 kg/m^3`";
            self.report(ValueProblemKind::Bad, field, 0, message, help);
        }
    }
}
