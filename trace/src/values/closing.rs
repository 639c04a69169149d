//! What would close the gaps of a budget, in the records' own words.

use foldhash::{HashMap, HashSet};
use schema::Day;

use super::budgets::{Budget, Share, upper};
use super::transfer::{self, Closing, Slot};
use super::{Values, build};
use crate::ids::RecordId;

/// What would close the gaps of a budget and of the budgets in it.
#[derive(Clone, Debug, PartialEq)]
pub enum Transfer {
    /// There is no gap.
    None,
    /// The least change of limits that closes them all.
    Moves(Vec<Move>),
    /// No transfer does: the shares need more than there is.
    Shortfall {
        /// This much, in SI.
        by: f64,
        /// The share with the largest growth allowance left, and that allowance.
        growth: Option<(RecordId, f64)>,
    },
    /// The solver found no answer that holds.
    Unsolved,
}

/// One limit that would change.
#[derive(Clone, Debug, PartialEq)]
pub struct Move {
    /// The target.
    pub index: RecordId,
    /// The limit as it is written.
    pub from: String,
    /// The limit as it would be written.
    pub to: String,
    /// The limit now, in SI.
    pub from_si: f64,
    /// The limit then, in SI.
    pub to_si: f64,
    /// Is the target safety-critical, or a part of what it is about?
    pub safety_critical: bool,
}

impl Move {
    /// The revision to record when the change is agreed: its id, and the record in one line of YAML.
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

/// A share in the tree of budgets, and the budget it comes from.
struct Placed<'b> {
    share: &'b Share,
    slot: Slot,
}

impl Values {
    /// What would close the gaps of a budget that is no share of another, and of all budgets in it: the least change
    /// of limits. No limit goes below the value of its share; a share without a value keeps its limit.
    pub fn transfer(&self, budgets: &[Budget], root: &Budget) -> Transfer {
        let by_target: HashMap<RecordId, &Budget> = budgets.iter().map(|budget| (budget.index, budget)).collect();
        let mut placed: Vec<Placed<'_>> = Vec::new();
        let mut seen = HashSet::from_iter([root.index]);
        let mut queue = vec![(None, root)];
        while let Some((inside, budget)) = queue.pop() {
            for share in budget.shares.iter().filter(|share| seen.insert(share.index)) {
                let inner = by_target.get(&share.index).copied().filter(|inner| !inner.shares.is_empty());
                let held = inner.map_or(0.0, |inner| inner.reserve + inner.left_to_others());
                // Nobody knows what a share without a value needs.
                let value = share.value.unwrap_or(share.limit);
                placed.push(Placed { share, slot: Slot { inside, limit: share.limit, value, held } });
                queue.extend(inner.map(|inner| (Some(placed.len() - 1), inner)));
            }
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
        let room = (root.available() - root.left_to_others()) / factor;
        match transfer::close(room, &slots, decimals(root.limit / factor, &slots)) {
            Closing::Fine => Transfer::None,
            Closing::Unsolved => Transfer::Unsolved,
            Closing::Short(by) => {
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
                let moved = all.filter(|((_, slot), limit)| slot.limit != *limit);
                let mut moves: Vec<Move> =
                    moved.filter_map(|((p, _), limit)| self.r#move(p.share, limit * factor)).collect();
                // Who gets comes before who gives, the larger change first.
                moves.sort_by(|a, b| {
                    (b.to_si - b.from_si).total_cmp(&(a.to_si - a.from_si)).then(a.index.cmp(&b.index))
                });
                Transfer::Moves(moves)
            }
        }
    }

    fn r#move(&self, share: &Share, to_si: f64) -> Option<Move> {
        let written = upper(self.target(share.index)?)?;
        // In the unit that the team wrote, its own currency where it is another.
        let (unit, in_team, _) = build::in_currency(&self.graph.loaded.settings().rates, written);
        let own = if unit == *written.unit() { 1.0 } else { written.si() / in_team };
        let to = written.unit().from_si(to_si * own);
        let name = written.unit().to_string();
        let gap = if name.is_empty() { "" } else { " " };
        Some(Move {
            index: share.index,
            from: written.to_string(),
            to: format!("{}{gap}{name}", plain(to)),
            from_si: share.limit,
            to_si,
            safety_critical: share.safety_critical,
        })
    }
}

/// How many decimals new limits have: one more than the old ones, but no finer than a hundred-thousandth of the whole.
fn decimals(whole: f64, slots: &[Slot]) -> i32 {
    let written = |x: f64, k: i32| {
        let scaled = x * 10.0_f64.powi(k);
        (scaled - scaled.round()).abs() <= 1e-9 * scaled.abs()
    };
    let own = (0..12).find(|k| slots.iter().all(|slot| written(slot.limit, *k))).unwrap_or(12);
    let coarsest = 5 - (whole.abs().max(f64::MIN_POSITIVE).log10().ceil() as i32);
    (own + 1).min(coarsest.max(own)).clamp(0, 12)
}

/// A number with ten digits that count, without zeros behind.
fn plain(number: f64) -> String {
    let trimmed = |text: &str| match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text.to_owned(),
    };
    let size = number.abs();
    if size != 0.0 && !(1e-7..1e15).contains(&size) {
        let text = format!("{number:.9e}");
        let (digits, power) = text.split_once('e').unwrap_or((&text, "0"));
        return format!("{}e{power}", trimmed(digits));
    }
    let places = if size == 0.0 { 0 } else { (9 - size.log10().floor() as i32).clamp(0, 16) as usize };
    trimmed(&format!("{number:.places$}"))
}
