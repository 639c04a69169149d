//! Panels of speed: time, distance and energy as integrals over speed.
//!
//! `dt = dv / a(v)`, `dx = v dv / a(v)`, `dE = P(v) dv / a(v)`. Over a panel each is integrated with a Gauss-Kronrod rule
//! of nine points. Its difference from the embedded Gauss rule of four points decides whether the panel must be shorter.
//! The rule is a standard textbook result; its numbers were calculated from Stieltjes' polynomial and are exact to
//! degree 13.

use crate::motion::{Leg, Limit, State};

/// The largest relative difference of both rules in a panel. The error of the Kronrod rule is much smaller: with errors
/// of `r^-8` and `r^-14` of the rules, it is about the difference to the power of 7/4.
pub(crate) const TOLERANCE: f64 = 1e-7;

/// The positive nodes of the Kronrod rule of nine points, with their weights in it and in the Gauss rule of four points.
const NODES: [(f64, f64, f64); 4] = [
    (0.976_560_250_737_573_1, 0.062_977_373_665_473_01, 0.0),
    (0.861_136_311_594_052_6, 0.170_053_605_335_722_7, 0.347_854_845_137_453_86),
    (0.640_286_217_496_31, 0.266_798_340_452_284_45, 0.0),
    (0.339_981_043_584_856_26, 0.326_949_189_601_451_63, 0.652_145_154_862_546_1),
];
/// The weight of the middle node.
const MIDDLE: f64 = 0.346_442_981_890_136_36;

/// Panels of speed in which one limit applies.
pub(crate) struct Stride<'a> {
    pub(crate) leg: &'a Leg<'a>,
    pub(crate) limit: Limit,
}

impl Stride<'_> {
    /// The state at another speed, and the relative error of the Gauss rule; infinite if that speed is not reached. The
    /// rates of the middle speed may be known.
    pub(crate) fn panel(&self, from: &State, to: f64, at_middle: impl FnOnce(f64) -> (f64, f64)) -> (State, f64) {
        let half = 0.5 * (to - from.speed);
        let middle = from.speed + half;
        let mut kronrod = [0.0; 3];
        let mut gauss = [0.0; 2];
        let mut reached = true;
        let mut add = |v: f64, (acceleration, power): (f64, f64), weight: f64, gauss_weight: f64| {
            let slowness = acceleration.recip();
            reached &= acceleration * half > 0.0;
            kronrod[0] += weight * slowness;
            kronrod[1] += weight * slowness * v;
            kronrod[2] += weight * slowness * power;
            gauss[0] += gauss_weight * slowness;
            gauss[1] += gauss_weight * slowness * v;
        };
        add(middle, at_middle(middle), MIDDLE, 0.0);
        for (node, weight, gauss_weight) in NODES {
            for v in [middle - half * node, middle + half * node] {
                add(v, self.leg.rates(self.limit, v), weight, gauss_weight);
            }
        }
        let [time, distance, energy] = kronrod;
        let error = (gauss[0] / time - 1.0).abs().max((gauss[1] / distance - 1.0).abs());
        let state = State {
            time: from.time + half * time,
            distance: from.distance + half * distance,
            speed: to,
            energy: from.energy + half * energy,
        };
        (state, if reached && error.is_finite() { error } else { f64::INFINITY })
    }

    /// The same with the Gauss rule alone, for a small change of speed.
    fn short(&self, from: &State, to: f64) -> State {
        let half = 0.5 * (to - from.speed);
        let middle = from.speed + half;
        let mut state = State { speed: to, ..*from };
        for (node, _, weight) in [NODES[1], NODES[3]] {
            for v in [middle - half * node, middle + half * node] {
                let (acceleration, power) = self.leg.rates(self.limit, v);
                let part = half * weight / acceleration;
                state.time += part;
                state.distance += part * v;
                state.energy += part * power;
            }
        }
        state
    }

    /// The state within a panel at which an end is reached: Newton's method for the speed within a bracket. The remaining
    /// distance or time is so small that the acceleration is constant over it.
    pub(crate) fn until(&self, from: &State, to: State, stop: Stop) -> State {
        let over = |at: &State| match stop {
            Stop::Distance(distance) => at.distance - distance,
            Stop::Time(time) => at.time - time,
        };
        let enough = 1e-9 * over(from).abs();
        let (mut near, mut far) = (from.speed, to.speed);
        let mut at = to;
        for _ in 0..60 {
            let beyond = over(&at);
            if beyond.abs() <= enough {
                break;
            }
            *if beyond > 0.0 { &mut far } else { &mut near } = at.speed;
            let acceleration = self.leg.rates(self.limit, at.speed).0;
            let mut next = at.speed - acceleration * stop.time(beyond, at.speed);
            let inside = |v: f64| v > near.min(far) && v < near.max(far);
            if !inside(next) {
                next = 0.5 * (near + far);
                if !inside(next) {
                    break;
                }
            }
            let near_by = 16.0 * (next - at.speed).abs() < (next - from.speed).abs();
            at = if near_by {
                self.short(&at, next)
            } else {
                self.panel(from, next, |v| self.leg.rates(self.limit, v)).0
            };
        }
        let (acceleration, power) = self.leg.rates(self.limit, at.speed);
        let late = stop.time(over(&at), at.speed);
        if late.is_finite() {
            at.time -= late;
            at.distance -= late * at.speed;
            at.energy -= late * power;
            at.speed -= late * acceleration;
        }
        match stop {
            Stop::Distance(distance) => at.distance = distance,
            Stop::Time(time) => at.time = time,
        }
        at
    }
}

/// The distance or time at which to stop.
#[derive(Clone, Copy)]
pub(crate) enum Stop {
    Distance(f64),
    Time(f64),
}

impl Stop {
    /// The time needed for an excess of distance or time.
    fn time(self, beyond: f64, speed: f64) -> f64 {
        match self {
            Self::Distance(_) => beyond / speed,
            Self::Time(_) => beyond,
        }
    }
}
