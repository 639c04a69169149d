//! A circle at the limit of grip.
//!
//! `mass v^2 / radius = mu N`, with `N = mass g + air_density lift_area v^2 / 2` and a friction coefficient that falls
//! with the load: `mu = grip - load_sensitivity (N - reference_load)`. This is a standard textbook result (Milliken and
//! Milliken; Guiggiani).
//!
//! Validity: a point mass. Load transfer between the wheels, banking, drag and the cornering drag of the tyres are not
//! modelled, except as far as a value of `grip` from a measured circle includes them.

use crate::GRAVITY;
use crate::error::{ModelError, must};

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

        // a w^2 + b w = static_grip weight, where w is the speed squared
        let a = loss * down * down;
        let b = mass / radius - (static_grip - loss * weight) * down;
        let inside = b * b + 4.0 * a * static_grip * weight;
        let w = if b > 0.0 {
            2.0 * static_grip * weight / (b + inside.sqrt())
        } else if a > 0.0 {
            (inside.sqrt() - b) / (2.0 * a)
        } else {
            return Err(ModelError::NoFiniteLimit { what: "the speed on the circle" });
        };
        let speed = must::be_computable(w.sqrt())?;
        Ok(CircleResult {
            time: must::be_computable(std::f64::consts::TAU * radius / speed)?,
            lateral_acceleration: must::be_computable(w / radius)?,
            speed,
        })
    }
}
