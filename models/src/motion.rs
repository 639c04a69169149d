//! Motion along a line with forces that depend only on the speed.
//!
//! The integrator of the straight line and the lap, over panels of speed (see `panel.rs`). A panel ends exactly where
//! another limit of the driving force applies, where a piece of the power curve ends, or at the end of the distance or time.
//! So no kink is inside a panel, and the result shows no grid. Motion at constant speed (terminal speed, corner speed) is
//! calculated in closed form.

use crate::car::Forces;
use crate::error::ModelError;
use crate::panel::{Stop, Stride, TOLERANCE};
use crate::power::Piece;

/// A speed within this relative distance of its equilibrium is set to it. Nearer to it, the acceleration is a difference of
/// nearly equal forces with too few significant digits.
const HELD: f64 = 1e-8;
/// The relative distance from a kink at which the limit after it is determined.
const BESIDE: f64 = 1e-9;
/// Limits with a smaller relative distance may cross within a panel.
const NEAR: f64 = 0.3;

/// The position and speed of the car, and the time and energy so far.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct State {
    pub(crate) time: f64,
    pub(crate) distance: f64,
    pub(crate) speed: f64,
    /// Energy at the driven wheels, J.
    pub(crate) energy: f64,
}

impl State {
    pub(crate) fn with_speed(speed: f64) -> Self {
        Self { speed, ..Self::default() }
    }
}

/// The number of steps left before a calculation is stopped.
#[derive(Debug)]
pub(crate) struct Steps(pub(crate) u32);

impl Steps {
    pub(crate) fn take(&mut self) -> Result<(), ModelError> {
        self.0 = self.0.checked_sub(1).ok_or(ModelError::NotComputable)?;
        Ok(())
    }
}

/// What accelerates the car.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Push {
    /// As much driving force as power and tyres allow.
    Drive,
    /// No driving force and no brakes.
    Coast,
    /// The brakes, backwards in time: the speed increases.
    Brake {
        /// Longitudinal friction coefficient of the tyres.
        grip: f64,
    },
    /// The same with the braking power as energy, as far as it is not above the power of the piece.
    Recover {
        /// Longitudinal friction coefficient of the tyres.
        grip: f64,
    },
}

/// What limits the driving force at a speed, or the part of the braking force that gives back energy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Limit {
    Power,
    Tyres,
    Front,
    Brakes,
    None,
}

/// The limits of the driving force, and of the force that gives back energy.
const DRIVING: [Limit; 3] = [Limit::Power, Limit::Tyres, Limit::Front];
const RECOVERING: [Limit; 3] = [Limit::Power, Limit::Brakes, Limit::Brakes];

/// A stretch with one curvature and one piece of the power curve.
#[derive(Debug)]
pub(crate) struct Leg<'a> {
    pub(crate) forces: &'a Forces,
    pub(crate) curvature: f64,
    pub(crate) push: Push,
    pub(crate) piece: Piece,
    /// The range of speeds in which the leg is valid.
    pub(crate) low: f64,
    pub(crate) high: f64,
}

/// Why a leg ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum End {
    Distance,
    Time,
    High,
    Low,
}

impl Leg<'_> {
    fn force(&self, limit: Limit, v: f64) -> f64 {
        match limit {
            Limit::Power => self.piece.force(v),
            Limit::Tyres => self.forces.driven_limit(v * v, self.curvature),
            Limit::Front => self.forces.front_limit(v * v, self.curvature),
            Limit::Brakes => self.braking_force(v),
            Limit::None => match self.push {
                Push::Brake { grip } => -self.forces.braking_limit(v * v, self.curvature, grip),
                _ => 0.0,
            },
        }
    }

    fn braking_force(&self, v: f64) -> f64 {
        match self.push {
            Push::Brake { grip } | Push::Recover { grip } => self.forces.braking_limit(v * v, self.curvature, grip),
            _ => 0.0,
        }
    }

    fn possible_limits(&self) -> [Limit; 3] {
        if let Push::Recover { .. } = self.push { RECOVERING } else { DRIVING }
    }

    /// The limit that applies, and the relative distance to the next limit above it.
    fn limits(&self, v: f64) -> (Limit, f64) {
        if let Push::Brake { .. } | Push::Coast = self.push {
            return (Limit::None, f64::INFINITY);
        }
        let [first, others @ ..] = self.possible_limits();
        let mut lowest = (self.force(first, v), first);
        let mut next = f64::INFINITY;
        for limit in others {
            let force = self.force(limit, v);
            if force < lowest.0 {
                next = lowest.0;
                lowest = (force, limit);
            } else {
                next = next.min(force);
            }
        }
        (lowest.1, (next - lowest.0) / lowest.0)
    }

    fn limit(&self, v: f64) -> Limit {
        self.limits(v).0
    }

    /// Acceleration, and power at the driven wheels.
    pub(crate) fn rates(&self, limit: Limit, v: f64) -> (f64, f64) {
        if let Push::Recover { .. } = self.push {
            return self.recovery_rates(limit, v);
        }
        let force = self.force(limit, v);
        if self.piece.lag > 0.0 {
            return self.shifting_rates(force, v);
        }
        let net = (force - self.forces.resistance(v * v)) / self.forces.inertia;
        match limit {
            Limit::None => (if self.push == Push::Coast { net } else { -net }, 0.0),
            Limit::Power => (net, self.piece.power(v)),
            _ => (net, force * v),
        }
    }

    /// The rates during a shift that is spread over a range of speeds: as if the mass were larger by `force * lag`.
    fn shifting_rates(&self, force: f64, v: f64) -> (f64, f64) {
        let (inertia, resistance) = (self.forces.inertia, self.forces.resistance(v * v));
        let acceleration = (force - resistance) / (inertia + force * self.piece.lag);
        (acceleration, (inertia * acceleration + resistance) * v)
    }

    fn recovery_rates(&self, limit: Limit, v: f64) -> (f64, f64) {
        let force = self.braking_force(v);
        let acceleration = (force + self.forces.resistance(v * v)) / self.forces.inertia;
        (acceleration, if limit == Limit::Power { self.piece.power(v) } else { force * v })
    }

    pub(crate) fn acceleration(&self, v: f64) -> f64 {
        self.rates(self.limit(v), v).0
    }

    /// Whether the speed stays the same within a relative change of `near`.
    fn held(&self, limit: Limit, v: f64, acceleration: f64, near: f64) -> bool {
        let next_to = |change: f64| self.rates(limit, v * (1.0 + change)).0;
        if acceleration > 0.0 {
            next_to(near) <= 0.0
        } else if acceleration < 0.0 {
            v == 0.0 || next_to(-near) >= 0.0
        } else {
            true
        }
    }

    /// Moves until the distance or time is reached, or the speed leaves the range of the leg.
    pub(crate) fn run(&self, s: &mut State, distance: f64, time: f64, steps: &mut Steps) -> Result<End, ModelError> {
        let mut widest = f64::INFINITY;
        loop {
            steps.take()?;
            let (ahead, left) = (distance - s.distance, time - s.time);
            if ahead <= 0.0 {
                return Ok(End::Distance);
            }
            if left <= 0.0 {
                return Ok(End::Time);
            }
            let v = s.speed;
            let (mut limit, mut room) = self.limits(v);
            let acceleration = self.rates(limit, v).0;
            if !acceleration.is_finite() {
                return Err(ModelError::NotComputable);
            }
            let up = acceleration > 0.0;
            if up && v >= self.high {
                return Ok(End::High);
            }
            if self.held(limit, v, acceleration, HELD) {
                return self.settle(s, limit, acceleration, HELD, distance, time);
            }
            if !up && v <= self.low {
                return Ok(End::Low);
            }
            // The change of speed until the end of the distance or time at this acceleration, plus a margin.
            let there = (v * v + 2.0 * acceleration * ahead).max(0.0).sqrt() - v;
            let width = 1.02 * there.abs().min(acceleration.abs() * left);
            let edge = if up { self.high } else { self.low };
            let mut to = if up { (v + width.min(widest)).min(edge) } else { (v - width.min(widest)).max(edge) };
            if to == v {
                return self.hold(s, distance, time);
            }
            let mut probe = v;
            if room <= 1e-6 {
                // Beyond the kink at which the last panel may have ended.
                probe = v * if up { 1.0 + BESIDE } else { 1.0 - BESIDE };
                (limit, room) = self.limits(probe);
            }
            if let Some(kink) = self.kink(limit, room, probe, to) {
                to = kink;
            }
            let stride = Stride { leg: self, limit };
            let mut reached;
            loop {
                let error;
                (reached, error) = stride.panel(s, to);
                if error <= TOLERANCE {
                    widest *= 2.0;
                    break;
                }
                steps.take()?;
                let shorter = if error.is_finite() { (0.9 * (TOLERANCE / error).powf(0.125)).max(0.1) } else { 0.4 };
                let before = to;
                to = v + shorter.min(0.8) * (to - v);
                if to == v || to == before || !to.is_finite() {
                    // So near an equilibrium the last digits are rounding errors.
                    if self.held(limit, v, acceleration, 1e3 * HELD) {
                        return self.settle(s, limit, acceleration, 1e3 * HELD, distance, time);
                    }
                    return Err(ModelError::NotComputable);
                }
                widest = 0.5 * (to - v).abs();
            }
            if reached.distance > distance {
                reached = stride.until(s, reached, Stop::Distance(distance));
            }
            if reached.time > time {
                reached = stride.until(s, reached, Stop::Time(time));
            }
            *s = reached;
            if s.speed == edge && s.distance < distance && s.time < time {
                return Ok(if up { End::High } else { End::Low });
            }
        }
    }

    /// Moves towards the equilibrium directly next to the speed until the distance or time is reached. The approach is
    /// exponential, because over so small a change the acceleration is linear in the speed.
    fn settle(
        &self,
        s: &mut State,
        limit: Limit,
        acceleration: f64,
        near: f64,
        distance: f64,
        time: f64,
    ) -> Result<End, ModelError> {
        let v = s.speed;
        if acceleration == 0.0 || v == 0.0 {
            return self.hold(s, distance, time);
        }
        let beside = v * (1.0 + near.copysign(acceleration));
        let sign = acceleration.signum();
        s.speed = last_below(v, beside, |v| -sign * self.rates(limit, v).0);
        let (held, gap) = (s.speed, s.speed - v);
        let rate = acceleration / gap;
        if !rate.is_finite() {
            return self.hold(s, distance, time);
        }
        // The distance lost after a time compared with driving at the equilibrium speed; at most gap / rate.
        let lost = |span: f64| -gap * (-rate * span).exp_m1() / rate;
        let (ahead, left) = (distance - s.distance, time - s.time);
        let takes = (ahead + lost(ahead / held)) / held;
        let span = takes.min(left);
        let before = s.distance;
        let end = self.hold(s, distance + lost(span), time)?;
        s.distance = if end == End::Distance { distance } else { before + held * span - lost(span) };
        s.speed = held - gap * (-rate * span).exp();
        if self.push == Push::Drive {
            s.energy += self.forces.inertia * held * (s.speed - v);
        }
        Ok(end)
    }

    /// Moves at constant speed until the distance or time is reached.
    pub(crate) fn hold(&self, s: &mut State, distance: f64, time: f64) -> Result<End, ModelError> {
        let (ahead, left) = (distance - s.distance, time - s.time);
        let takes = ahead / s.speed; // infinite at rest
        if takes == f64::INFINITY && left == f64::INFINITY {
            return Err(ModelError::Stuck { at: s.distance });
        }
        let span = takes.min(left);
        if self.push == Push::Drive {
            s.energy += self.forces.resistance(s.speed * s.speed) * s.speed * span;
        }
        if takes <= left {
            s.time += takes;
            s.distance = distance;
            Ok(End::Distance)
        } else {
            s.time = time;
            s.distance += s.speed * left;
            Ok(End::Time)
        }
    }

    /// The first speed between two speeds at which another limit applies, from the limit at the first and its distance to
    /// the next one.
    ///
    /// If limits are near each other in between, more speeds are examined, because two limits may cross twice.
    fn kink(&self, limit: Limit, room: f64, from: f64, to: f64) -> Option<f64> {
        if limit == Limit::None {
            return None;
        }
        let between = |part: f64| from + part * (to - from);
        // A third limit may apply before the one at the far speed, so all other limits are included.
        let [first, second, third] = self.possible_limits();
        let others = |v: f64| {
            let force = |other| if other == limit { f64::INFINITY } else { self.force(other, v) };
            force(first).min(force(second)).min(force(third))
        };
        let solve = |far: f64| Some(last_below(from, far, |v| self.force(limit, v) - others(v)));
        let ((middle, middle_room), (end, end_room)) = (self.limits(between(0.5)), self.limits(to));
        if middle != limit {
            return solve(between(0.5));
        }
        if end == limit && room.min(middle_room).min(end_room) > NEAR {
            return None;
        }
        let mut rooms = [room; 9];
        for (k, nearby) in rooms.iter_mut().enumerate().skip(1) {
            let v = between(k as f64 / 8.0);
            let (other, room) = self.limits(v);
            if other != limit {
                return solve(v);
            }
            *nearby = room;
        }
        // The vertex of a parabola through the nearest of these and its neighbours.
        let nearest = (1..8).min_by(|a, b| rooms[*a].total_cmp(&rooms[*b]))?;
        let (before, here, after) = (rooms[nearest - 1], rooms[nearest], rooms[nearest + 1]);
        let aside = 0.5 * (before - after) / (before - 2.0 * here + after);
        if aside.abs() < 1.0 {
            let v = between((nearest as f64 + aside) / 8.0);
            let (other, _) = self.limits(v);
            if other != limit {
                return solve(v);
            }
        }
        None
    }
}

/// The last number from `a` to `b` at which a function is not above zero, if it is not above zero at `a` and is above zero at
/// `b`: the Illinois method, with bisection if it leaves the bracket.
fn last_below(a: f64, b: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut b) = (a, b);
    let (mut at_a, mut at_b) = (f(a).min(0.0), f(b));
    let mut last_was_b = None;
    for _ in 0..100 {
        if (b - a).abs() <= 4.0 * f64::EPSILON * b.abs() {
            break;
        }
        let mut v = (a * at_b - b * at_a) / (at_b - at_a);
        if !(v > a.min(b) && v < a.max(b)) {
            v = 0.5 * (a + b);
        }
        let at_v = f(v);
        if at_v > 0.0 {
            (b, at_b) = (v, at_v);
            if last_was_b.replace(true) == Some(true) {
                at_a *= 0.5;
            }
        } else {
            (a, at_a) = (v, at_v);
            if at_v == 0.0 {
                break;
            }
            if last_was_b.replace(false) == Some(false) {
                at_b *= 0.5;
            }
        }
    }
    a
}

#[cfg(test)]
#[path = "motion_tests.rs"]
mod tests;
