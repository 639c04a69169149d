//! The car as a point mass on two axles, and the forces on it at a given speed and curvature.

use crate::GRAVITY;
use crate::error::{ModelError, must};
use crate::tyres::{Axles, Roll, RollInputs};

/// The car in the models `straight-line` and `lap`.
///
/// `Default` sets the optional inputs, and `mass` and `grip` to NaN, which every model rejects:
/// `Car { mass: 280.0, grip: 1.4, ..Car::default() }`.
///
/// - Drag `air_density * drag_area / 2 * v^2`, downforce the same with `lift_area`, rolling resistance
///   `rolling_resistance` times the load. The axle shares of the downforce are those of the static weight.
/// - `driven_share` 1: all the weight is on driven wheels, and load transfer has no effect (`cg_height` is not used).
///   Below 1 it is the static weight share of the *rear* axle, which is the only driven axle; an acceleration `a` adds
///   `mass * a * cg_height / wheelbase` to its load. The front axle keeps at least the load that its share of the
///   cornering force needs (zero on a straight), so the car does not tip over backwards.
/// - With `load_sensitivity` the friction coefficient of each tyre falls with its load, so that mass, downforce and load
///   transfer in both directions cost grip. The moved load is the net force times `cg_height` over `wheelbase` or over the
///   track width. With `driven_share` 1 each axle carries half of the weight.
/// - Front-wheel drive, road slopes and wind are not modelled.
#[derive(Debug, Clone, PartialEq)]
pub struct Car {
    /// Mass with the driver, kg.
    pub mass: f64,
    /// Friction coefficient of the tyres, 1.
    pub grip: f64,
    /// Drag coefficient times frontal area, m^2.
    pub drag_area: f64,
    /// Downforce coefficient times area, m^2; below zero is lift.
    pub lift_area: f64,
    /// Rolling resistance divided by the load, 1.
    pub rolling_resistance: f64,
    /// Equivalent mass of the rotating parts, kg: the sum of moment of inertia / rolling radius squared, times the
    /// square of the ratio to the wheels.
    pub rotating_mass: f64,
    /// 1, or the static weight share of the driven rear axle.
    pub driven_share: f64,
    /// Height of the centre of gravity, m.
    pub cg_height: f64,
    /// Distance between the axles, m; required with `cg_height` if `driven_share` is below 1 or tyres are load-sensitive.
    pub wheelbase: Option<f64>,
    /// Decrease of the friction coefficient per newton of load of the *whole car*, 1/N: a quarter of the value of one tyre.
    pub load_sensitivity: f64,
    /// The load of the whole car at which `grip` is valid, N; required with `load_sensitivity`.
    pub reference_load: Option<f64>,
    /// Distance between the left and right wheels, m; required in a lap with `load_sensitivity` and `cg_height`.
    pub track_width: Option<f64>,
    /// The same for the rear wheels, if it differs, m.
    pub rear_track_width: Option<f64>,
    /// Share of the roll moment that the front axle takes; the static weight share of the front axle by default.
    pub front_roll_share: Option<f64>,
    /// Density of the air, kg/m^3.
    pub air_density: f64,
}

impl Default for Car {
    fn default() -> Self {
        Self {
            mass: f64::NAN,
            grip: f64::NAN,
            drag_area: 0.0,
            lift_area: 0.0,
            rolling_resistance: 0.0,
            rotating_mass: 0.0,
            driven_share: 1.0,
            cg_height: 0.0,
            wheelbase: None,
            load_sensitivity: 0.0,
            reference_load: None,
            track_width: None,
            rear_track_width: None,
            front_roll_share: None,
            air_density: 1.2,
        }
    }
}

/// The checked constants of a car as the equations need them. `w` is always the speed squared.
#[derive(Debug, Clone)]
pub(crate) struct Forces {
    pub(crate) mass: f64,
    /// Mass plus rotating mass.
    pub(crate) inertia: f64,
    pub(crate) weight: f64,
    pub(crate) grip: f64,
    pub(crate) drag: f64,
    pub(crate) down: f64,
    pub(crate) roll: f64,
    pub(crate) share: f64,
    /// Load transfer to the rear per newton of net driving force.
    transfer: f64,
    /// Load-sensitive tyres; `None` if the friction coefficient is the same for every load.
    pub(crate) axles: Option<Axles>,
}

impl Forces {
    /// The constants of a car on a straight, or on a track with corners.
    pub(crate) fn new(car: &Car, corners: bool) -> Result<Self, ModelError> {
        let mass = must::be_positive("mass", car.mass)?;
        let grip = must::be_positive("grip", car.grip)?;
        let air = must::not_be_negative("air-density", car.air_density)? / 2.0;
        let drag = air * must::not_be_negative("drag-area", car.drag_area)?;
        let down = air * must::be_finite("lift-area", car.lift_area)?;
        let roll = must::not_be_negative("rolling-resistance", car.rolling_resistance)?;
        let inertia = mass + must::not_be_negative("rotating-mass", car.rotating_mass)?;
        let share = must::be_a_share("driven-share", car.driven_share)?;
        let height = must::not_be_negative("cg-height", car.cg_height)?;
        let wheelbase = car.wheelbase.map(|length| must::be_positive("wheelbase", length)).transpose()?;
        let transfer = if share == 1.0 || height == 0.0 {
            0.0
        } else {
            let hint = "load transfer needs it if `driven-share` is below 1 and `cg-height` is set";
            let wheelbase = wheelbase.ok_or(ModelError::Missing { input: "wheelbase", hint })?;
            mass * height / (wheelbase * inertia)
        };
        let axles = Self::axles(car, corners)?;
        Ok(Self { mass, inertia, weight: mass * GRAVITY, grip, drag, down, roll, share, transfer, axles })
    }

    /// A body without resistance for the lateral limit of its axles.
    pub(crate) fn on_circle(mass: f64, down: f64) -> Self {
        let weight = mass * GRAVITY;
        let (inertia, grip) = (mass, f64::NAN);
        Self { mass, inertia, weight, grip, drag: 0.0, down, roll: 0.0, share: 1.0, transfer: 0.0, axles: None }
    }

    fn axles(car: &Car, corners: bool) -> Result<Option<Axles>, ModelError> {
        let loss = must::not_be_negative("load-sensitivity", car.load_sensitivity)?;
        let reference = car.reference_load.map(|load| must::not_be_negative("reference-load", load)).transpose()?;
        let rear = if car.driven_share == 1.0 { 0.5 } else { car.driven_share };
        let roll = Roll::new(&RollInputs {
            mass: car.mass,
            height: car.cg_height,
            rear,
            track_width: car.track_width,
            rear_track_width: car.rear_track_width,
            front_roll_share: car.front_roll_share,
        })?;
        if loss == 0.0 && roll.is_none() {
            return Ok(None);
        }
        let missing = |input, hint| Err(ModelError::Missing { input, hint });
        let has_height = loss > 0.0 && car.cg_height > 0.0;
        if has_height && car.wheelbase.is_none() {
            return missing("wheelbase", "load transfer needs it with `load-sensitivity` and `cg-height`");
        }
        if has_height && corners && roll.is_none() {
            return missing("track-width", "load transfer needs it with `load-sensitivity` and `cg-height`");
        }
        let reference = match reference {
            Some(reference) => reference,
            None if loss == 0.0 => 0.0,
            None => {
                return missing(
                    "reference-load",
                    "`load-sensitivity` needs it: the load of the car at which `grip` is valid",
                );
            }
        };
        let inertia = car.mass + car.rotating_mass;
        let pitch = car.wheelbase.map_or(0.0, |length| car.mass * car.cg_height / (length * inertia));
        let weight = car.mass * GRAVITY;
        Axles::new(car.grip, loss, reference, weight, rear, roll.unwrap_or(Roll::NONE), pitch).map(Some)
    }

    pub(crate) fn load(&self, w: f64) -> f64 {
        (self.weight + self.down * w).max(0.0)
    }

    /// Drag and rolling resistance, N.
    pub(crate) fn resistance(&self, w: f64) -> f64 {
        self.drag * w + self.roll * self.load(w)
    }

    /// The largest driving force of the driven tyres in addition to the cornering force, N. This and the next limits are
    /// those of tyres that are not load-sensitive.
    ///
    /// `F^2 + (share m w c)^2 = (grip N)^2` with `N = share load + transfer (F - resistance)`.
    pub(crate) fn driven_limit(&self, w: f64, curvature: f64) -> f64 {
        let aside = self.share * self.mass * w * curvature;
        if self.transfer == 0.0 {
            let still = self.grip * (self.share * self.load(w));
            let room = (still - aside) * (still + aside);
            return if room <= 0.0 { 0.0 } else { room.sqrt() };
        }
        let still = self.grip * (self.share * self.load(w) - self.transfer * self.resistance(w));
        let lever = self.grip * self.transfer;
        if lever >= 1.0 {
            // Each newton of driving force adds more than one newton of grip, until the rear axle has all the load.
            let most = self.grip * self.load(w);
            return ((most - aside) * (most + aside)).max(0.0).sqrt();
        }
        let room = (still - aside) * (still + aside);
        let inside = room + (lever * aside).powi(2);
        if still <= 0.0 || inside <= 0.0 {
            return 0.0;
        }
        // The larger root of (1 - lever^2) F^2 - 2 lever still F - room = 0
        (lever * still + inside.sqrt()) / ((1.0 - lever) * (1.0 + lever))
    }

    /// The driving force at which the front axle has only the load that its share of the cornering force needs, N.
    pub(crate) fn front_limit(&self, w: f64, curvature: f64) -> f64 {
        if self.transfer == 0.0 {
            return f64::INFINITY;
        }
        let spare = (1.0 - self.share) * (self.load(w) - self.mass * w * curvature / self.grip);
        (self.resistance(w) + spare / self.transfer).max(0.0)
    }

    /// The largest braking force of all four tyres in addition to the cornering force, N: an ellipse of `braking_grip` and
    /// `grip`.
    pub(crate) fn braking_limit(&self, w: f64, curvature: f64, braking_grip: f64) -> f64 {
        let across = self.grip * self.load(w);
        let aside = self.mass * w * curvature;
        if across <= aside {
            return 0.0;
        }
        braking_grip / self.grip * ((across - aside) * (across + aside)).sqrt()
    }

    /// The highest speed that the tyres can hold on a curve, including the driving force against resistance; infinite if
    /// there is no limit. Without load-sensitive tyres it is the smallest positive root of a quadratic in w.
    pub(crate) fn corner_speed(&self, curvature: f64) -> Result<f64, ModelError> {
        if let Some(axles) = &self.axles {
            let w = axles.corner(self, curvature)?;
            return if w.is_nan() { Err(ModelError::NotComputable) } else { Ok(w.sqrt()) };
        }
        let grip = self.share * self.grip;
        let roll = self.roll * self.weight;
        let drag = self.drag + self.roll * self.down;
        let aside = self.share * self.mass * curvature;
        let (static_grip, down_grip) = (grip * self.weight, grip * self.down);
        if roll >= static_grip {
            return Err(ModelError::Stuck { at: 0.0 });
        }
        let a = drag * drag + (aside - down_grip) * (aside + down_grip);
        let half_b = roll * drag - static_grip * down_grip;
        let minus_c = (static_grip - roll) * (static_grip + roll);
        let inside = half_b * half_b + a * minus_c;
        let w = if inside < 0.0 {
            f64::INFINITY
        } else if half_b > 0.0 {
            minus_c / (half_b + inside.sqrt())
        } else if a > 0.0 {
            (inside.sqrt() - half_b) / a
        } else {
            f64::INFINITY
        };
        if w.is_nan() { Err(ModelError::NotComputable) } else { Ok(w.sqrt()) }
    }
}
