//! The headlines of a delta: points, amounts of the car, and targets whose status changed.

use foldhash::HashMap;
use schema::quantity::Unit;

use super::{ChangedNode, Delta, ValueChange};
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::{GoalPoints, Key, Spread, Status, Values};

/// The number that a headline shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HeadlineOf {
    /// The points of a goal of head.
    Points(RecordId),
    /// An amount of the whole car.
    Amount(String),
}

/// A number at the top of a report.
#[derive(Clone, Debug)]
pub struct Headline {
    /// The number that it shows.
    pub of: HeadlineOf,
    /// The value in base, in SI.
    pub before: Option<f64>,
    /// The value in head, in SI.
    pub after: Option<f64>,
    /// The interval of the value in head, if it is not about as wide on both sides.
    pub interval: Option<(f64, f64)>,
    /// Mean and interval of points in base and in head, if they are known.
    pub spreads: [Option<Spread>; 2],
    /// The unit to show both in.
    pub unit: Unit,
}

/// A target whose status changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StatusChange {
    /// The target in head.
    pub target: RecordId,
    /// Its status in base.
    pub before: Status,
    /// Its status in head.
    pub after: Status,
}

impl Delta {
    /// The points of each goal, and the amounts of the whole car.
    pub fn headlines(&self, base: &Study, head: &Study) -> Vec<Headline> {
        let mut all = Vec::new();
        let (old, new) = (base.values(), head.values());
        let of_head = self.values.iter().filter_map(|value| match value.named {
            ChangedNode::Head(node) => Some((node, value)),
            ChangedNode::Base(_) => None,
        });
        let of_head: HashMap<NodeId, &ValueChange> = of_head.collect();
        let id = |goal: &GoalPoints| base.loaded.record(goal.index).id.as_str();
        let goals: HashMap<&str, &GoalPoints> = base.goals().iter().map(|own| (id(own), own)).collect();
        for goal in head.goals() {
            let changed = of_head.get(&goal.node);
            let own = goals.get(head.loaded.record(goal.index).id.as_str()).copied();
            let before = match (own, changed) {
                (Some(own), _) => own.predicted,
                (None, Some(changed)) => changed.before,
                // The values of the two states were not compared.
                (None, None) if self.lacks_files.contains(&true) => None,
                (None, None) => goal.predicted,
            };
            // A sum without the events that have no value is not the points of the goal.
            let before = before.filter(|_| own.is_none_or(|own| own.predicted.is_some()));
            let [before, after] = self.if_known([before, goal.predicted]);
            let (of, unit) = (HeadlineOf::Points(goal.index), new.unit(goal.node).clone());
            let spread = goal.spread.as_ref().filter(|spread| after.is_some() && spread.half().is_none());
            let interval = spread.map(|spread| (spread.low, spread.high));
            let spreads = [
                own.and_then(|own| own.spread.clone()).filter(|_| before.is_some()),
                goal.spread.clone().filter(|_| after.is_some()),
            ];
            all.push(Headline { of, before, after, interval, spreads, unit });
        }
        let mut names: Vec<&str> = new.amounts().iter().chain(old.amounts()).map(|name| &**name).collect();
        names.sort_unstable();
        names.dedup();
        for name in names {
            let node = |values: &Values| -> Option<NodeId> { values.node(&Key::Group(None, values.amount(name)?)) };
            let (before, after) = (node(old), node(new));
            let unit = match (before, after) {
                (_, Some(node)) => new.unit(node).clone(),
                (Some(node), None) => old.unit(node).clone(),
                (None, None) => continue,
            };
            let (before, after) = (before.and_then(|node| old.value(node)), after.and_then(|node| new.value(node)));
            let [before, after] = self.if_known([before, after]);
            if before.is_some() || after.is_some() {
                let of = HeadlineOf::Amount(name.to_owned());
                all.push(Headline { of, before, after, interval: None, spreads: [None, None], unit });
            }
        }
        all
    }

    /// The values before and after, without those of a state that lacks files.
    fn if_known(&self, [before, after]: [Option<f64>; 2]) -> [Option<f64>; 2] {
        let [base, head] = self.lacks_files;
        [before.filter(|_| !base), after.filter(|_| !head)]
    }

    /// The targets whose status changed, in the order of the records of head.
    pub fn status_changes(&self, base: &Study, head: &Study) -> Vec<StatusChange> {
        if self.lacks_files.contains(&true) {
            return Vec::new();
        }
        let before: HashMap<RecordId, Status> =
            base.target_statuses().iter().map(|own| (own.index, own.status)).collect();
        let renamed: HashMap<RecordId, RecordId> = self.renamed.iter().map(|(old, new)| (*new, *old)).collect();
        let change = |target: RecordId, after: Status| {
            let was = renamed.get(&target).copied();
            let was = was.or_else(|| base.loaded.find(head.loaded.record(target).id.as_str()))?;
            let before = before.get(&was).copied().filter(|before| *before != after)?;
            Some(StatusChange { target, before, after })
        };
        head.target_statuses().iter().filter_map(|own| change(own.index, own.status)).collect()
    }
}
