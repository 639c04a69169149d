//! The limit changes that would close the gaps of a budget, written as in the records.

use foldhash::HashSet;
use schema::{Day, number};

use super::Values;
use super::budgets::{Budget, Share, upper_limit};
use super::currency::in_currency;
use super::transfer::{self, Closing, Slot};
use crate::ids::RecordId;

/// The limit changes that would close the gaps of a budget and of the budgets in it.
#[derive(Clone, Debug, PartialEq)]
pub enum Transfer {
    /// There is no gap.
    None,
    /// The smallest limit changes that close all gaps.
    NewLimits(Vec<NewLimit>),
    /// No changes close them: the shares need more than is available.
    Shortfall {
        /// How much is missing, in SI.
        by: f64,
        /// The share with the largest growth allowance, and that allowance.
        growth: Option<(RecordId, f64)>,
    },
    /// The solver found no valid solution.
    Unsolved,
}

/// One limit that would change.
#[derive(Clone, Debug, PartialEq)]
pub struct NewLimit {
    /// The target.
    pub index: RecordId,
    /// The limit as in the record.
    pub from: String,
    /// The new limit, in the same unit.
    pub to: String,
    /// The limit now, in SI.
    pub from_si: f64,
    /// The new limit, in SI.
    pub to_si: f64,
    /// Whether the target, or a part of its subject, is safety-critical.
    pub safety_critical: bool,
}

impl NewLimit {
    /// The revision to add if the change is agreed: its id, and the record in one line of YAML.
    pub fn revision(&self, values: &Values, day: Day) -> (String, String) {
        let loaded = &values.graph.loaded;
        let of = &loaded.record(self.index).id;
        let month = MONTHS[(day.date().month() - 1).clamp(0, 11) as usize];
        let names = [format!("{of}-{month}"), format!("{of}-{day}")];
        let names = names.into_iter().chain((2..).map(|n| format!("{of}-{day}-{n}")));
        let id = names.into_iter().find(|id| loaded.find(id).is_none()).unwrap_or_default();
        let record =
            format!("{{of: {of}, from: {}, to: {}, date: {day}, agreed-by: ..., reason: ...}}", self.from, self.to);
        (id, record)
    }
}

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

/// A share in the tree of budgets, and its numbers for the solver.
struct Placed<'b> {
    share: &'b Share,
    slot: Slot,
}

impl Values {
    /// The smallest limit changes that close the gaps of a budget that is not itself a share, and of all budgets in it. No
    /// limit goes below the value of its share. A share without a value keeps its limit.
    pub fn transfer(&self, budgets: &[Budget], root: &Budget) -> Transfer {
        // They are in the order of the records.
        let find = |index: RecordId| budgets.get(budgets.binary_search_by_key(&index, |budget| budget.index).ok()?);
        let mut placed: Vec<Placed<'_>> = Vec::new();
        let mut seen = HashSet::from_iter([root.index]);
        let mut queue = vec![(None, root)];
        let mut has_gap = false;
        while let Some((inside, budget)) = queue.pop() {
            has_gap |= budget.has_gap();
            for share in budget.shares.iter().filter(|share| seen.insert(share.index)) {
                let inner = find(share.index).filter(|inner| !inner.shares.is_empty());
                let held = inner.map_or(0.0, |inner| inner.reserve + inner.left_to_others());
                // What a share without a value needs is unknown.
                let value = share.value.unwrap_or(share.limit);
                // What rounding explains is no gap.
                let value = if share.over().is_none() { value.min(share.limit) } else { value };
                let held = match inner {
                    Some(inner) if inner.over_allocated().is_none() => held.min(inner.limit - inner.allocated),
                    _ => held,
                };
                placed.push(Placed { share, slot: Slot { inside, limit: share.limit, value, held } });
                queue.extend(inner.map(|inner| (Some(placed.len() - 1), inner)));
            }
        }
        if !has_gap {
            return Transfer::None;
        }
        let unit = self.unit(root.node).clone();
        let factor = unit.factor();
        let slots: Vec<Slot> = placed
            .iter()
            .map(|Placed { slot, .. }| Slot {
                limit: slot.limit / factor,
                value: slot.value / factor,
                held: slot.held / factor,
                ..*slot
            })
            .collect();
        let mut room = root.available() - root.left_to_others();
        if let Some(value) = root.value.filter(|_| root.over().is_none()) {
            room += (value - root.limit).max(0.0);
        }
        if root.over_allocated().is_none() {
            room = room.max(root.allocated);
        }
        let room = room / factor;
        match transfer::close(room, &slots, decimals(root.limit / factor, &slots)) {
            Closing::NoGap => Transfer::None,
            Closing::Unsolved => Transfer::Unsolved,
            Closing::Shortfall(by) => {
                let growth = |p: &Placed<'_>| Some((p.share.index, p.share.growth.filter(|growth| *growth > 0.0)?));
                let mut largest: Option<(RecordId, f64)> = None;
                for (index, growth) in placed.iter().filter(|p| p.slot.inside.is_none()).filter_map(growth) {
                    if largest.is_none_or(|(_, most)| growth > most) {
                        largest = Some((index, growth));
                    }
                }
                Transfer::Shortfall { by: by * factor, growth: largest }
            }
            Closing::Limits(limits) => {
                let all = placed.iter().zip(&slots).zip(limits);
                let changed = all.filter(|((_, slot), limit)| slot.limit != *limit);
                let mut changes: Vec<NewLimit> =
                    changed.filter_map(|((p, _), limit)| self.new_limit(p.share, limit * factor)).collect();
                // Raised limits come before lowered ones, the larger change first.
                changes.sort_by(|a, b| {
                    (b.to_si - b.from_si).total_cmp(&(a.to_si - a.from_si)).then(a.index.cmp(&b.index))
                });
                Transfer::NewLimits(changes)
            }
        }
    }

    fn new_limit(&self, share: &Share, to_si: f64) -> Option<NewLimit> {
        let written = upper_limit(self.target(share.index)?)?;
        // In the unit of the record, also if its currency is not the team's.
        let (unit, in_team, _) = in_currency(&self.graph.loaded.settings().rates, written);
        let own = if unit == *written.unit() { 1.0 } else { written.si() / in_team };
        let to = written.unit().from_si(to_si * own);
        let name = written.unit().to_string();
        let gap = if name.is_empty() { "" } else { " " };
        Some(NewLimit {
            index: share.index,
            from: written.to_string(),
            to: format!("{}{gap}{name}", number::precise(to)),
            from_si: share.limit,
            to_si,
            safety_critical: share.safety_critical,
        })
    }
}

/// The decimals of new limits: one more than the old ones have, but at most five significant digits of the total.
fn decimals(total: f64, slots: &[Slot]) -> i32 {
    let is_exact = |x: f64, k: i32| {
        let scaled = x * 10.0_f64.powi(k);
        (scaled - scaled.round()).abs() <= 1e-9 * scaled.abs()
    };
    let own = (0..12).find(|k| slots.iter().all(|slot| is_exact(slot.limit, *k))).unwrap_or(12);
    let coarsest = 5 - (total.abs().max(f64::MIN_POSITIVE).log10().ceil() as i32);
    (own + 1).min(coarsest.max(own)).clamp(0, 12)
}
