//! What a change does to the chance of each goal and to the budgets, and which changed values are one and the same number.

use foldhash::HashMap;
use schema::quantity::{Unit, same_number};
use schema::words::CAR;

use super::{ChangedNode, Delta, Headline};
use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Budget, GoalPoints, Key};

/// The probability of reaching a goal before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChanceChange {
    /// The goal in head.
    pub goal: RecordId,
    /// The probability in base.
    pub before: Option<f64>,
    /// The probability in head.
    pub after: Option<f64>,
    /// The place that is recorded for the goal in base and in head.
    pub places: [Option<u32>; 2],
    /// Whether the place in head is enough for the goal; `None` without one, or if the goal is not a place.
    pub reached: Option<bool>,
}

/// A budget whose value or limit changed.
#[derive(Clone, Debug)]
pub struct BudgetChange {
    /// The target in head.
    pub target: RecordId,
    /// Its value in base and in head, in SI.
    pub values: [Option<f64>; 2],
    /// The expanded uncertainties (k = 2) of the values.
    pub uncertainties: [f64; 2],
    /// Its upper limit in base and in head, in SI; none in base if it is not a budget there.
    pub limits: [Option<f64>; 2],
    /// Whether it is over its limit in base and in head.
    pub over: [bool; 2],
    /// Whether it is of the whole car, and not a share of another budget.
    pub is_of_car: bool,
    /// The amount of the whole car that it adds up, if it is one.
    pub amount: Option<String>,
    /// The unit to show all in.
    pub unit: Unit,
}

fn same(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => same_number(a, b),
        (None, None) => true,
        _ => false,
    }
}

impl BudgetChange {
    /// The sum of the parts in base and in head, where the budget has another value, as it was measured.
    pub fn sums(&self, line: &Headline) -> [Option<f64>; 2] {
        let other = |value: Option<f64>, sum: Option<f64>| sum.filter(|_| value.is_some() && !same(value, sum));
        [other(self.values[0], line.before), other(self.values[1], line.after)]
    }
}

/// The records of base by those of head.
struct Earlier<'s> {
    base: &'s Study,
    head: &'s Study,
    renamed: HashMap<RecordId, RecordId>,
}

impl Earlier<'_> {
    /// The record of base that a record of head was.
    fn was(&self, record: RecordId) -> Option<RecordId> {
        let renamed = self.renamed.get(&record).copied();
        renamed.or_else(|| self.base.loaded.find(self.head.loaded.record(record).id.as_str()))
    }
}

impl Delta {
    fn earlier<'s>(&self, base: &'s Study, head: &'s Study) -> Earlier<'s> {
        Earlier { base, head, renamed: self.renamed.iter().map(|(from, to)| (*to, *from)).collect() }
    }

    /// The probability of reaching each goal, in the order of the records of head.
    pub fn chances(&self, base: &Study, head: &Study) -> Vec<ChanceChange> {
        let known = self.lacks_files.map(|lacks| !lacks);
        let earlier = self.earlier(base, head);
        let goals: HashMap<RecordId, &GoalPoints> = base.goals().iter().map(|own| (own.index, own)).collect();
        let chance = |goal: &GoalPoints| {
            let was = earlier.was(goal.index);
            let before = was.and_then(|was| goals.get(&was)).and_then(|own| own.chance());
            let [before, after] = [before.filter(|_| known[0]), goal.chance().filter(|_| known[1])];
            let place = |study: &Study, goal: RecordId| study.graph.place_reached(goal).map(|(place, _)| place);
            let places = [was.and_then(|was| place(base, was)), place(head, goal.index)];
            let reached = head.graph.is_place_reached(goal.index);
            ChanceChange { goal: goal.index, before, after, places, reached }
        };
        head.goals().iter().map(chance).collect()
    }

    /// The budgets whose value or limit changed, in the order of the records of head.
    pub fn budget_changes(&self, base: &Study, head: &Study) -> Vec<BudgetChange> {
        if self.lacks_files.contains(&true) {
            return Vec::new();
        }
        let before: HashMap<RecordId, &Budget> = base.budgets().iter().map(|own| (own.index, own)).collect();
        let earlier = self.earlier(base, head);
        let change = |now: &Budget| {
            let was = earlier.was(now.index).and_then(|index| before.get(&index).copied());
            let limits = [was.map(|was| was.limit), Some(now.limit)];
            let values = [was.and_then(|was| was.value), now.value];
            let over = [was.is_some_and(|was| was.over().is_some()), now.over().is_some()];
            let is_same = same(limits[0], limits[1]) && same(values[0], values[1]) && over[0] == over[1];
            let of_car = head.loaded.target(now.index)?.of.as_ref().is_some_and(|of| of.as_str() == CAR);
            (!is_same).then(|| BudgetChange {
                target: now.index,
                values,
                uncertainties: [was.map_or(0.0, |was| was.uncertainty), now.uncertainty],
                limits,
                over,
                is_of_car: of_car && now.share_of.is_none(),
                amount: now.amount.clone().filter(|_| of_car),
                unit: head.values().unit(now.node).clone(),
            })
        };
        head.budgets().iter().filter_map(change).collect()
    }

    /// For each changed value, the target whose value it is as well: the amount that a target totals (`car.mass` is
    /// `car-mass`) is one number with it.
    pub fn totals_of_targets(&self, head: &Study) -> Vec<Option<RecordId>> {
        let (values, loaded) = (head.values(), &head.loaded);
        let mut totals = HashMap::default();
        for change in &self.values {
            let ChangedNode::Head(node) = change.named else { continue };
            let Key::Record(index) = values.keys[node] else { continue };
            let total = loaded.target(index).and_then(|target| {
                let subject = target.of.as_ref()?.as_str();
                let amount = values.amount(target.total.as_ref()?.as_str())?;
                let system = if subject == CAR { None } else { Some(loaded.find(subject)?) };
                values.node(&Key::Group(system, amount))
            });
            if let Some(total) = total {
                totals.insert(total, (index, change));
            }
        }
        let same_as = |change: &super::ValueChange| {
            let ChangedNode::Head(node) = change.named else { return None };
            let (target, own) = totals.get(&node)?;
            (same(own.before, change.before) && same(own.after, change.after)).then_some(*target)
        };
        self.values.iter().map(same_as).collect()
    }
}
