//! The least change of limits that closes the gaps in a tree of budgets: a linear programme.
//!
//! Each limit `x = limit + raised - lowered`. The sum of what is raised and lowered is made as small as it can
//! be, subject to: no limit below what its share needs, and in every budget the shares' limits within its
//! own limit less what is held back. The outermost limit is fixed. Many answers are equally small: a second
//! programme picks the one that takes least from anybody, and that from the shares with the most room, so that few
//! revisions are needed.

use microlp::{ComparisonOp, OptimizationDirection, Problem, Variable};

/// A share in a tree of budgets; all numbers are in one unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Slot {
    /// The share it lies in, which comes before it; none where it is a share of the outermost budget.
    pub inside: Option<usize>,
    /// Its limit.
    pub limit: f64,
    /// Its value: the limit never goes below.
    pub value: f64,
    /// What it holds back from its own shares, where it has some.
    pub held: f64,
}

/// What would close the gaps.
#[derive(Clone, Debug, PartialEq)]
pub enum Closing {
    /// There is no gap.
    Fine,
    /// These limits, one a share.
    Limits(Vec<f64>),
    /// No transfer does: the shares need this much more than there is.
    Short(f64),
    /// The solver found no answer that holds.
    Unsolved,
}

/// A part in 10^9 is no difference.
const SLACK: f64 = 1e-9;
/// How many decimals are tried beyond the first before limits are left as they are computed.
const FINER: i32 = 4;
/// More steps than this are beyond what the solver tells apart.
const MOST_STEPS: f64 = 1e9;

/// The limits of least change, where `room` is what the outermost budget has to give. New limits have so many
/// decimals where that can be, so that they can be written down.
pub fn close(room: f64, slots: &[Slot], decimals: i32) -> Closing {
    if is_fine(room, slots, SLACK) {
        return Closing::Fine;
    }
    let short = sums(slots, &needs(slots)).0 - room;
    if short > SLACK * room.abs() {
        return Closing::Short(short);
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
    // Only limits with many digits fit: they are left as they are.
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

/// A limit that did not move keeps its very number, and none ends below its value. What does not hold is no answer.
fn finish(room: f64, slots: &[Slot], mut limits: Vec<f64>) -> Closing {
    for (limit, slot) in limits.iter_mut().zip(slots) {
        if (*limit - slot.limit).abs() <= 1e-7 * slot.limit.abs().max(1e-300) {
            *limit = slot.limit;
        }
        *limit = limit.max(slot.value);
    }
    let then: Vec<Slot> =
        slots.iter().zip(&limits).map(|(slot, limit)| Slot { limit: *limit, ..slot.clone() }).collect();
    if is_fine(room, &then, 1e-6) { Closing::Limits(limits) } else { Closing::Unsolved }
}

/// An answer of the solver, which is good to a ten-millionth of a step.
fn snap(x: f64) -> f64 {
    if (x - x.round()).abs() < 1e-4 { x.round() } else { x }
}

fn on_grid(room: f64, slots: &[Slot], per_unit: f64) -> (f64, Vec<Slot>) {
    let near = |x: f64| if (x - x.round()).abs() <= SLACK * x.abs() { x.round() } else { x };
    let up = |x: f64| near(x * per_unit).ceil();
    let rounded = slots.iter().map(|slot| {
        let limit = near(slot.limit * per_unit);
        // What fits now goes on fitting, on the grid or not.
        let value = if slot.value * per_unit <= limit { up(slot.value).min(limit) } else { up(slot.value) };
        Slot { inside: slot.inside, limit, value, held: up(slot.held) }
    });
    (near(room * per_unit).floor(), rounded.collect())
}

/// The least that each share can do with: its value, and what its own shares need.
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

/// The sum of numbers over the outermost shares, and over the shares of each share that has some.
fn sums(slots: &[Slot], of: &[f64]) -> (f64, Vec<Option<f64>>) {
    let (mut top, mut inner) = (0.0, vec![None; slots.len()]);
    for (slot, number) in slots.iter().zip(of) {
        match slot.inside {
            Some(outer) => *inner[outer].get_or_insert(0.0) += number,
            None => top += number,
        }
    }
    (top, inner)
}

fn is_fine(room: f64, slots: &[Slot], slack: f64) -> bool {
    let fits = |sum: f64, room: f64| sum <= room + slack * room.abs();
    let limits: Vec<f64> = slots.iter().map(|slot| slot.limit).collect();
    let (top, inner) = sums(slots, &limits);
    let within = |(slot, sum): (&Slot, Option<f64>)| sum.is_none_or(|sum| fits(sum, slot.limit - slot.held));
    fits(top, room) && slots.iter().all(|slot| fits(slot.value, slot.limit)) && slots.iter().zip(inner).all(within)
}

fn solve(room: f64, slots: &[Slot]) -> Option<Vec<f64>> {
    let (_, least) = programme(room, slots, &vec![1.0; slots.len()], None)?;
    let mut by_room: Vec<usize> = (0..slots.len()).collect();
    by_room.sort_by(|a, b| {
        let room = |at: &usize| slots[*at].limit - slots[*at].value;
        room(b).total_cmp(&room(a)).then(a.cmp(b))
    });
    let mut costs = vec![0.0; slots.len()];
    for (rank, at) in by_room.into_iter().enumerate() {
        costs[at] = 1.0 + (rank + 1) as f64 / (slots.len() + 1) as f64;
    }
    // Limits that are off the grid can have a least change just above a whole one, which is not to be asked for.
    let (limits, _) = programme(room, slots, &costs, Some(snap(least).max(least)))?;
    Some(limits)
}

/// The limits of least cost, and the cost, where lowering a limit costs what is said and raising it 1; where `most` is given, the whole change is no larger.
fn programme(room: f64, slots: &[Slot], costs: &[f64], most: Option<f64>) -> Option<(Vec<f64>, f64)> {
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
        let has = match outer {
            None => room,
            Some(at) => {
                row.extend([(moves[at].0, -1.0), (moves[at].1, 1.0)]);
                slots[at].limit - slots[at].held
            }
        };
        problem.add_constraint(row, ComparisonOp::Le, has - sum);
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
