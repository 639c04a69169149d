//! A circle driven at the limit of grip.
//!
//! `mass v^2 / radius = mu N`, with `N = mass g + air_density lift_area v^2 / 2` and a friction coefficient that falls
//! with the load: `mu = grip - load_sensitivity (N - reference_load)`. Sources, from memory: Milliken and Milliken,
//! chapters 2 (tyre load sensitivity) and 5 (steady-state cornering); Guiggiani, chapter 3.
//!
//! Validity: a point mass. Load transfer between the wheels, banking, drag and the tyres' own cornering drag are left
//! out, or lie in the value of `grip` that comes from a measured circle.

use crate::GRAVITY;
use crate::error::{ModelError, must};

/// The inputs of a circle.
#[derive(Debug, Clone, PartialEq)]
pub struct SteadyCircle {
    /// Of the path of the centre of gravity, m.
    pub radius: f64,
    /// Friction coefficient of the car at the reference load, 1.
    pub grip: f64,
    /// With the driver, kg.
    pub mass: f64,
    /// Downforce coefficient times area, m^2; below zero is lift.
    pub lift_area: f64,
    /// Loss of `mu` per newton of the *whole car's* load above the reference, 1/N: a quarter of a single tyre's figure.
    pub load_sensitivity: f64,
    /// The whole car's load at which `grip` holds, N. Where it is not given, the car's own weight: then `grip` moves
    /// along with the mass, and only downforce costs grip. Give it to make a heavier car lose grip.
    pub reference_load: Option<f64>,
    /// kg/m^3.
    pub air_density: f64,
}

impl Default for SteadyCircle {
    /// Radius, grip and mass are left as NaN, which the model refuses.
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

/// The answer of a circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CircleResult {
    /// Of one circle, s.
    pub time: f64,
    /// m/s^2.
    pub lateral_acceleration: f64,
    /// m/s.
    pub speed: f64,
}

impl SteadyCircle {
    /// The circle.
    ///
    /// # Errors
    ///
    /// For inputs out of range, for a load at which no grip is left, and where downforce outruns the need for grip so
    /// that no speed is the limit.
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
        let some_left = "low enough to leave grip at the car's own weight";
        must::check("load-sensitivity", loss, static_grip > 0.0, some_left)?;

        // a w^2 + b w = static_grip weight, w the speed squared
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
