//! A run from a standstill over a straight, level distance.
//!
//! Newton's law with the smallest of three driving forces: power / speed, the grip of the driven tyres with load transfer
//! and downforce, and (rear-wheel drive) the force that lifts the front wheels. This is a standard textbook result
//! (Gillespie; Milliken and Milliken; Guiggiani).
//!
//! Accuracy: the relative error of the solution of the equations is about 1e-9; see `motion.rs`.

use crate::car::{Car, Forces};
use crate::error::{ModelError, must};
use crate::motion::{End, Leg, Push, State, Steps};
use crate::power::{Map, Piece, Power};

/// The gears between engine and wheels.
///
/// The car shifts up at the redline, and stays at the redline speed in the last gear. Without a [`Power::Engine`] curve
/// the gears only determine when it shifts.
#[derive(Debug, Clone, PartialEq)]
pub struct Gearbox {
    /// Ratios from the first gear up, each smaller than the one before.
    pub gears: Vec<f64>,
    /// Ratio between gearbox and wheels.
    pub final_drive: f64,
    /// Rolling radius of the driven wheels, m.
    pub wheel_radius: f64,
    /// Shaft speed at which it shifts, rad/s; the last row of an engine curve by default.
    pub redline: Option<f64>,
    /// Time without driving force at each shift, s.
    pub shift_time: f64,
}

impl Default for Gearbox {
    /// The required inputs `gears` and `wheel_radius` are empty and NaN, which the model rejects.
    fn default() -> Self {
        Self { gears: Vec::new(), final_drive: 1.0, wheel_radius: f64::NAN, redline: None, shift_time: 0.0 }
    }
}

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
}

impl Default for StraightLine {
    /// Mass, grip, power and distance are NaN, which the model rejects.
    fn default() -> Self {
        Self { car: Car::default(), power: Power::Constant(f64::NAN), distance: f64::NAN, staging: 0.0, gearbox: None }
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
        let forces = Forces::new(&self.car)?;
        self.power.check()?;
        let distance = must::be_positive("distance", self.distance)?;
        let staging = must::not_be_negative("staging", self.staging)?;
        let gears = self.shifts()?;

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
            let map = Map::new(&self.power, gear.shaft_per_road);
            run.drive(&map, gear.up_to)?;
            if run.is_over() {
                break;
            }
        }
        run.hold()?;
        let time = must::be_computable(run.state.time - run.started.unwrap_or_default())?;
        let speed = must::be_computable(run.state.speed)?;
        Ok(StraightLineResult { time, speed, energy: must::be_computable(run.state.energy)? })
    }

    /// One entry per gear; without gears, one entry without a highest speed.
    fn shifts(&self) -> Result<Vec<Gear>, ModelError> {
        let Some(gearbox) = &self.gearbox else {
            return match self.power {
                Power::Engine(_) => Err(ModelError::Missing { input: "gears", hint: "`engine-curve` needs them" }),
                _ => Ok(vec![Gear { shaft_per_road: 1.0, up_to: f64::INFINITY, shift_time: 0.0 }]),
            };
        };
        let shift_time = must::not_be_negative("shift-time", gearbox.shift_time)?;
        let behind = must::be_positive("final-drive", gearbox.final_drive)?
            / must::be_positive("wheel-radius", gearbox.wheel_radius)?;
        let redline = match (gearbox.redline, &self.power) {
            (Some(redline), _) => must::be_positive("redline", redline)?,
            (None, Power::Engine(rows)) => rows.last().map_or(f64::NAN, |row| row.0),
            _ => return Err(ModelError::Missing { input: "redline", hint: "`gears` need it without `engine-curve`" }),
        };
        let wrong = |row, problem| Err(ModelError::WrongRow { input: "gears", row, problem });
        if gearbox.gears.is_empty() {
            return wrong(0, "at least one ratio is needed");
        }
        let mut before = f64::INFINITY;
        let mut shifts = Vec::with_capacity(gearbox.gears.len());
        for (index, &ratio) in gearbox.gears.iter().enumerate() {
            if !(ratio.is_finite() && ratio > 0.0) {
                return wrong(index + 1, "ratios must be above zero and finite");
            }
            if ratio >= before {
                return wrong(index + 1, "each ratio must be smaller than the one before");
            }
            before = ratio;
            let shaft_per_road = ratio * behind;
            shifts.push(Gear { shaft_per_road, up_to: must::be_computable(redline / shaft_per_road)?, shift_time });
        }
        Ok(shifts)
    }
}

struct Gear {
    /// Shaft speed per road speed, rad/m.
    shaft_per_road: f64,
    /// Road speed at the redline.
    up_to: f64,
    /// Time without driving force before this gear.
    shift_time: f64,
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
            let leg = Leg {
                forces: self.forces,
                curvature: 0.0,
                push: Push::Drive,
                piece,
                low: piece.low,
                high: piece.high.min(up_to),
            };
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
        let leg = Leg {
            forces: self.forces,
            curvature: 0.0,
            push: Push::Coast,
            piece: Piece::NONE,
            low: 0.0,
            high: f64::INFINITY,
        };
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
