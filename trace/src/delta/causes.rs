//! The causes of changed values: each edited key, added or removed record, and changed setting with its effect.
//!
//! The effect of a cause is found by switching it in the merged value graph, one after the other from base to head, and
//! again in the reverse order; the mean of the two is its effect. So the effects of all causes add up to the whole change,
//! also where a value is a product, and the reverse comparison has the same effects with the other sign.

use std::collections::BTreeMap;

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::quantity::Unit;

use super::EditedKey;
use super::merged::{Aspect, Merged, Switch};
use super::values::ValueChange;
use crate::ids::NodeId;
use crate::study::Study;
use crate::values::Key;

/// What kind of change a cause is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum What {
    /// A number was edited.
    Value,
    /// The value comes from another key or record, for example from a new result.
    Source,
    /// A formula, a model or one of its inputs was edited.
    Formula,
    /// The basis of an estimate changed, and with it the growth allowance.
    Basis,
    /// The number of pieces of a part changed.
    Count,
    /// A part or a system belongs to another system.
    System,
    /// The settings changed: a growth allowance or an exchange rate.
    Settings,
    /// An event serves another goal.
    Link,
    /// The record, or its amount, is new.
    Added,
    /// The record, or its amount, was removed.
    Removed,
}

impl What {
    /// The words for all of them, in outputs.
    pub const WORDS: &[&str] =
        &["value", "source", "formula", "basis", "count", "system", "settings", "link", "added", "removed"];

    /// The word in outputs.
    pub fn word(self) -> &'static str {
        Self::WORDS[self as usize]
    }
}

/// An amount of the car that changes by a cause.
#[derive(Clone, Debug, PartialEq)]
pub struct AmountChange {
    /// The name of the amount.
    pub amount: String,
    /// The change of its total, in SI.
    pub change: f64,
    /// The unit to show it in.
    pub unit: Unit,
}

/// A cause of changed values.
#[derive(Clone, Debug)]
pub struct Cause {
    /// What kind of change it is.
    pub what: What,
    /// The name of what changed, as in `hub.mass`.
    pub id: String,
    /// Its value in base, in SI.
    pub before: Option<f64>,
    /// Its value in head, in SI.
    pub after: Option<f64>,
    /// The unit to show both in.
    pub unit: Unit,
    /// The keys that give it in base and in head, if it is written in one.
    pub edited: [Option<EditedKey>; 2],
    /// The names of the changed values on the path from it to an event and the goal; at most 50.
    pub affects: Vec<String>,
    /// The points that it adds to the first goal.
    pub points: Option<f64>,
    /// What it adds to the amounts of the car.
    pub amounts: Vec<AmountChange>,
}

/// The change that no listed cause has.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Other {
    /// The points of the first goal.
    pub points: Option<f64>,
    /// The amounts of the car.
    pub amounts: Vec<AmountChange>,
}

impl Other {
    /// Whether nothing is left.
    pub fn is_empty(&self) -> bool {
        self.points.is_none() && self.amounts.is_empty()
    }
}

impl Cause {
    /// A cause whose effect is not known yet.
    pub(super) fn new(
        what: What,
        id: String,
        [before, after]: [Option<f64>; 2],
        unit: Unit,
        edited: [Option<EditedKey>; 2],
    ) -> Self {
        Self { what, id, before, after, unit, edited, affects: Vec::new(), points: None, amounts: Vec::new() }
    }
}

/// A cause before its effect is known.
pub(super) struct Draft {
    pub(super) cause: Cause,
    /// Where its path begins.
    pub(super) start: Option<ValueChange>,
    /// What is switched for it; empty if it changes nothing else by itself.
    pub(super) switches: Vec<Switch>,
    /// The effect to be expected, to choose those that are evaluated one by one.
    pub(super) size: f64,
}

/// The largest number of causes that are evaluated one by one, because each is two evaluations of what depends on it. Of
/// the others, which have the smallest effects, the points are calculated from the derivatives.
const MOST: usize = 100;
/// Less points than this are rounding.
const NO_POINTS: f64 = 1e-11;

/// The numbers that the effects are measured by: the points of the first goal, and the amounts of the car.
struct Gauges {
    goal: Option<NodeId>,
    amounts: Vec<(String, NodeId, Unit)>,
    /// The index of the amount of each node.
    of_node: HashMap<NodeId, usize>,
}

/// What a cause adds to the numbers that it changes, by their indices: a goal is the first.
type Effects = BTreeMap<usize, f64>;

impl Gauges {
    fn new(merged: &Merged<'_>, base: &Study, head: &Study) -> Self {
        let (old, new) = (base.values(), head.values());
        let mut amounts: Vec<(String, NodeId, Unit)> = Vec::new();
        let mut known: HashSet<&str> = HashSet::new();
        for (values, is_head) in [(new, true), (old, false)] {
            for (number, name) in values.amounts().iter().enumerate() {
                if let Some(node) = values.node(&Key::Group(None, number as u16)).filter(|_| known.insert(name)) {
                    let unit = values.unit(node).clone();
                    amounts.push((name.to_string(), if is_head { node } else { merged.of_base(node) }, unit));
                }
            }
        }
        amounts.sort_by(|a, b| a.0.cmp(&b.0));
        let of_node = amounts.iter().enumerate().map(|(at, (_, node, _))| (*node, at)).collect();
        Self { goal: head.goals().first().map(|goal| goal.node), amounts, of_node }
    }

    /// The numbers now; those that are missing add nothing.
    fn read(&self, merged: &Merged<'_>) -> Vec<f64> {
        let nodes = self.goal.into_iter().chain(self.amounts.iter().map(|(_, node, _)| *node));
        nodes.map(|node| merged.value(node).unwrap_or(0.0)).collect()
    }

    /// Adds the change of a total of the car to a list of effects, with its points to first order.
    fn add(&self, effects: &mut Effects, car: NodeId, change: f64, worth: Option<&[f64]>) {
        let points = worth.and_then(|worth| worth.get(car.index())).map_or(0.0, |worth| worth * change);
        let of_goal = usize::from(self.goal.is_some());
        if of_goal > 0 && points.is_finite() {
            *effects.entry(0).or_default() += points;
        }
        if let Some(amount) = self.of_node.get(&car) {
            *effects.entry(of_goal + amount).or_default() += change;
        }
    }

    /// The points and the changed amounts of effects, the latter with their indices.
    fn split(&self, effects: &Effects) -> (Option<f64>, Vec<(usize, AmountChange)>) {
        let of_goal = usize::from(self.goal.is_some());
        let amounts = effects.range(of_goal..).filter(|(_, change)| **change != 0.0).map(|(at, change)| {
            let (amount, _, unit) = &self.amounts[*at - of_goal];
            (*at, AmountChange { amount: amount.clone(), change: *change, unit: unit.clone() })
        });
        (self.goal.map(|_| effects.get(&0).copied().unwrap_or(0.0)), amounts.collect())
    }
}

/// The whole change of each gauge, from the two states themselves.
fn whole(gauges: &Gauges, base: &Study, head: &Study, points: Option<[f64; 2]>) -> Vec<f64> {
    let (old, new) = (base.values(), head.values());
    let amount = |name: &str| {
        let value = |values: &crate::values::Values| {
            values.amount(name).and_then(|number| values.value(values.node(&Key::Group(None, number))?)).unwrap_or(0.0)
        };
        value(new) - value(old)
    };
    let points = gauges.goal.map(|_| points.map_or(0.0, |[before, after]| after - before));
    points.into_iter().chain(gauges.amounts.iter().map(|(name, ..)| amount(name))).collect()
}

/// The causes with their effects, and what is left of the whole change. `points` are those of the goal before and after;
/// without both of them no cause has points.
pub(super) fn with_effects(
    merged: &mut Merged<'_>,
    sorted: bool,
    mut drafts: Vec<Draft>,
    [base, head]: [&Study; 2],
    points: Option<[f64; 2]>,
    worth: Option<&[f64]>,
) -> (Vec<Draft>, Other) {
    let gauges = Gauges::new(merged, base, head);
    let mut left = whole(&gauges, base, head, points);
    let mut ranked: Vec<usize> = (0..drafts.len()).filter(|at| !drafts[*at].switches.is_empty()).collect();
    ranked.sort_by(|a, b| drafts[*b].size.total_cmp(&drafts[*a].size).then(a.cmp(b)));
    let mut rest = ranked.split_off(ranked.len().min(if sorted { MOST } else { 0 }));
    ranked.sort_unstable();
    rest.sort_unstable();

    let mut effects: Vec<Effects> = vec![Effects::new(); ranked.len() + rest.len()];
    let mut touched = vec![!sorted; drafts.len()];
    if sorted {
        for to_head in [true, false] {
            let sign = if to_head { 0.5 } else { -0.5 };
            let mut before = gauges.read(merged);
            for (at, effects) in ranked.iter().zip(&mut effects) {
                let own = drafts[*at].start.as_ref().and_then(|start| start.in_merged(merged));
                let value = own.map(|node| merged.value(node));
                merged.switch(&drafts[*at].switches, to_head);
                let after = gauges.read(merged);
                for (at, (before, after)) in before.iter().zip(&after).enumerate().filter(|(_, (a, b))| a != b) {
                    *effects.entry(at).or_default() += sign * (after - before);
                }
                let has_own_value = matches!(drafts[*at].switches[..], [Switch::Rule(_)]);
                let is_changed = own.map(|node| merged.value(node)) != value || after != before;
                touched[*at] |= !has_own_value || is_changed;
                before = after;
            }
            for (at, effects) in rest.iter().zip(effects.iter_mut().skip(ranked.len())) {
                for (car, change) in merged.switch_parts(&drafts[*at].switches, to_head) {
                    gauges.add(effects, car, sign * change, worth);
                }
                touched[*at] = true;
            }
            let all: Vec<&Switch> = rest.iter().flat_map(|at| &drafts[*at].switches).collect();
            merged.switch(all, to_head);
        }
    }
    ranked.extend(rest);
    for (at, own) in ranked.iter().zip(&effects) {
        let (effect, amounts) = gauges.split(own);
        let cause = &mut drafts[*at].cause;
        cause.points = effect.filter(|effect| points.is_some() && effect.abs() > NO_POINTS);
        if let (Some(_), Some(points), Some(left)) = (gauges.goal, cause.points, left.first_mut()) {
            *left -= points;
        }
        for (at, own) in amounts.into_iter().filter(|(_, own)| own.change.abs() > 1e-12) {
            left[at] -= own.change;
            cause.amounts.push(own);
        }
    }
    let mut keep: HashMap<usize, bool> = HashMap::new();
    keep.extend(ranked.iter().map(|at| (*at, touched[*at])));
    let mut at = 0..;
    drafts.retain(|_| at.next().is_none_or(|at| keep.get(&at).copied().unwrap_or(true)));
    let (points, amounts) = gauges.split(&left.into_iter().enumerate().collect());
    let amounts = amounts.into_iter().map(|(_, own)| own);
    let other = Other {
        points: points.filter(|points| points.abs() > 5e-10),
        amounts: amounts.filter(|own| own.change.abs() > 5e-10).collect(),
    };
    (drafts, other)
}

/// The growth allowance as a number in percent.
pub(super) fn percent() -> Unit {
    Unit::parse("%").unwrap_or_else(|_| Unit::dimensionless())
}

/// The switches of the pieces of one part, or of one setting.
pub(super) fn of_pieces(pieces: &[usize], aspect: Aspect) -> Vec<Switch> {
    pieces.iter().map(|at| Switch::Piece(*at, aspect)).collect()
}
