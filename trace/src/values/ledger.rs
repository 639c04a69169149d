//! The numbers of a budget that are calculated from parts: its growth allowance, the amount that is in no share, and
//! whether a part is safety-critical.

use std::collections::BTreeMap;

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};

use super::budgets::{Budget, Owner};
use super::{Key, Origin, Rule, Values};
use crate::ids::RecordId;

/// The sums of one amount over the parts.
#[derive(Default)]
struct Ledger {
    growth: HashMap<Owner, f64>,
    /// By the position of the budget: the amount that is in no share, and the systems of these parts.
    outside: HashMap<usize, (f64, HashMap<RecordId, f64>)>,
}

/// The budgets of one amount and their shares, by the subject of their target.
#[derive(Default)]
struct Limits {
    budgets: HashMap<Owner, Vec<usize>>,
    shares: HashMap<Owner, Vec<usize>>,
    /// Each budget with everything that contains one of its shares, directly or not.
    around_shares: HashSet<(usize, Owner)>,
}

impl Ledger {
    /// Adds an amount to every budget around it in which it has no share. `counted_from`: the position of the first owner
    /// whose budget it counts in; `systems_from`: that of the first owner that is a system.
    fn count(&mut self, limits: &Limits, owners: &[Owner], (counted_from, systems_from): (usize, usize), amount: f64) {
        let mut covered: HashSet<usize> = HashSet::new();
        for (depth, owner) in owners.iter().enumerate() {
            covered.extend(limits.shares.get(owner).into_iter().flatten());
            for &budget in limits.budgets.get(owner).into_iter().flatten() {
                if depth < counted_from || covered.contains(&budget) {
                    continue;
                }
                let (sum, systems) = self.outside.entry(budget).or_default();
                *sum += amount;
                // The outermost system without any share in it, otherwise the innermost system.
                let between = owners.get(systems_from..depth).unwrap_or_default();
                let without_share =
                    between.iter().rev().find(|owner| !limits.around_shares.contains(&(budget, **owner)));
                if let Some(system) = without_share.or_else(|| between.first()).copied().flatten() {
                    *systems.entry(system).or_default() += amount;
                }
            }
        }
    }
}

impl Values {
    /// A record, what encloses it from the inside out, and the car.
    fn owners(&self, from: Owner) -> Vec<Owner> {
        let inside = from.into_iter().flat_map(|id| self.graph.enclosing(id));
        inside.map(Some).chain([None]).collect()
    }

    pub(super) fn fill_from_parts(&self, budgets: &mut [Budget]) {
        let loaded = &*self.graph.loaded;
        let mut critical: HashSet<Owner> = HashSet::new();
        let records = loaded.records().filter(|(_, record)| record.kind().roles().makes_subject_critical);
        for (index, _) in records.filter(|(_, record)| record.safety_critical()) {
            critical.extend(self.owners(Some(index)));
        }
        let mut by_amount: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (position, budget) in budgets.iter().enumerate() {
            if let Some(name) = &budget.amount {
                by_amount.entry(name.clone()).or_default().push(position);
            }
        }
        for (name, positions) in by_amount {
            let ledger = self.ledger(&name, &positions, budgets);
            for position in positions {
                let budget = &mut budgets[position];
                let growth = |index: RecordId| {
                    let total = self.target(index)?.total.as_ref()?.as_str();
                    let rolled_up = total == name && self.origin(index) == Origin::Total;
                    let owner = self.owner(index).filter(|_| rolled_up)?;
                    Some(ledger.growth.get(&owner).copied().unwrap_or(0.0))
                };
                budget.growth = growth(budget.index);
                for share in &mut budget.shares {
                    share.growth = growth(share.index);
                }
                if let Some((outside, systems)) = ledger.outside.get(&position) {
                    budget.outside = *outside;
                    budget.without_share = systems.iter().map(|(system, sum)| (*system, *sum)).collect();
                    budget.without_share.sort_unstable_by_key(|(system, _)| *system);
                }
            }
        }
        for share in budgets.iter_mut().flat_map(|budget| &mut budget.shares) {
            share.safety_critical |= self.owner(share.index).is_some_and(|owner| critical.contains(&owner));
        }
    }

    /// The limits at these positions, which are those of one amount.
    fn limits_of(&self, positions: &[usize], budgets: &[Budget]) -> Limits {
        let mut limits = Limits::default();
        for &position in positions {
            let budget = &budgets[position];
            // A budget without shares cannot miss one.
            if budget.shares.is_empty() {
                continue;
            }
            let Some(owner) = self.owner(budget.index) else { continue };
            limits.budgets.entry(owner).or_default().push(position);
            for owner in budget.shares.iter().filter_map(|share| self.owner(share.index)) {
                limits.shares.entry(owner).or_default().push(position);
                for owner in self.owners(owner) {
                    // What contains one that is known is known, too.
                    if !limits.around_shares.insert((position, owner)) {
                        break;
                    }
                }
            }
        }
        limits
    }

    /// A record and what encloses it, up to the first one from this position on whose total of an amount was measured.
    fn owners_up_to_measured(&self, from: Owner, amount: u16, first: usize) -> Vec<Owner> {
        let mut owners = self.owners(from);
        let measured = owners.iter().skip(first).position(|owner| self.measured_total(*owner, amount).is_some());
        if let Some(at) = measured {
            owners.truncate(first + at + 1);
        }
        owners
    }

    /// Adds up the parts that have an amount, each in everything that encloses it. The positions are those of its budgets.
    fn ledger(&self, amount: &str, positions: &[usize], budgets: &[Budget]) -> Ledger {
        let mut ledger = Ledger::default();
        let Some(number) = self.amount(amount) else { return ledger };
        let Some(car) = self.node(&Key::Group(None, number)) else { return ledger };
        let Rule::Total(factors) = &self.network.nodes[car].rule else { return ledger };
        let limits = self.limits_of(positions, budgets);
        // The car has each part with this amount once, in the order of the records.
        for (&node, factor) in self.network.nodes[car].inputs.iter().zip(factors) {
            let Key::Part(index, _) = self.keys[node] else { continue };
            let (Some(piece), Some(part)) = (self.value(node), self.graph.loaded.part(index)) else { continue };
            let owners = self.owners_up_to_measured(Some(index), number, 0);
            let growth = piece * (factor - f64::from(part.count.unwrap_or(1)));
            for owner in &owners {
                *ledger.growth.entry(*owner).or_default() += growth;
            }
            if piece != 0.0 {
                ledger.count(&limits, &owners, (0, 1), piece * factor);
            }
        }
        // In everything around it, a measured total counts in place of its parts.
        for total in self.measured_totals.iter().filter(|total| total.amount == number && total.subject.is_some()) {
            let owners = self.owners_up_to_measured(total.subject, number, 1);
            let is_part = total.subject.is_some_and(|subject| self.graph.loaded.part(subject).is_some());
            if let Some(value) = self.value(total.target).filter(|value| *value != 0.0) {
                ledger.count(&limits, &owners, (1, usize::from(is_part)), value);
            }
        }
        ledger
    }

    /// Parts without an amount that a budget around them adds up.
    pub fn without_amount<'b>(&self, budgets: &'b [Budget]) -> WithoutAmount<'b> {
        let mut by_amount: BTreeMap<&str, HashMap<Owner, RecordId>> = BTreeMap::new();
        for budget in budgets {
            let Some(total) = self.target(budget.index).and_then(|target| target.total.as_ref()) else { continue };
            let Some(name) = budget.amount.as_deref().filter(|name| *name == total.as_str()) else { continue };
            if let Some(owner) = self.owner(budget.index) {
                by_amount.entry(name).or_default().entry(owner).or_insert(budget.index);
            }
        }
        // By what has the budgets: the position of each amount in the order of the names.
        let mut by_owner: HashMap<Owner, Vec<(usize, RecordId)>> = HashMap::new();
        let names: Vec<&str> = by_amount.keys().copied().collect();
        for (position, owners) in by_amount.into_values().enumerate() {
            for (owner, budget) in owners {
                by_owner.entry(owner).or_default().push((position, budget));
            }
        }
        let mut found = WithoutAmount { listed: Vec::new(), next: None, more: 0 };
        for (index, _, part) in self.graph.loaded.parts() {
            let mut around: BTreeMap<usize, RecordId> = BTreeMap::new();
            for owner in self.owners(Some(index)) {
                for &(name, budget) in by_owner.get(&owner).into_iter().flatten() {
                    // The innermost budget is that of its own section.
                    around.entry(name).or_insert(budget);
                }
            }
            for (name, budget) in around {
                if part.amounts.get(names[name]).is_none() {
                    found.add((index, names[name], budget));
                }
            }
        }
        found
    }
}

/// A part, an amount that it does not have, and the budget around it that adds up this amount.
pub type MissingAmount<'b> = (RecordId, &'b str, RecordId);

/// Parts without an amount that a budget around them adds up.
#[derive(Debug)]
pub struct WithoutAmount<'b> {
    /// The first ones, in the order of the parts and of the names.
    pub listed: Vec<MissingAmount<'b>>,
    /// The one that follows them, if there are more.
    pub next: Option<MissingAmount<'b>>,
    /// The number of those that are not listed.
    pub more: usize,
}

/// The number of amounts that parts lack and that are listed.
const MOST_LISTED: usize = 20_000;

impl<'b> WithoutAmount<'b> {
    fn add(&mut self, missing: MissingAmount<'b>) {
        if self.listed.len() < MOST_LISTED {
            self.listed.push(missing);
            return;
        }
        self.next.get_or_insert(missing);
        self.more += 1;
    }
}
