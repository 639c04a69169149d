//! A run from a standstill over a straight, level distance.
//!
//! Newton's law with the smallest of three driving forces: power / speed, the grip of the driven tyres with load transfer
//! and downforce, and (rear-wheel drive) the force that lifts the front wheels. This is a standard textbook result
//! (Gillespie; Milliken and Milliken; Guiggiani). With load-sensitive tyres (`tyres.rs`) the load on the driven wheels
//! reduces their friction coefficient. A shift is a time without driving force.
//!
//! Accuracy: the relative error of the solution of the equations is about 1e-9; see `motion.rs`.

use crate::car::{Car, Forces};
use crate::error::{ModelError, must};
use crate::gearbox::{self, Gear, Gearbox};
use crate::motion::{End, Leg, Push, State, Steps};
use crate::power::{Map, Piece, Power};

/// The inputs of a run.
///
/// The time starts when the car has moved by the staging distance, as in contests where it stands behind the start line; at
/// 0 m it starts with the first movement. There is no reaction time, wheel spin or clutch: the tyres are at their limit from
/// the start.
#[derive(Debug, Clone, PartialEq)]
pub struct StraightLine {
    /// The car.
    pub car: Car,
    /// Power at the wheels.
    pub power: Power,
    /// The distance over which the time is measured, m.
    pub distance: f64,
    /// The distance from the standing car to the timing start line, m.
    pub staging: f64,
    /// The gears, if the car has any.
    pub gearbox: Option<Gearbox>,
    /// The highest power at the wheels, W.
    pub power_limit: Option<f64>,
    /// Measured time divided by modelled time; it multiplies the time.
    pub measured_factor: f64,
}

impl Default for StraightLine {
    /// Mass, grip, power and distance are NaN, which the model rejects.
    fn default() -> Self {
        Self {
            car: Car::default(),
            power: Power::Constant(f64::NAN),
            distance: f64::NAN,
            staging: 0.0,
            gearbox: None,
            power_limit: None,
            measured_factor: 1.0,
        }
    }
}

/// The result of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLineResult {
    /// The measured time, s.
    pub time: f64,
    /// Speed at the finish, m/s.
    pub speed: f64,
    /// Energy at the wheels from the first movement, J.
    pub energy: f64,
}

impl StraightLine {
    /// Calculates the run.
    ///
    /// # Errors
    ///
    /// If an input is missing or out of range, the car does not move, or the numbers are too extreme.
    pub fn run(&self) -> Result<StraightLineResult, ModelError> {
        let forces = Forces::new(&self.car, false)?;
        self.power.check()?;
        let power = self.power.limited(self.power_limit)?;
        let factor = must::be_positive("measured-factor", self.measured_factor)?;
        let distance = must::be_positive("distance", self.distance)?;
        let staging = must::not_be_negative("staging", self.staging)?;
        let gears = self.shifts(&power)?;

        let mut run = Run {
            forces: &forces,
            state: State::with_speed(0.0),
            steps: Steps(100_000),
            line: if staging > 0.0 { staging } else { staging + distance },
            finish: staging + distance,
            started: if staging > 0.0 { None } else { Some(0.0) },
        };
        for (index, gear) in gears.iter().enumerate() {
            if index > 0 {
                run.coast(gear.shift_time)?;
            }
            let map = Map::new(&power, gear.shaft_per_road);
            run.drive(&map, gear.up_to)?;
            if run.is_over() {
                break;
            }
        }
        run.hold()?;
        let time = must::be_computable(factor * (run.state.time - run.started.unwrap_or_default()))?;
        let speed = must::be_computable(run.state.speed)?;
        Ok(StraightLineResult { time, speed, energy: must::be_computable(run.state.energy)? })
    }

    /// One entry per gear; without gears, one entry without a highest speed.
    fn shifts(&self, power: &Power) -> Result<Vec<Gear>, ModelError> {
        match &self.gearbox {
            Some(gearbox) => gearbox.check(power),
            None => {
                gearbox::check_none(power)?;
                Ok(vec![Gear { shaft_per_road: 1.0, up_to: f64::INFINITY, shift_time: 0.0 }])
            }
        }
    }
}

/// The state of a run.
struct Run<'a> {
    forces: &'a Forces,
    state: State,
    steps: Steps,
    /// The next line: the start line, then the finish.
    line: f64,
    finish: f64,
    started: Option<f64>,
}

impl Run<'_> {
    fn is_over(&self) -> bool {
        self.state.distance >= self.finish
    }

    /// Records the time at a line.
    fn cross(&mut self) {
        if self.started.is_none() {
            self.started = Some(self.state.time);
            self.line = self.finish;
        }
    }

    fn drive(&mut self, map: &Map<'_>, up_to: f64) -> Result<(), ModelError> {
        let mut up = true;
        while !self.is_over() && self.state.speed < up_to {
            self.steps.take()?;
            let piece = map.piece(self.state.speed, up);
            let leg = Leg::new(self.forces, 0.0, Push::Drive, piece, (piece.low, piece.high.min(up_to)));
            match leg.run(&mut self.state, self.line, f64::INFINITY, &mut self.steps)? {
                End::High => up = true,
                End::Low => up = false,
                End::Distance | End::Time => self.cross(),
            }
        }
        Ok(())
    }

    fn coast(&mut self, span: f64) -> Result<(), ModelError> {
        let until = self.state.time + span;
        let leg = Leg::new(self.forces, 0.0, Push::Coast, Piece::NONE, (0.0, f64::INFINITY));
        while !self.is_over() && self.state.time < until {
            match leg.run(&mut self.state, self.line, until, &mut self.steps)? {
                End::Distance => self.cross(),
                // At rest before the next gear is engaged.
                End::Low | End::High => self.state.time = until,
                End::Time => break,
            }
        }
        Ok(())
    }

    /// Drives the remaining distance at the redline of the last gear.
    fn hold(&mut self) -> Result<(), ModelError> {
        while !self.is_over() {
            let State { speed, distance, .. } = self.state;
            let span = must::be_computable((self.line - distance) / speed)?;
            self.state.time += span;
            self.state.energy += self.forces.resistance(speed * speed) * speed * span;
            self.state.distance = self.line;
            self.cross();
        }
        Ok(())
    }
}
