//! The season looked back on: was the goal reached, which targets were met and by what evidence, how good were the
//! predictions, which loops closed.
//!
//! [`Audit`] is made of the records as they are; what git alone knows (when a limit moved, what a part weighed on paper,
//! the car's mass week by week) comes in as a [`Season`], and is left out where there is none.

mod at_risk;
mod from_history;
mod points;
mod predictions;
mod season;
mod targets;
mod verification;

#[cfg(test)]
mod tests;

pub use at_risk::{AtRiskPeriod, Course};
pub use points::{EventScore, GoalScore};
pub use predictions::{Group, Pair, Source, allowance, groups};
pub use season::{AmountStep, LimitStep, Moment, Season};
pub use targets::{TargetAudit, Verdict};
pub use verification::{Method, Verified};

use std::collections::BTreeMap;

use schema::Day;
use schema::records::Body;

use crate::checks::future_result::lies_ahead;
use crate::graph::{Graph, Link};
use crate::report::Report;
use crate::values::{Measured, Values};

/// The season looked back on.
#[derive(Debug)]
pub struct Audit {
    /// The day it reckons with.
    pub day: Day,
    /// How many results are dated after it, and count all the same.
    pub ahead: usize,
    /// The goals: points planned, predicted and scored.
    pub goals: Vec<GoalScore>,
    /// Every target, in the order of the records.
    pub targets: Vec<TargetAudit>,
    /// What was to be verified, by method.
    pub verified: Vec<Verified>,
    /// Estimates beside what came of them.
    pub pairs: Vec<Pair>,
    /// The targets that were at risk at some time.
    pub at_risk_periods: Vec<AtRiskPeriod>,
    /// The analyses that informed nothing.
    pub unused_analyses: Vec<usize>,
    /// The waivers, and whether each was in force on the day.
    pub waivers: Vec<(usize, bool)>,
}

impl Audit {
    /// Looks back.
    pub fn new(values: &Values<'_, '_>, report: &Report, season: Option<&Season>) -> Self {
        let graph = values.graph;
        let expected = Values::with(graph, Measured::BeforeTheContest);
        let on_paper = Values::with(graph, Measured::Nothing);
        let results = Results::new(graph);
        let targets = targets::all(values, &on_paper, report, &results, season);
        let pairs = predictions::pairs(values, &targets, season);
        Self {
            day: report.day,
            ahead: ahead(graph, report.day),
            goals: points::all(values, &expected, report),
            verified: verification::all(graph, &targets, &results),
            at_risk_periods: season.map(|season| at_risk::all(graph.loaded, &targets, season)).unwrap_or_default(),
            unused_analyses: unused_analyses(graph, report),
            waivers: waivers(graph, report.day),
            targets,
            pairs,
        }
    }
}

/// The results of each record, the latest last.
pub(crate) struct Results(BTreeMap<usize, Vec<usize>>);

impl Results {
    fn new(graph: &Graph<'_>) -> Self {
        let mut all: BTreeMap<usize, Vec<(Option<Day>, usize)>> = BTreeMap::new();
        for (index, entry) in graph.loaded.entries.iter().enumerate() {
            let Body::Result(result) = &entry.record.body else { continue };
            for of in graph.linked(index, Link::Verifies, petgraph::Direction::Outgoing) {
                all.entry(of).or_default().push((result.date, index));
            }
        }
        let sorted = |mut list: Vec<(Option<Day>, usize)>| {
            list.sort_unstable();
            list.into_iter().map(|(_, index)| index).collect()
        };
        Self(all.into_iter().map(|(of, list)| (of, sorted(list))).collect())
    }

    fn latest(&self, index: usize) -> Option<usize> {
        self.0.get(&index)?.last().copied()
    }
}

/// What the check of this name told, whether it is waived or not.
fn unused_analyses(graph: &Graph<'_>, report: &Report) -> Vec<usize> {
    let all = report.findings.iter().chain(&report.waived);
    let told = all.filter(|finding| finding.check.name == "unused-analysis");
    let mut unused: Vec<usize> = told.filter_map(|finding| graph.loaded.find(finding.record.as_deref()?)).collect();
    unused.sort_unstable();
    unused
}

fn ahead(graph: &Graph<'_>, day: Day) -> usize {
    let bodies = graph.loaded.entries.iter().map(|entry| &entry.record.body);
    let dates = bodies.filter_map(|body| if let Body::Result(result) = body { result.date } else { None });
    dates.filter(|date| lies_ahead(day, *date)).count()
}

fn waivers(graph: &Graph<'_>, day: Day) -> Vec<(usize, bool)> {
    let entries = graph.loaded.entries.iter().enumerate();
    entries
        .filter_map(|(index, entry)| match &entry.record.body {
            Body::Waiver(waiver) => Some((index, waiver.until.is_some_and(|until| until >= day))),
            _ => None,
        })
        .collect()
}
