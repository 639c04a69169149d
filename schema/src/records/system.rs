//! `systems`: groups of parts.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{Serves, ShapeProblem, Verify, record};
use crate::words::Id;

record! {
    /// A group of parts with one lead.
    pub struct System {
        /// `car`, or the system that it is part of.
        #[schemars(required)]
        pub r#in: Option<Id>,
        /// What holds for each part in it, directly or in a system of it: `{serves: {...}, verify: {...}}`. A part
        /// without `serves` inherits these links and reasons, a part without `verify` this plan; if several systems
        /// around a part have the key, the innermost one counts. A result `of` the system closes the inherited plan.
        pub for_parts: Option<ForParts>,
    }
}

/// What the parts of a system inherit, each key on its own.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct ForParts {
    /// The upward links, with their reasons, of each part without `serves`.
    pub serves: Serves,
    /// How each part without `verify` will be verified.
    pub verify: Option<Verify>,
}

impl System {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.r#in.is_none() {
            problems.push(ShapeProblem::missing("in", "add `in: car`, or `in: ID` of the system that it is part of"));
        }
    }
}
