//! Tyres whose friction coefficient falls with their load, and the transfer of load between the four wheels.
//!
//! A tyre with the load `N` holds a force of at most `(grip - 4 k (N - reference / 4)) N`. `k` is the decrease per newton of
//! load of the *whole car*, so that of one tyre is four times as large. The two tyres of an axle with the load `W`, of
//! which `d` moves from the inner to the outer one, hold together
//!
//! `C(W, d) = (grip + k reference - 2 k W) W - 8 k d^2`.
//!
//! So an axle loses grip with its load and with the square of the load transfer: a standard textbook result (Gillespie;
//! Milliken and Milliken; Guiggiani). Both axles together lose grip with the square of the longitudinal transfer, too.

use crate::car::Forces;
use crate::error::{ModelError, must};

/// The square of the highest speed that is examined, m^2/s^2.
const FAR: f64 = 1e12;

/// The lateral load transfer of a car.
#[derive(Debug, Clone)]
pub(crate) struct Roll {
    /// Load that moves on each axle per lateral acceleration, kg.
    front: f64,
    rear: f64,
    /// Mass times height of the centre of gravity, kg m.
    moment: f64,
    /// Half of the track width, as the mean over the load, m.
    half_track: f64,
}

/// What the lateral load transfer depends on, unchecked.
#[derive(Debug, Clone, Copy)]
pub(crate) struct RollInputs {
    pub(crate) mass: f64,
    pub(crate) height: f64,
    /// Share of the static weight on the rear axle.
    pub(crate) rear: f64,
    pub(crate) track_width: Option<f64>,
    pub(crate) rear_track_width: Option<f64>,
    pub(crate) front_roll_share: Option<f64>,
}

impl Roll {
    /// No load moves.
    pub(crate) const NONE: Self = Self { front: 0.0, rear: 0.0, moment: 0.0, half_track: 0.0 };

    /// `None` without track width.
    pub(crate) fn new(inputs: &RollInputs) -> Result<Option<Self>, ModelError> {
        let RollInputs { mass, height, rear, .. } = *inputs;
        let width = |input, width: Option<f64>| width.map(|width| must::be_positive(input, width)).transpose();
        let front_track = width("track-width", inputs.track_width)?;
        let rear_track = width("rear-track-width", inputs.rear_track_width)?;
        let front_share =
            inputs.front_roll_share.map(|share| must::be_a_part("front-roll-share", share)).transpose()?;
        let Some(front_track) = front_track else {
            return match rear_track.or(front_share) {
                Some(_) => Err(ModelError::Missing { input: "track-width", hint: "lateral load transfer needs it" }),
                None => Ok(None),
            };
        };
        let rear_track = rear_track.unwrap_or(front_track);
        let front_share = front_share.unwrap_or(1.0 - rear);
        let moment = mass * height;
        Ok(Some(Self {
            front: front_share * moment / front_track,
            rear: (1.0 - front_share) * moment / rear_track,
            moment,
            half_track: 0.5 * ((1.0 - rear) * front_track + rear * rear_track),
        }))
    }
}

/// The constants of tyres and load transfer. `w` is always the speed squared.
#[derive(Debug, Clone)]
pub(crate) struct Axles {
    /// Friction coefficient without load.
    unloaded: f64,
    /// Decrease of the friction coefficient per newton of load of the whole car, 1/N.
    loss: f64,
    /// Share of the static weight on the rear axle.
    rear: f64,
    roll: Roll,
    /// Longitudinal load transfer per newton of net force.
    pitch: f64,
}

impl Axles {
    /// Checks that each axle has grip at its static load.
    pub(crate) fn new(
        grip: f64,
        loss: f64,
        reference: f64,
        weight: f64,
        rear: f64,
        roll: Roll,
        pitch: f64,
    ) -> Result<Self, ModelError> {
        let unloaded = grip + loss * reference;
        let least = unloaded - 2.0 * loss * weight * rear.max(1.0 - rear);
        let condition = "so small that grip is above zero at the weight of the car";
        must::check("load-sensitivity", loss, least > 0.0, condition)?;
        Ok(Self { unloaded, loss, rear, roll, pitch })
    }

    /// The largest force of the two tyres of an axle, with the load that moves between them.
    fn axle(&self, load: f64, moved: f64) -> f64 {
        (self.unloaded - 2.0 * self.loss * load) * load - 8.0 * self.loss * moved * moved
    }

    /// The largest force of all tyres as `a + b X - c X^2` of the load `X` that moves to the rear axle.
    fn all(&self, load: f64, lateral: f64) -> (f64, f64, f64) {
        let (front, rear) = ((1.0 - self.rear) * load, self.rear * load);
        let still = self.axle(front, self.roll.front * lateral) + self.axle(rear, self.roll.rear * lateral);
        (still, 4.0 * self.loss * (front - rear), 4.0 * self.loss)
    }

    /// The largest driving force in addition to the cornering force, N.
    pub(crate) fn driven_limit(&self, forces: &Forces, w: f64, curvature: f64) -> f64 {
        let (load, lateral, resistance) = (forces.load(w), w * curvature, forces.resistance(w));
        let (p, aside) = (self.pitch, forces.share * forces.mass * lateral);
        if forces.share == 1.0 {
            // X = p (F - resistance)
            let (a, b, c) = self.all(load, lateral);
            let still = a - (b + c * p * resistance) * p * resistance;
            return largest([still, (b + 2.0 * c * p * resistance) * p, c * p * p], aside, f64::INFINITY);
        }
        let rear = forces.share * load - p * resistance;
        let still = self.axle(rear, self.roll.rear * lateral);
        let slope = p * (self.unloaded - 4.0 * self.loss * rear);
        largest([still, slope, 2.0 * self.loss * p * p], aside, (load - rear) / p)
    }

    /// The driving force at which the front axle has only the load that its share of the cornering force needs, N.
    pub(crate) fn front_limit(&self, forces: &Forces, w: f64, curvature: f64) -> f64 {
        if forces.share == 1.0 || self.pitch == 0.0 {
            return f64::INFINITY;
        }
        let (share, lateral) = (1.0 - forces.share, w * curvature);
        let moved = self.roll.front * lateral;
        let force = share * forces.mass * lateral + 8.0 * self.loss * moved * moved;
        let inside = self.unloaded * self.unloaded - 8.0 * self.loss * force;
        if inside < 0.0 {
            return 0.0;
        }
        // The smaller root of (unloaded - 2 loss W) W = force
        let needed = 2.0 * force / (self.unloaded + inside.sqrt());
        (forces.resistance(w) + (share * forces.load(w) - needed) / self.pitch).max(0.0)
    }

    /// The largest braking force of all tyres in addition to the cornering force, N. `stretch` is the ratio of the friction
    /// coefficients under braking and cornering.
    pub(crate) fn braking_limit(&self, forces: &Forces, w: f64, curvature: f64, stretch: f64) -> f64 {
        let (load, lateral, resistance) = (forces.load(w), w * curvature, forces.resistance(w));
        // X = -p (B + resistance)
        let (p, (a, b, c)) = (self.pitch, self.all(load, lateral));
        let still = a - (b + c * p * resistance) * p * resistance;
        let slope = -(b + 2.0 * c * p * resistance) * p;
        let terms = [still, stretch * slope, c * p * p * stretch * stretch];
        stretch * largest(terms, forces.mass * lateral, f64::INFINITY)
    }

    /// The square of the highest speed on a curve: each axle holds its share of the cornering force, the driven tyres also
    /// the driving force against resistance, and the car does not tip over. Infinite if there is no limit.
    pub(crate) fn corner(&self, forces: &Forces, curvature: f64) -> Result<f64, ModelError> {
        let share = forces.share;
        let roll = forces.roll * forces.weight;
        let drag = forces.drag + forces.roll * forces.down;
        let (front, rear) = (1.0 - self.rear, self.rear);
        let driven = |w: f64| {
            let held = self.held(forces, rear, self.roll.rear, curvature, w);
            let (mut value, mut slope) = held;
            if share == 1.0 {
                let more = self.held(forces, front, self.roll.front, curvature, w);
                (value, slope) = (value + more.0, slope + more.1);
            }
            let aside = share * forces.mass * curvature;
            let against = roll + drag * w;
            let force = (aside * w).hypot(against);
            if force > 0.0 {
                value -= force;
                slope -= (aside * aside * w + against * drag) / force;
            }
            (value, slope)
        };
        if driven(0.0).0 <= 0.0 {
            return Err(ModelError::Stuck { at: 0.0 });
        }
        let limit = concave_root(self.start(forces.mass, forces.weight, curvature), driven);
        Ok(if curvature == 0.0 { limit } else { limit.min(self.lateral_limit(forces, curvature)) })
    }

    /// The same as [`Self::corner`] without resistance.
    pub(crate) fn lateral_limit(&self, forces: &Forces, curvature: f64) -> f64 {
        let axle = |share: f64, roll: f64| {
            concave_root(self.start(forces.mass, forces.weight, curvature), |w: f64| {
                let (value, slope) = self.held(forces, share, roll, curvature, w);
                let aside = share * forces.mass * curvature;
                (value - aside * w, slope - aside)
            })
        };
        let both = axle(1.0 - self.rear, self.roll.front).min(axle(self.rear, self.roll.rear));
        let over = self.roll.moment * curvature - forces.down * self.roll.half_track;
        if self.roll.moment > 0.0 && over > 0.0 { both.min(forces.weight * self.roll.half_track / over) } else { both }
    }

    /// The largest force of an axle with a share of the load, and its derivative with respect to `w`.
    fn held(&self, forces: &Forces, share: f64, roll: f64, curvature: f64, w: f64) -> (f64, f64) {
        let (load, rise) = (share * (forces.weight + forces.down * w), share * forces.down);
        let moved = roll * curvature;
        let slope = (self.unloaded - 4.0 * self.loss * load) * rise - 16.0 * self.loss * moved * moved * w;
        (self.axle(load, moved * w), slope)
    }

    fn start(&self, mass: f64, weight: f64, curvature: f64) -> f64 {
        (self.unloaded - self.loss * weight) * weight / (mass * curvature)
    }
}

/// The largest `f` with `f^2 + aside^2 = C(f)^2` for a concave `C(f) = a + b f - c f^2`; 0 if there is none. `far` is where
/// the driven axle has all the load, after which `C` no longer increases.
///
/// A tangent of `C` lies above it, so its solution, a root of a quadratic, is too large: the next tangent there is better. The first
/// one is at the solution without load transfer, and the distance of a tangent from `C` says when the next one changes nothing.
fn largest([a, b, c]: [f64; 3], aside: f64, far: f64) -> f64 {
    let mut at = 0.0;
    if b >= 1.0 {
        let most = a + (b - c * far) * far;
        if !far.is_finite() || most >= far.hypot(aside) {
            return ((most - aside) * (most + aside)).max(0.0).sqrt();
        }
        at = far;
    } else if a > aside {
        at = ((a - aside) * (a + aside)).sqrt();
    }
    for _ in 0..50 {
        let (still, lever) = (a + c * at * at, b - 2.0 * c * at);
        let room = (still - aside) * (still + aside);
        let inside = room + (lever * aside).powi(2);
        if still <= 0.0 || inside <= 0.0 {
            return 0.0;
        }
        // The larger root of (1 - lever^2) f^2 - 2 lever still f - room = 0
        let next = if lever > 0.0 {
            (lever * still + inside.sqrt()) / ((1.0 - lever) * (1.0 + lever))
        } else {
            room / (inside.sqrt() - lever * still)
        };
        if c * (next - at).powi(2) <= 1e-11 * still {
            return next.max(0.0);
        }
        at = next.max(0.0);
    }
    at
}

/// The positive root of a concave function that is above zero at zero, from its values and derivatives; infinite if there
/// is none. Newton's method, which approaches it from above after the first step.
fn concave_root(start: f64, f: impl Fn(f64) -> (f64, f64)) -> f64 {
    let mut w = start.clamp(1e-9, FAR);
    for _ in 0..200 {
        let (value, slope) = f(w);
        if w >= FAR && value >= 0.0 {
            return f64::INFINITY;
        }
        let next = if slope < 0.0 { w - value / slope } else { 2.0 * w };
        let next = next.min(FAR);
        if (next - w).abs() <= 2.0 * f64::EPSILON * w || next.is_nan() {
            return next;
        }
        w = next;
    }
    w
}
