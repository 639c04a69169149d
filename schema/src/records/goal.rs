//! `goals`: what the team set out to reach.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{ShapeProblem, record};
use crate::quantity::Quantity;

record! {
    /// What the team set out to reach in the contest: a place or points, and why.
    pub struct Goal {
        /// The place to reach, counted from 1.
        pub place: Option<u32>,
        /// The points to reach, in `pts`.
        pub points: Option<Quantity>,
        /// Why this goal, in one or two sentences.
        pub reason: Option<String>,
        /// The table of past fields that says what points a place has taken.
        pub field: Option<Field>,
    }
}

/// A CSV table of past fields, and the names of its columns.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Field {
    /// The CSV file, relative to the data root.
    #[schemars(required)]
    pub file: Option<String>,
    /// The column that holds the year of the contest.
    pub year: Option<String>,
    /// The column that holds the final place.
    pub place: Option<String>,
    /// The column that holds the total points.
    pub total: Option<String>,
}

impl Goal {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        match (self.place, &self.points) {
            (None, None) => problems.push(ShapeProblem::missing("place", "a goal is a `place` or `points: 640 pts`")),
            (Some(_), Some(_)) => {
                problems.push(ShapeProblem::wrong(
                    "points",
                    "a goal is a place or points, not both",
                    "keep one of them",
                ));
            }
            (Some(0), None) => {
                problems.push(ShapeProblem::wrong("place", "places count from 1", "write the place to reach"));
            }
            _ => {}
        }
        if let Some(Field { file: None, .. }) = self.field {
            let mut problem = ShapeProblem::missing("file", "name the CSV file of past fields");
            problem.route = vec!["field", "file"];
            problems.push(problem);
        }
    }
}
