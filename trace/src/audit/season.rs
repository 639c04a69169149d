//! What git has of a season, as far as the audit needs it.

use std::sync::Arc;

use foldhash::HashMap;
use schema::quantity::Unit;
use schema::{Day, Quantity};

use super::complete::KnownComplete;
use crate::history::LimitWords;
use crate::values::{Limit, Status};

/// What git has of a season.
#[derive(Debug, Default)]
pub struct Season {
    /// The number of commits that changed the records.
    pub commits: usize,
    /// Whether the beginning of the history is missing.
    pub shallow: bool,
    /// Which commits are missing in the timeline, if some are not evaluated.
    pub note: Option<String>,
    /// The car at commits of the season, oldest first.
    pub timeline: Vec<TimelinePoint>,
    /// The limits of each target, from the first one on.
    pub limits: HashMap<String, Vec<PastLimit>>,
    /// The values of each amount of a part, by `part.amount`, from the first one on.
    pub amounts: HashMap<String, Vec<PastAmount>>,
    pub(super) complete: KnownComplete,
}

/// The car at one commit.
#[derive(Clone, Debug)]
pub struct TimelinePoint {
    /// The day of the commit.
    pub day: Day,
    /// Its full id; `None` if it is not committed.
    pub commit: Option<String>,
    /// The amounts of the whole car, by name: value in SI.
    pub amounts: HashMap<String, f64>,
    /// The interval that contains 95 % of what these amounts may be, in SI, by name; none for amounts that are exact.
    pub amount_intervals: HashMap<String, (f64, f64)>,
    /// The points predicted for each goal, by id.
    pub points: HashMap<String, f64>,
    /// The interval that contains 95 % of what these points may be, by id of the goal; none for points that are exact.
    pub point_intervals: HashMap<String, (f64, f64)>,
    /// The chance that each goal was reached, by id; none once all its events have a result.
    pub chances: HashMap<String, f64>,
    /// The targets, by id.
    pub targets: HashMap<String, PastTarget>,
}

/// A target at one commit.
#[derive(Clone, Debug, PartialEq)]
pub struct PastTarget {
    /// Its status.
    pub status: Status,
    /// Its value in SI, if it had one.
    pub value: Option<f64>,
    /// The expanded uncertainty of the value, in SI.
    pub uncertainty: f64,
    /// Its lower and upper limit in SI.
    pub limits: (Option<f64>, Option<f64>),
}

/// A limit that a target had.
#[derive(Clone, Debug, PartialEq)]
pub struct PastLimit {
    /// The day of the commit that set or changed it.
    pub day: Day,
    /// The full id of the commit; `None` if it is not committed.
    pub commit: Option<String>,
    /// The limit as it was written.
    pub words: LimitWords,
    /// The limit, in SI.
    pub limit: Limit,
    /// Whether it is the first limit or equal to it, or a revision records it.
    pub recorded: bool,
    /// The ids of the results that the target had before, which may have been removed since.
    pub results_before: Arc<[Arc<str>]>,
}

impl PastLimit {
    /// Whether the target had a result before.
    pub fn is_after_result(&self) -> bool {
        !self.results_before.is_empty()
    }

    /// The unit that the limit was written in, which can be another one than now.
    pub fn unit(&self) -> Option<Unit> {
        Some(Quantity::parse(self.words.quantities.last()?).ok()?.unit().clone())
    }
}

/// An amount of a part at one commit.
#[derive(Clone, Debug, PartialEq)]
pub struct PastAmount {
    /// The day of the commit that set or changed it.
    pub day: Day,
    /// The amount.
    pub value: Quantity,
    /// Its basis.
    pub basis: Option<String>,
}

impl Season {
    /// A target at each point of the timeline at which it existed.
    pub fn target_over_time<'s>(
        &'s self,
        id: &'s str,
    ) -> impl Iterator<Item = (&'s TimelinePoint, &'s PastTarget)> + 's {
        self.timeline.iter().filter_map(move |point| Some((point, point.targets.get(id)?)))
    }
}
