//! A circle at the limit of grip.
//!
//! `mass v^2 / radius = mu N`, with `N = mass g + air_density lift_area v^2 / 2` and a friction coefficient that falls
//! with the load: `mu = grip - load_sensitivity (N - reference_load)`. This is a standard textbook result (Milliken and
//! Milliken; Guiggiani).
//!
//! With `track_width`, `cg_height` moves load from the inner to the outer wheels, whose friction coefficient falls: then
//! each axle must hold its share of the lateral force, `(grip + k reference - 2 k W) W - 8 k d^2` with its load `W` and
//! the load `d` that moves (see `tyres.rs`; the same as in a lap). With equal loads and nothing that moves this is the
//! equation above.
//!
//! Validity: banking, drag and the cornering drag of the tyres are not modelled, except as far as a value of `grip` from a
//! measured circle includes them. The lap model includes the drag.

use crate::GRAVITY;
use crate::car::Forces;
use crate::error::{ModelError, must};
use crate::tyres::{Axles, Roll, RollInputs};

/// The inputs of a circle.
#[derive(Debug, Clone, PartialEq)]
pub struct SteadyCircle {
    /// Radius of the path of the centre of gravity, m.
    pub radius: f64,
    /// Friction coefficient of the car at the reference load, 1.
    pub grip: f64,
    /// Mass with the driver, kg.
    pub mass: f64,
    /// Downforce coefficient times area, m^2; below zero is lift.
    pub lift_area: f64,
    /// Decrease of `mu` per newton of load of the *whole car* above the reference, 1/N: a quarter of the value of one tyre.
    pub load_sensitivity: f64,
    /// The load of the whole car at which `grip` is valid, N; its own weight by default. Then `grip` is valid for any mass,
    /// and only downforce reduces the friction coefficient. Set it if more mass should reduce it too.
    pub reference_load: Option<f64>,
    /// Density of the air, kg/m^3.
    pub air_density: f64,
    /// Height of the centre of gravity, m; needs `track_width`.
    pub cg_height: f64,
    /// Distance between the left and right wheels, m. Without it no load moves.
    pub track_width: Option<f64>,
    /// The same for the rear wheels, if it differs, m.
    pub rear_track_width: Option<f64>,
    /// Share of the weight on the rear axle; used with `track_width`.
    pub rear_weight_share: f64,
    /// Share of the roll moment that the front axle takes; its share of the weight by default.
    pub front_roll_share: Option<f64>,
    /// Measured time divided by modelled time; it multiplies the time.
    pub measured_factor: f64,
}

impl Default for SteadyCircle {
    /// Radius, grip and mass are NaN, which the model rejects.
    fn default() -> Self {
        Self {
            radius: f64::NAN,
            grip: f64::NAN,
            mass: f64::NAN,
            lift_area: 0.0,
            load_sensitivity: 0.0,
            reference_load: None,
            air_density: 1.2,
            cg_height: 0.0,
            track_width: None,
            rear_track_width: None,
            rear_weight_share: 0.5,
            front_roll_share: None,
            measured_factor: 1.0,
        }
    }
}

/// The result of a circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CircleResult {
    /// Time of one circle, s.
    pub time: f64,
    /// Lateral acceleration, m/s^2.
    pub lateral_acceleration: f64,
    /// Speed, m/s.
    pub speed: f64,
}

impl SteadyCircle {
    /// Calculates the circle.
    ///
    /// # Errors
    ///
    /// If an input is out of range, if there is no grip left at the load, or if downforce increases grip so fast that the speed
    /// has no limit.
    pub fn run(&self) -> Result<CircleResult, ModelError> {
        let radius = must::be_positive("radius", self.radius)?;
        let grip = must::be_positive("grip", self.grip)?;
        let mass = must::be_positive("mass", self.mass)?;
        let down = must::not_be_negative("air-density", self.air_density)? / 2.0
            * must::be_finite("lift-area", self.lift_area)?;
        let loss = must::not_be_negative("load-sensitivity", self.load_sensitivity)?;
        let weight = mass * GRAVITY;
        let reference = match self.reference_load {
            Some(load) => must::not_be_negative("reference-load", load)?,
            None => weight,
        };
        let static_grip = grip - loss * (weight - reference);
        let condition = "so small that grip is above zero at the weight of the car";
        must::check("load-sensitivity", loss, static_grip > 0.0, condition)?;

        let factor = must::be_positive("measured-factor", self.measured_factor)?;
        let rear = must::be_a_part("rear-weight-share", self.rear_weight_share)?;
        let height = must::not_be_negative("cg-height", self.cg_height)?;
        let roll = Roll::new(&RollInputs {
            mass,
            height,
            rear,
            track_width: self.track_width,
            rear_track_width: self.rear_track_width,
            front_roll_share: self.front_roll_share,
        })?;
        let result = |w: f64| {
            let speed = must::be_computable(w.sqrt())?;
            Ok(CircleResult {
                time: must::be_computable(factor * (std::f64::consts::TAU * radius / speed))?,
                lateral_acceleration: must::be_computable(w / radius)?,
                speed,
            })
        };
        let endless = Err(ModelError::NoFiniteLimit { what: "the speed on the circle" });
        if let Some(roll) = roll {
            let axles = Axles::new(grip, loss, reference, weight, rear, roll, 0.0)?;
            let w = axles.lateral_limit(&Forces::on_circle(mass, down), 1.0 / radius);
            return if w == f64::INFINITY { endless } else { result(w) };
        }
        if height > 0.0 {
            let hint = "`cg-height` has no effect without it";
            return Err(ModelError::Missing { input: "track-width", hint });
        }

        // a w^2 + b w = static_grip weight, where w is the speed squared
        let a = loss * down * down;
        let b = mass / radius - (static_grip - loss * weight) * down;
        let inside = b * b + 4.0 * a * static_grip * weight;
        let w = if b > 0.0 {
            2.0 * static_grip * weight / (b + inside.sqrt())
        } else if a > 0.0 {
            (inside.sqrt() - b) / (2.0 * a)
        } else {
            return endless;
        };
        result(w)
    }
}
