//! `goals`: what the team wants to reach in the contest.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{ShapeProblem, record};
use crate::quantity::Quantity;

record! {
    /// What the team wants to reach in the contest: a place or points, with the reason.
    pub struct Goal {
        /// The place to reach; the first place is 1.
        pub place: Option<u32>,
        /// The points to reach, in `pts`.
        pub points: Option<Quantity>,
        /// Why this goal, in one or two sentences.
        pub reason: Option<String>,
        /// The results of past contests, from which the points for the place are estimated.
        pub past_standings: Option<PastStandings>,
    }
}

/// A CSV table with the results of past contests, and the names of its columns.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct PastStandings {
    /// The CSV file, relative to the project root.
    #[schemars(required)]
    pub file: Option<String>,
    /// The column with the year of the contest.
    pub year: Option<String>,
    /// The column with the final place.
    pub place: Option<String>,
    /// The column with the total points.
    pub total: Option<String>,
}

impl Goal {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        match (self.place, &self.points) {
            (None, None) => problems.push(ShapeProblem::missing("place", "add `place: 8`, or `points: 640 pts`")),
            (Some(_), Some(_)) => {
                problems.push(ShapeProblem::wrong(
                    "points",
                    "both `place` and `points` are set",
                    "keep one of them; `tierod set ID.KEY --remove` removes a key",
                ));
            }
            (Some(0), None) => {
                problems.push(ShapeProblem::wrong("place", "`place` is 0", "the first place is 1"));
            }
            _ => {}
        }
        if let Some(PastStandings { file: None, .. }) = self.past_standings {
            let mut problem =
                ShapeProblem::missing("file", "add `file: PATH`, the CSV file with the results of past contests");
            problem.route = vec!["past-standings", "file"];
            problems.push(problem);
        }
    }
}
