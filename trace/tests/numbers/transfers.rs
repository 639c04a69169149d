//! Transfers between the shares of budgets: known answers, all small cases by brute force, and random budgets.

use trace::values::transfer::{Closing, Slot, close};

fn slot(limit: f64, value: f64) -> Slot {
    Slot { inside: None, limit, value, held: 0.0 }
}

#[track_caller]
fn limits(closing: Closing) -> Vec<f64> {
    match closing {
        Closing::Limits(limits) => limits,
        other => panic!("{other:?} is not a transfer"),
    }
}

#[test]
fn transfers_with_known_answers() {
    assert_eq!(close(10.0, &[], 0), Closing::NoGap, "nothing to share");
    assert_eq!(close(10.0, &[slot(5.0, 5.0), slot(5.0, 1.0)], 0), Closing::NoGap, "full is not over");
    assert_eq!(
        limits(close(10.0, &[slot(5.0, 6.0), slot(4.0, 1.0)], 0)),
        [6.0, 4.0],
        "what is unallocated comes first"
    );
    assert_eq!(limits(close(10.0, &[slot(6.0, 8.0), slot(4.0, 1.0)], 0)), [8.0, 2.0], "the other is lowered");
    assert_eq!(limits(close(10.0, &[slot(5.0, 6.0), slot(4.5, 1.0)], 1)), [6.0, 4.0], "both");
    assert_eq!(limits(close(10.0, &[slot(7.0, 5.0), slot(6.0, 1.0)], 0)), [7.0, 3.0], "too much was allocated");
    let tie = [slot(4.0, 6.0), slot(3.0, 1.0), slot(3.0, 1.0)];
    assert_eq!(limits(close(10.0, &tie, 0)), [6.0, 1.0, 3.0], "a tie falls to the first");
    let uneven = [slot(4.0, 5.0), slot(3.0, 2.0), slot(3.0, 1.0)];
    assert_eq!(limits(close(10.0, &uneven, 0)), [5.0, 3.0, 2.0], "the one with most room gives, so that one gives");
    assert_eq!(close(10.0, &[slot(5.0, 6.0), slot(5.0, 5.0)], 0), Closing::Shortfall(1.0));
    assert_eq!(close(10.0, &[slot(5.0, 3.0), slot(6.0, 6.5), slot(1.0, 1.0)], 0), Closing::Shortfall(0.5));
    assert_eq!(limits(close(10.0, &[slot(5.0, 5.125), slot(5.0, 4.0)], 1)), [5.2, 4.8], "as it can be written down");
    assert_eq!(limits(close(10.0, &[slot(5.0, 5.06), slot(5.0, 4.94)], 1)), [5.06, 4.94], "finer where it must be");
    let exact = limits(close(10.0, &[slot(5.0, 5.0 + 1.0 / 3.0), slot(5.0, 5.0 - 1.0 / 3.0)], 1));
    assert!((exact[0] - 16.0 / 3.0).abs() < 1e-7 && (exact[1] - 14.0 / 3.0).abs() < 1e-7, "{exact:?}");
}

#[test]
fn a_transfer_reaches_into_budgets_and_out_of_them() {
    let inner = |limit, value| Slot { inside: Some(0), limit, value, held: 0.0 };
    let outer = |limit, value, held| Slot { inside: None, limit, value, held };
    // Within one budget, without touching the outer limits.
    let slots = [outer(6.0, 5.0, 0.0), outer(4.0, 4.0, 0.0), inner(3.0, 4.0), inner(3.0, 1.0)];
    assert_eq!(limits(close(10.0, &slots, 0)), [6.0, 4.0, 4.0, 2.0]);
    // No room within: the outer limit is raised, and the neighbour's limit is lowered.
    let slots = [outer(6.0, 5.0, 1.0), outer(4.0, 2.0, 0.0), inner(3.0, 4.0), inner(2.0, 2.0)];
    assert_eq!(limits(close(10.0, &slots, 0)), [7.0, 3.0, 4.0, 2.0]);
    // A budget is not lowered below the total of its own shares, unless they are lowered, too.
    let slots = [outer(6.0, 3.0, 0.0), outer(4.0, 5.0, 0.0), inner(3.0, 3.0), inner(2.0, 0.0)];
    assert_eq!(limits(close(10.0, &slots, 0)), [5.0, 5.0, 3.0, 2.0]);
    let slots = [outer(6.0, 4.0, 0.0), outer(4.0, 6.0, 0.0), inner(3.0, 3.0), inner(3.0, 1.0)];
    assert_eq!(limits(close(10.0, &slots, 0)), [4.0, 6.0, 3.0, 1.0]);
    let slots = [outer(6.0, 4.0, 1.0), outer(4.0, 6.0, 0.0), inner(3.0, 3.0), inner(2.0, 1.0)];
    assert_eq!(close(10.0, &slots, 0), Closing::Shortfall(1.0), "the inner reserve is kept");
}

/// Found by random budgets: limits between whole steps, whose smallest change is 2.00004 steps and not 2.
#[test]
fn a_least_change_just_above_a_whole_number() {
    let given = [28.091845339631742, 22.30225248017136, 29.600522840919098, 67.82117513181105, 74.788525430812];
    let more = [11.446225632412503, 1.1183721116519982, 64.61572352888786, 15.452138011006397];
    let mut slots: Vec<Slot> = given.into_iter().chain(more).map(|limit| slot(limit, 0.3 * limit)).collect();
    slots[6].value = 1.19265053227443;
    let room = slots.iter().map(|slot| slot.limit).sum::<f64>();
    let limits = limits(close(room, &slots, 0));
    holds(room, &slots, &limits, "off the grid");
    assert_eq!(limits[6], 2.0);
}

/// The smallest change over all whole limits, found by trying them all.
fn brute(room: i32, slots: &[(Option<usize>, i32, i32, i32)]) -> Option<i32> {
    fn step(room: i32, slots: &[(Option<usize>, i32, i32, i32)], tried: &mut Vec<i32>, best: &mut Option<i32>) {
        let change: i32 = tried.iter().zip(slots).map(|(new, slot)| (new - slot.1).abs()).sum();
        if best.is_some_and(|best| change >= best) {
            return;
        }
        if tried.len() == slots.len() {
            let sum = |of: Option<usize>| -> i32 {
                tried.iter().zip(slots).filter(|(_, slot)| slot.0 == of).map(|(new, _)| new).sum()
            };
            let shared = |at: usize| slots.iter().any(|slot| slot.0 == Some(at));
            let fits = (0..slots.len()).all(|at| !shared(at) || sum(Some(at)) <= tried[at] - slots[at].3);
            if fits && sum(None) <= room {
                *best = Some(change);
            }
            return;
        }
        let (_, _, value, _) = slots[tried.len()];
        for new in value..=room {
            tried.push(new);
            step(room, slots, tried, best);
            tried.pop();
        }
    }
    let mut best = None;
    step(room, slots, &mut Vec::new(), &mut best);
    best
}

/// A small generator, so that a failure can be run again.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, most: i32) -> i32 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % (most as u64 + 1)) as i32
    }
}

#[test]
fn transfers_on_small_whole_budgets_are_minimal() {
    let mut dice = Dice(2027);
    let (mut closed, mut short, mut fine) = (0, 0, 0);
    for round in 0..1500 {
        let count = 1 + dice.roll(3) as usize;
        let room = 4 + dice.roll(8);
        let mut slots: Vec<(Option<usize>, i32, i32, i32)> = Vec::new();
        for at in 0..count {
            let inside = if at > 0 && dice.roll(2) == 0 { Some(dice.roll(at as i32 - 1) as usize) } else { None };
            slots.push((inside, dice.roll(6), dice.roll(4), dice.roll(1)));
        }
        let best = brute(room, &slots);
        let real: Vec<Slot> = slots
            .iter()
            .map(|(inside, limit, value, held)| Slot {
                inside: *inside,
                limit: f64::from(*limit),
                value: f64::from(*value),
                held: f64::from(*held),
            })
            .collect();
        let case = format!("round {round}: room {room}, {slots:?}");
        match close(f64::from(room), &real, 0) {
            Closing::NoGap => {
                fine += 1;
                assert_eq!(best, Some(0), "{case}");
            }
            Closing::Limits(limits) => {
                closed += 1;
                holds(f64::from(room), &real, &limits, &case);
                let change: f64 = limits.iter().zip(&real).map(|(new, slot)| (new - slot.limit).abs()).sum();
                assert_eq!(Some(change), best.map(f64::from), "{case}: {limits:?}");
                assert_eq!(close(f64::from(room), &real, 0), Closing::Limits(limits), "{case}: the same each time");
            }
            Closing::Shortfall(by) => {
                short += 1;
                assert_eq!(best, None, "{case}");
                // With that much more there is a solution, and with less there is none.
                assert!(brute(room + by as i32, &slots).is_some(), "{case}: short by {by}");
                assert!(brute(room + by as i32 - 1, &slots).is_none(), "{case}: short by {by}");
            }
            Closing::Unsolved => panic!("{case}: unsolved"),
        }
    }
    assert!(closed > 200 && short > 200 && fine > 20, "{closed} closed, {short} short, {fine} fine");
}

/// No slot is over its limit, and no total exceeds what is available.
#[track_caller]
fn holds(room: f64, slots: &[Slot], limits: &[f64], case: &str) {
    let slack = 1e-6 * room;
    let sum = |of: Option<usize>| -> f64 {
        limits.iter().zip(slots).filter(|(_, slot)| slot.inside == of).map(|(limit, _)| limit).sum()
    };
    assert!(sum(None) <= room + slack, "{case}: {limits:?}");
    for (at, (slot, limit)) in slots.iter().zip(limits).enumerate() {
        assert!(*limit >= slot.value - 1e-8 * slot.value.abs(), "{case}: {limits:?}");
        if slots.iter().any(|inner| inner.inside == Some(at)) {
            assert!(sum(Some(at)) <= limit - slot.held + slack, "{case}: {limits:?}");
        }
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { cases: 400, ..Default::default() })]

    /// Real budgets of one level: the least change is known in closed form.
    #[test]
    fn transfers_on_real_budgets_hold(
        slots in proptest::collection::vec((0.1_f64..80.0, 0.3_f64..1.15), 1..12),
        spare in -0.05_f64..0.1,
        decimals in 0_i32..4,
    ) {
        let slots: Vec<Slot> = slots.into_iter().map(|(limit, used)| slot(limit, limit * used)).collect();
        let room = slots.iter().map(|slot| slot.limit).sum::<f64>() * (1.0 + spare);
        let raised: f64 = slots.iter().map(|slot| (slot.value - slot.limit).max(0.0)).sum();
        let allocated: f64 = slots.iter().map(|slot| slot.limit).sum();
        let least = raised + (allocated + raised - room).max(0.0);
        let case = format!("{slots:?} in {room}");
        match close(room, &slots, decimals) {
            Closing::NoGap => proptest::prop_assert!(least <= 1e-6, "{case}"),
            Closing::Shortfall(by) => {
                let need: f64 = slots.iter().map(|slot| slot.value).sum();
                proptest::prop_assert!((need - room - by).abs() < 1e-6, "{case}");
            }
            Closing::Limits(limits) => {
                holds(room, &slots, &limits, &case);
                let change: f64 = limits.iter().zip(&slots).map(|(new, slot)| (new - slot.limit).abs()).sum();
                // Rounded limits cost at most one step of the last decimal per share, twice.
                let step = 2.0 * slots.len() as f64 * 10.0_f64.powi(-decimals);
                proptest::prop_assert!(change >= least - 1e-5 && change <= least + step + 1e-5, "{case}: {change} {least}");
            }
            Closing::Unsolved => proptest::prop_assert!(false, "{case}"),
        }
    }
}

#[test]
fn numbers_of_any_size_are_closed_alike() {
    for scale in [1e-9, 1e-3, 1.0, 1e6, 1e200] {
        let slots = [slot(scale, 2.0 * scale), slot(scale, 0.1 * scale), slot(scale, 0.1 * scale)];
        let limits = limits(close(3.0 * scale, &slots, 0));
        let change: f64 = limits.iter().zip(&slots).map(|(new, slot)| (new - slot.limit).abs()).sum();
        assert!((change / scale - 2.0).abs() < 1e-5, "{scale:e}: {limits:?}");
        holds(3.0 * scale, &slots, &limits, "scaled");
    }
}
