//! `decisions`: choices between alternatives.

use schemars::JsonSchema;
use serde::Deserialize;

use super::{ShapeProblem, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::suggest;
use crate::words::{Id, Ref};

record! {
    /// A choice between alternatives that are compared by targets, with the reason for the choice.
    pub struct Decision {
        /// `car`, or the system or part that the decision is about.
        pub of: Option<Id>,
        /// The targets by which the alternatives are compared.
        pub criteria: Vec<Id>,
        /// The alternatives by name.
        pub alternatives: Entries<Id, Alternative>,
        /// The chosen alternative; omit it until the decision is made.
        pub chosen: Option<Id>,
        /// Why this alternative was chosen.
        pub reason: Option<String>,
    }
}

/// One alternative of a decision.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Alternative {
    /// A short name for people.
    pub title: Option<String>,
    /// The values that it changes: a target or an amount of a part, with the value that it has with this alternative.
    pub sets: Entries<Ref, Quantity>,
    /// Any other information.
    pub notes: Option<String>,
}

impl Decision {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        let Some(chosen) = &self.chosen else { return };
        if self.alternatives.get(chosen.as_str()).is_none() {
            let names = || self.alternatives.keys().map(Id::as_str);
            let otherwise = if self.alternatives.is_empty() {
                "add `alternatives`".to_owned()
            } else {
                format!("the alternatives are {}", suggest::any_of(names()))
            };
            let help = suggest::did_you_mean(chosen.as_str(), names(), &otherwise);
            problems.push(ShapeProblem::wrong("chosen", format!("`{chosen}` is not one of the alternatives"), &help));
        }
    }
}
