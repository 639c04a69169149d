//! Motion along a line with forces that depend only on the speed.
//!
//! The integrator of the straight line and the lap, over panels of speed (see `panel.rs`). A panel ends exactly where
//! another limit of the driving force applies, where a piece of the power curve ends, or at the end of the distance or time.
//! So no kink is inside a panel, and the result shows no grid. Motion at constant speed (terminal speed, corner speed) is
//! calculated in closed form.

use crate::car::Forces;
use crate::crossing::last_below;
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
    Recovery,
    None,
}

/// A stretch with one curvature and one piece of the power curve.
#[derive(Debug)]
pub(crate) struct Leg<'a> {
    forces: &'a Forces,
    curvature: f64,
    push: Push,
    piece: Piece,
    /// The range of speeds in which the leg is valid.
    low: f64,
    high: f64,
    /// Whether tyres are load-sensitive, a shift is spread over the leg, or energy is given back. One test keeps all other
    /// legs as fast as without these.
    special: bool,
    /// The ratio of the friction coefficients under braking and cornering.
    stretch: f64,
}

/// A limit of the driving force at a speed.
#[derive(Debug, Clone, Copy)]
struct Found {
    limit: Limit,
    /// The relative distance to the next limit above it.
    room: f64,
    /// The force at the limit; NaN if the limits do not depend on it.
    force: f64,
}

/// The forces that were calculated on the way to the end of a panel: the panel and the next step need them again.
#[derive(Debug, Clone, Copy)]
struct Ahead {
    middle: f64,
    at_middle: Found,
    end: f64,
    at_end: Found,
}

/// Why a leg ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum End {
    Distance,
    Time,
    High,
    Low,
}

impl<'a> Leg<'a> {
    pub(crate) fn new(forces: &'a Forces, curvature: f64, push: Push, piece: Piece, range: (f64, f64)) -> Self {
        let special = forces.axles.is_some() || piece.lag > 0.0 || matches!(push, Push::Recover { .. });
        let stretch = match push {
            Push::Brake { grip } | Push::Recover { grip } => grip / forces.grip,
            Push::Drive | Push::Coast => 1.0,
        };
        Self { forces, curvature, push, piece, low: range.0, high: range.1, special, stretch }
    }

    fn force(&self, limit: Limit, v: f64) -> f64 {
        if self.special {
            return self.special_force(limit, v);
        }
        self.plain_force(limit, v)
    }

    #[inline(always)]
    fn plain_force(&self, limit: Limit, v: f64) -> f64 {
        match limit {
            Limit::Power | Limit::Recovery => self.piece.force(v),
            Limit::Tyres => self.forces.driven_limit(v * v, self.curvature),
            Limit::Front => self.forces.front_limit(v * v, self.curvature),
            Limit::Brakes | Limit::None => match self.push {
                Push::Brake { grip } => -self.forces.braking_limit(v * v, self.curvature, grip),
                _ => 0.0,
            },
        }
    }

    #[inline(never)]
    fn special_force(&self, limit: Limit, v: f64) -> f64 {
        let (forces, w, curvature) = (self.forces, v * v, self.curvature);
        let braking = |grip: f64| match &forces.axles {
            Some(axles) => axles.braking_limit(forces, w, curvature, self.stretch),
            None => forces.braking_limit(w, curvature, grip),
        };
        match (limit, &forces.axles) {
            (Limit::Power | Limit::Recovery, _) => self.piece.force(v),
            (Limit::Tyres, Some(axles)) => axles.driven_limit(forces, w, curvature),
            (Limit::Tyres, None) => forces.driven_limit(w, curvature),
            (Limit::Front, Some(axles)) => axles.front_limit(forces, w, curvature),
            (Limit::Front, None) => forces.front_limit(w, curvature),
            (Limit::Brakes | Limit::None, _) => match self.push {
                Push::Brake { grip } => -braking(grip),
                Push::Recover { grip } => braking(grip),
                Push::Drive | Push::Coast => 0.0,
            },
        }
    }

    /// The limit that applies.
    fn limits(&self, v: f64) -> Found {
        match self.push {
            Push::Drive => self.driving_limits(v),
            Push::Recover { .. } => self.recovery_limits(v),
            Push::Brake { .. } | Push::Coast => Found { limit: Limit::None, room: f64::INFINITY, force: f64::NAN },
        }
    }

    fn driving_limits(&self, v: f64) -> Found {
        let power = self.piece.force(v);
        let (tyres, front) = if self.special {
            (self.special_force(Limit::Tyres, v), self.special_force(Limit::Front, v))
        } else {
            (self.forces.driven_limit(v * v, self.curvature), self.forces.front_limit(v * v, self.curvature))
        };
        let mut lowest = (power, Limit::Power);
        let mut next = f64::INFINITY;
        for (force, limit) in [(tyres, Limit::Tyres), (front, Limit::Front)] {
            if force < lowest.0 {
                next = lowest.0;
                lowest = (force, limit);
            } else {
                next = next.min(force);
            }
        }
        Found { limit: lowest.1, room: (next - lowest.0) / lowest.0, force: lowest.0 }
    }

    /// Both need the braking force, which is the force of the rates.
    fn recovery_limits(&self, v: f64) -> Found {
        let (brakes, recovery) = (self.force(Limit::Brakes, v), self.force(Limit::Recovery, v));
        if brakes < recovery {
            Found { limit: Limit::Brakes, room: (recovery - brakes) / brakes, force: brakes }
        } else {
            Found { limit: Limit::Recovery, room: (brakes - recovery) / recovery, force: brakes }
        }
    }

    /// Acceleration, and power at the driven wheels.
    #[inline(never)]
    pub(crate) fn rates(&self, limit: Limit, v: f64) -> (f64, f64) {
        if self.special {
            let of = if matches!(self.push, Push::Recover { .. }) { Limit::Brakes } else { limit };
            return self.special_rates(limit, v, self.special_force(of, v));
        }
        self.plain_rates(limit, v, self.plain_force(limit, v))
    }

    /// The same, where the force is known.
    fn rates_found(&self, found: Found, v: f64) -> (f64, f64) {
        if found.force.is_nan() {
            return self.rates(found.limit, v);
        }
        if self.special {
            return self.special_rates(found.limit, v, found.force);
        }
        self.plain_rates(found.limit, v, found.force)
    }

    #[inline(always)]
    fn plain_rates(&self, limit: Limit, v: f64, force: f64) -> (f64, f64) {
        let net = (force - self.forces.resistance(v * v)) / self.forces.inertia;
        match limit {
            Limit::None => (if self.push == Push::Coast { net } else { -net }, 0.0),
            Limit::Power => (net, self.piece.power(v)),
            _ => (net, force * v),
        }
    }

    #[inline(always)]
    fn special_rates(&self, limit: Limit, v: f64, force: f64) -> (f64, f64) {
        let (inertia, resistance) = (self.forces.inertia, self.forces.resistance(v * v));
        if let Push::Recover { .. } = self.push {
            let power = if limit == Limit::Recovery { self.piece.power(v) } else { force * v };
            return ((force + resistance) / inertia, power);
        }
        if self.piece.lag > 0.0 {
            // A shift that is spread over a range of speeds: as if the mass were larger.
            let acceleration = (force - resistance) / (inertia + force * self.piece.lag);
            return (acceleration, (inertia * acceleration + resistance) * v);
        }
        let net = (force - resistance) / inertia;
        match limit {
            Limit::None => (if self.push == Push::Coast { net } else { -net }, 0.0),
            Limit::Power => (net, self.piece.power(v)),
            _ => (net, force * v),
        }
    }

    pub(crate) fn acceleration(&self, v: f64) -> f64 {
        self.rates_found(self.limits(v), v).0
    }

    /// Whether the speed stays the same within a relative change of `near`.
    fn held(&self, limit: Limit, v: f64, acceleration: f64, near: f64) -> bool {
        let next_to = |change: f64| self.rates(limit, v * (1.0 + change)).0;
        if acceleration > 0.0 {
            // Brakes never push, so that with any resistance the speed changes.
            let brakes = matches!(self.push, Push::Brake { .. } | Push::Recover { .. });
            let next = v * (1.0 + near);
            if brakes && self.forces.resistance(next * next) / self.forces.inertia > 0.0 {
                return false;
            }
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
        let mut known: Option<(f64, Found)> = None;
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
            let found = known.take().filter(|(at, _)| *at == v).map_or_else(|| self.limits(v), |(_, found)| found);
            let acceleration = self.rates_found(found, v).0;
            let Found { mut limit, mut room, .. } = found;
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
                Found { limit, room, .. } = self.limits(probe);
            }
            let ahead = match self.kink(limit, room, probe, to) {
                Ok(ahead) => ahead,
                Err(kink) => {
                    to = kink;
                    None
                }
            };
            let stride = Stride { leg: self, limit };
            let mut reached;
            loop {
                let error;
                let here = ahead.filter(|ahead| ahead.end == to && ahead.at_middle.limit == limit);
                (reached, error) = stride.panel(s, to, |v| {
                    let known = here.filter(|ahead| ahead.middle == v);
                    known.map_or_else(|| self.rates(limit, v), |ahead| self.rates_found(ahead.at_middle, v))
                });
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
            known = ahead.map(|ahead| (ahead.end, ahead.at_end));
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
    /// If limits are near each other in between, more speeds are examined, because two limits may cross twice. If there is
    /// none, what was found on the way.
    fn kink(&self, limit: Limit, room: f64, from: f64, to: f64) -> Result<Option<Ahead>, f64> {
        if limit == Limit::None {
            return Ok(None);
        }
        let between = |part: f64| from + part * (to - from);
        // A third limit may apply before the one at the far speed, so all other limits are included.
        let others = |v: f64| {
            let force = |other| if other == limit { f64::INFINITY } else { self.force(other, v) };
            match limit {
                Limit::Brakes | Limit::Recovery => force(Limit::Brakes).min(force(Limit::Recovery)),
                _ => force(Limit::Power).min(force(Limit::Tyres)).min(force(Limit::Front)),
            }
        };
        let solve = |far: f64| Err(last_below(from, far, |v| self.force(limit, v) - others(v)));
        let middle = between(0.5);
        let (at_middle, at_end) = (self.limits(middle), self.limits(to));
        if at_middle.limit != limit {
            return solve(middle);
        }
        let ahead = Ahead { middle, at_middle, end: to, at_end };
        if at_end.limit == limit && room.min(at_middle.room).min(at_end.room) > NEAR {
            return Ok(Some(ahead));
        }
        let mut rooms = [room; 9];
        for (k, nearby) in rooms.iter_mut().enumerate().skip(1) {
            let v = between(k as f64 / 8.0);
            let found = self.limits(v);
            if found.limit != limit {
                return solve(v);
            }
            *nearby = found.room;
        }
        // The vertex of a parabola through the nearest of these and its neighbours.
        let nearest = (1..8).min_by(|a, b| rooms[*a].total_cmp(&rooms[*b])).unwrap_or(1);
        let (before, here, after) = (rooms[nearest - 1], rooms[nearest], rooms[nearest + 1]);
        let aside = 0.5 * (before - after) / (before - 2.0 * here + after);
        if aside.abs() < 1.0 {
            let v = between((nearest as f64 + aside) / 8.0);
            if self.limits(v).limit != limit {
                return solve(v);
            }
        }
        Ok(Some(ahead))
    }
}

#[cfg(test)]
#[path = "motion_tests.rs"]
mod tests;
