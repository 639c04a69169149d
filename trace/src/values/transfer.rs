//! The smallest limit changes that close the gaps in a tree of budgets: a linear program.
//!
//! Each limit is `x = limit + raised - lowered`. The sum of all raised and lowered amounts is minimised, subject to:
//!
//! - no limit is below what its share needs;
//! - in every budget, the limits of the shares fit in its own limit minus its reserve;
//! - the outermost limit is fixed.
//!
//! Many solutions have the same sum. A second linear program selects the one that lowers limits least, and preferably
//! those of the shares with the most room, so that few revisions are needed.

use microlp::{ComparisonOp, OptimizationDirection, Problem, Variable};

/// A share in a tree of budgets; all numbers are in one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// The share that contains it, which comes before it; `None` for a share of the outermost budget.
    pub inside: Option<usize>,
    /// Its limit.
    pub limit: f64,
    /// Its value, which is the lower bound of its limit.
    pub value: f64,
    /// What it does not allocate to its own shares, if it has any.
    pub held: f64,
}

/// The limits that close the gaps.
#[derive(Clone, Debug, PartialEq)]
pub enum Closing {
    /// There is no gap.
    NoGap,
    /// These limits, one per share.
    Limits(Vec<f64>),
    /// No limits close them: the shares need this much more than is available.
    Shortfall(f64),
    /// The solver found no valid solution.
    Unsolved,
}

/// A difference of one part in 10^9 is ignored.
const SLACK: f64 = 1e-9;
/// How many more decimals are tried before limits are used without rounding.
const FINER: i32 = 4;
/// The largest number of shares for which limits are searched: the time grows faster than their number.
const MOST_SLOTS: usize = 2_000;
/// The solver cannot distinguish more steps than this.
const MOST_STEPS: f64 = 1e9;

/// The smallest limit changes, where `room` is what the outermost budget has available. If possible, new limits have this
/// number of decimals, so that they can be written in records.
pub fn close(room: f64, slots: &[Slot], decimals: i32) -> Closing {
    if has_no_gap(room, slots, SLACK) {
        return Closing::NoGap;
    }
    let short = sums(slots, &needs(slots)).0 - room;
    if short > SLACK * room.abs() {
        return Closing::Shortfall(short);
    }
    if slots.len() > MOST_SLOTS {
        return Closing::Unsolved;
    }
    let size = slots.iter().fold(room.abs(), |size, slot| size.max(slot.limit.abs()).max(slot.value.abs()));
    let steps = (decimals..decimals + FINER).map(|k| 10.0_f64.powi(k));
    for per_unit in steps.take_while(|per_unit| size * per_unit < MOST_STEPS) {
        let (most, rounded) = on_grid(room, slots, per_unit);
        if sums(&rounded, &needs(&rounded)).0 <= most {
            return match solve(most, &rounded) {
                Some(limits) => finish(room, slots, limits.into_iter().map(|x| snap(x) / per_unit).collect()),
                None => Closing::Unsolved,
            };
        }
    }
    // Only limits with many digits fit, so they are not rounded.
    let per_unit = 1e5 / size;
    let scaled: Vec<Slot> = slots
        .iter()
        .map(|s| Slot { limit: s.limit * per_unit, value: s.value * per_unit, held: s.held * per_unit, ..*s })
        .collect();
    match solve((room * per_unit).max(sums(&scaled, &needs(&scaled)).0), &scaled) {
        Some(limits) => finish(room, slots, limits.into_iter().map(|x| x / per_unit).collect()),
        None => Closing::Unsolved,
    }
}

/// The limits, if they close all gaps. An unchanged limit keeps its exact number, and none is below its value.
fn finish(room: f64, slots: &[Slot], mut limits: Vec<f64>) -> Closing {
    for (limit, slot) in limits.iter_mut().zip(slots) {
        if (*limit - slot.limit).abs() <= 1e-7 * slot.limit.abs().max(1e-300) {
            *limit = slot.limit;
        }
        *limit = limit.max(slot.value);
    }
    let changed: Vec<Slot> =
        slots.iter().zip(&limits).map(|(slot, limit)| Slot { limit: *limit, ..slot.clone() }).collect();
    if has_no_gap(room, &changed, 1e-6) { Closing::Limits(limits) } else { Closing::Unsolved }
}

/// A result of the solver as a whole number of steps, if it is close to one.
fn snap(x: f64) -> f64 {
    if (x - x.round()).abs() < 1e-4 { x.round() } else { x }
}

fn on_grid(room: f64, slots: &[Slot], per_unit: f64) -> (f64, Vec<Slot>) {
    let near = |x: f64| if (x - x.round()).abs() <= SLACK * x.abs() { x.round() } else { x };
    let up = |x: f64| near(x * per_unit).ceil();
    let rounded = slots.iter().map(|slot| {
        let limit = near(slot.limit * per_unit);
        // A share that fits now also fits on the grid.
        let value = if slot.value * per_unit <= limit { up(slot.value).min(limit) } else { up(slot.value) };
        Slot { inside: slot.inside, limit, value, held: up(slot.held) }
    });
    (near(room * per_unit).floor(), rounded.collect())
}

/// The minimum that each share needs: its value, and what its own shares need.
fn needs(slots: &[Slot]) -> Vec<f64> {
    let mut below: Vec<Option<f64>> = vec![None; slots.len()];
    let mut needs = vec![0.0; slots.len()];
    for (at, slot) in slots.iter().enumerate().rev() {
        needs[at] = below[at].map_or(slot.value, |below| slot.value.max(slot.held + below));
        if let Some(outer) = slot.inside.filter(|outer| *outer < at) {
            *below[outer].get_or_insert(0.0) += needs[at];
        }
    }
    needs
}

/// The sum of numbers over the outermost shares, and over the shares of each share that has any.
fn sums(slots: &[Slot], numbers: &[f64]) -> (f64, Vec<Option<f64>>) {
    let (mut top, mut inner) = (0.0, vec![None; slots.len()]);
    for (slot, number) in slots.iter().zip(numbers) {
        match slot.inside {
            Some(outer) => *inner[outer].get_or_insert(0.0) += number,
            None => top += number,
        }
    }
    (top, inner)
}

fn has_no_gap(room: f64, slots: &[Slot], slack: f64) -> bool {
    let fits = |sum: f64, room: f64| sum <= room + slack * room.abs();
    let limits: Vec<f64> = slots.iter().map(|slot| slot.limit).collect();
    let (top, inner) = sums(slots, &limits);
    let within = |(slot, sum): (&Slot, Option<f64>)| sum.is_none_or(|sum| fits(sum, slot.limit - slot.held));
    fits(top, room) && slots.iter().all(|slot| fits(slot.value, slot.limit)) && slots.iter().zip(inner).all(within)
}

fn solve(room: f64, slots: &[Slot]) -> Option<Vec<f64>> {
    let (_, least) = linear_program(room, slots, &vec![1.0; slots.len()], None)?;
    let mut by_room: Vec<usize> = (0..slots.len()).collect();
    by_room.sort_by(|a, b| {
        let room = |at: &usize| slots[*at].limit - slots[*at].value;
        room(b).total_cmp(&room(a)).then(a.cmp(b))
    });
    let mut costs = vec![0.0; slots.len()];
    for (rank, at) in by_room.into_iter().enumerate() {
        costs[at] = 1.0 + (rank + 1) as f64 / (slots.len() + 1) as f64;
    }
    // If limits are not on the grid, the smallest change can be just above a whole number: use the larger of both.
    let (limits, _) = linear_program(room, slots, &costs, Some(snap(least).max(least)))?;
    Some(limits)
}

/// The limits of lowest cost, and the cost: lowering a limit costs the given number, raising it costs 1. The total change is
/// at most `most`, if it is set.
fn linear_program(room: f64, slots: &[Slot], costs: &[f64], most: Option<f64>) -> Option<(Vec<f64>, f64)> {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let moves: Vec<(Variable, Variable)> = slots
        .iter()
        .zip(costs)
        .map(|(slot, cost)| {
            let raised = problem.add_var(1.0, ((slot.value - slot.limit).max(0.0), f64::INFINITY));
            let lowered = problem.add_var(*cost, (0.0, (slot.limit - slot.value).max(0.0)));
            (raised, lowered)
        })
        .collect();
    let limits: Vec<f64> = slots.iter().map(|slot| slot.limit).collect();
    let (top, inner) = sums(slots, &limits);
    let within =
        std::iter::once((None, Some(top))).chain(inner.into_iter().enumerate().map(|(at, sum)| (Some(at), sum)));
    let mut members: Vec<Vec<(Variable, f64)>> = vec![Vec::new(); slots.len() + 1];
    for (slot, (raised, lowered)) in slots.iter().zip(&moves) {
        members[slot.inside.map_or(0, |at| at + 1)].extend([(*raised, 1.0), (*lowered, -1.0)]);
    }
    for (outer, sum) in within {
        let Some(sum) = sum else { continue };
        let mut row = std::mem::take(&mut members[outer.map_or(0, |at| at + 1)]);
        let available = match outer {
            None => room,
            Some(at) => {
                row.extend([(moves[at].0, -1.0), (moves[at].1, 1.0)]);
                slots[at].limit - slots[at].held
            }
        };
        problem.add_constraint(row, ComparisonOp::Le, available - sum);
    }
    if let Some(most) = most {
        let all: Vec<(Variable, f64)> = moves.iter().flat_map(|(a, b)| [(*a, 1.0), (*b, 1.0)]).collect();
        problem.add_constraint(all, ComparisonOp::Le, most + 1e-6);
    }
    let solution = problem.solve().ok()?.into_solution().ok()?;
    let limit = |(slot, (raised, lowered)): (&Slot, &(Variable, Variable))| {
        slot.limit + solution.var_value(*raised) - solution.var_value(*lowered)
    };
    Some((slots.iter().zip(&moves).map(limit).collect(), solution.objective()))
}
