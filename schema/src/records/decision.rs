//! `decisions`: choices between alternatives.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{ShapeProblem, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::suggest;
use crate::words::{Id, Ref};

record! {
    /// A choice between alternatives, judged by targets, and why it fell as it did.
    pub struct Decision {
        /// `car`, or the system or part it is about.
        pub of: Option<Id>,
        /// The targets that judge the alternatives.
        pub weighs: Vec<Id>,
        /// The alternatives by name.
        pub alternatives: Entries<Id, Alternative>,
        /// The alternative that was chosen; left out while the decision is open.
        pub chosen: Option<Id>,
        /// Why that one.
        pub reason: Option<String>,
    }
}

/// One alternative of a decision.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Alternative {
    /// A short phrase.
    pub title: Option<String>,
    /// The values that it would change: a target, or an amount of a part, and its value then.
    pub sets: Entries<Ref, Quantity>,
    /// Anything else worth keeping.
    pub notes: Option<String>,
}

impl Decision {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        let Some(chosen) = &self.chosen else { return };
        if self.alternatives.get(chosen.as_str()).is_none() {
            let names = || self.alternatives.keys().map(Id::as_str);
            let otherwise = if self.alternatives.is_empty() {
                "list the alternatives".to_owned()
            } else {
                format!("the alternatives are {}", suggest::any_of(names()))
            };
            let help = suggest::did_you_mean(chosen.as_str(), names(), &otherwise);
            problems.push(ShapeProblem::wrong("chosen", format!("`{chosen}` is not one of the alternatives"), &help));
        }
    }
}
