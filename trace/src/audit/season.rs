//! What git knows of a season, as the audit needs it.

use foldhash::HashMap;
use schema::{Day, Quantity};

use crate::values::{Limit, Status};

/// What git knows.
#[derive(Debug, Default)]
pub struct Season {
    /// How many commits changed the records.
    pub commits: usize,
    /// Is the history cut off before its beginning?
    pub shallow: bool,
    /// The car at commits of the season, oldest first.
    pub timeline: Vec<TimelinePoint>,
    /// The limits that each target had, from the one first set on.
    pub limits: HashMap<String, Vec<PastLimit>>,
    /// The amounts that each part had, by `part.amount`, from the one first written on.
    pub amounts: HashMap<String, Vec<PastAmount>>,
}

/// The car as it was at one commit.
#[derive(Clone, Debug)]
pub struct TimelinePoint {
    /// The day of the commit.
    pub day: Day,
    /// Its full name; `None` where it is not committed.
    pub commit: Option<String>,
    /// The amounts of the whole car, by name: value in SI.
    pub amounts: HashMap<String, f64>,
    /// The points predicted for each goal, by id.
    pub points: HashMap<String, f64>,
    /// Where each target stood, by id: value in SI where it had one, and limits in SI.
    pub targets: HashMap<String, PastTarget>,
}

/// Where a target stood at one moment.
#[derive(Clone, Debug, PartialEq)]
pub struct PastTarget {
    /// Its status.
    pub status: Status,
    /// Its value in SI, where it had one.
    pub value: Option<f64>,
    /// The expanded uncertainty of the value, in SI.
    pub uncertainty: f64,
    /// Its lower and upper limit in SI.
    pub limits: (Option<f64>, Option<f64>),
}

/// A limit that a target had.
#[derive(Clone, Debug, PartialEq)]
pub struct PastLimit {
    /// The day it was set or moved.
    pub day: Day,
    /// The full name of the commit; `None` where it is not committed.
    pub commit: Option<String>,
    /// The limit as it is written.
    pub text: String,
    /// The limit, in SI.
    pub limit: Limit,
    /// Is it the first one, or back at it, or does a revision lead to it?
    pub recorded: bool,
    /// Was there a result of the target already, be it gone by now?
    pub after_result: bool,
}

/// An amount that a part had.
#[derive(Clone, Debug, PartialEq)]
pub struct PastAmount {
    /// The day it was written.
    pub day: Day,
    /// The amount.
    pub value: Quantity,
    /// The basis it stood on.
    pub basis: Option<String>,
}

impl Season {
    /// Where a target stood at each moment at which it was there.
    pub fn target_over_time<'s>(
        &'s self,
        id: &'s str,
    ) -> impl Iterator<Item = (&'s TimelinePoint, &'s PastTarget)> + 's {
        self.timeline.iter().filter_map(move |moment| Some((moment, moment.targets.get(id)?)))
    }

    /// How a target stood at its last moment before a day.
    pub fn status_on(&self, id: &str, day: Day) -> Option<Status> {
        self.target_over_time(id).filter(|(moment, _)| moment.day <= day).last().map(|(_, course)| course.status)
    }
}
