//! A run from a standstill over a straight, level distance.
//!
//! Newton's law with the smallest of three driving forces: power over speed, the grip of the driven tyres under load
//! transfer and downforce, and (rear drive) the force that lifts the front wheels. Sources, from memory: Gillespie,
//! chapter 2 (acceleration performance: power-limited, traction-limited, load transfer, effective mass of rotating
//! parts), Milliken and Milliken, chapters 2 and 18, Guiggiani, chapter 3.
//!
//! Accuracy: exact to about 1e-9 for the equations as given; see `motion.rs` for how.

use crate::car::{Car, Forces};
use crate::error::{ModelError, must};
use crate::motion::{End, Leg, Push, State, Steps};
use crate::power::{Map, Piece, Power};

/// Gears, where the power reaches the wheels through some.
///
/// The car shifts up at the redline, and in the last gear stays at the speed of the redline. Without an
/// [`Power::Engine`] curve the gears only tell when it shifts.
#[derive(Debug, Clone, PartialEq)]
pub struct Gearbox {
    /// Ratios from the first gear up, each below the one before.
    pub gears: Vec<f64>,
    /// Ratio behind them.
    pub final_drive: f64,
    /// Rolling radius of the driven wheels, m.
    pub wheel_radius: f64,
    /// Shaft speed at which it shifts, rad/s; the last row of an engine curve where it is not given.
    pub redline: Option<f64>,
    /// Time without drive at each shift, s.
    pub shift_time: f64,
}

impl Default for Gearbox {
    /// The required inputs, `gears` and `wheel_radius`, are left empty and NaN, which the model refuses.
    fn default() -> Self {
        Self { gears: Vec::new(), final_drive: 1.0, wheel_radius: f64::NAN, redline: None, shift_time: 0.0 }
    }
}

/// The inputs of a run.
///
/// The clock starts when the car has rolled the staging distance, as at contests where it stands behind the line; at
/// 0 m it starts with the first movement. No reaction time, no wheel spin, no clutch: the tyres are at their limit from
/// the first moment on.
#[derive(Debug, Clone, PartialEq)]
pub struct StraightLine {
    /// The car.
    pub car: Car,
    /// Power at the wheels.
    pub power: Power,
    /// From where the clock starts to where it stops, m.
    pub distance: f64,
    /// From the standing car to where the clock starts, m.
    pub staging: f64,
    /// Gears, if it has any.
    pub gearbox: Option<Gearbox>,
}

impl Default for StraightLine {
    /// Mass, grip, power and distance are left as NaN, which the model refuses.
    fn default() -> Self {
        Self { car: Car::default(), power: Power::Constant(f64::NAN), distance: f64::NAN, staging: 0.0, gearbox: None }
    }
}

/// The answer of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLineResult {
    /// On the clock, s.
    pub time: f64,
    /// Where the clock stops, m/s.
    pub speed: f64,
    /// Put out at the wheels from the first movement on, J.
    pub energy: f64,
}

impl StraightLine {
    /// The run.
    ///
    /// # Errors
    ///
    /// For inputs out of range or missing, for a car that does not move, and for numbers too extreme to compute.
    pub fn run(&self) -> Result<StraightLineResult, ModelError> {
        let forces = Forces::new(&self.car)?;
        self.power.check()?;
        let distance = must::be_positive("distance", self.distance)?;
        let staging = must::not_be_negative("staging", self.staging)?;
        let gears = self.shifts()?;

        let mut run = Run {
            forces: &forces,
            state: State::at(0.0),
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

    /// One entry for each gear; one without an end where there are none.
    fn shifts(&self) -> Result<Vec<Gear>, ModelError> {
        let Some(gearbox) = &self.gearbox else {
            return match self.power {
                Power::Engine(_) => Err(ModelError::Missing {
                    input: "gears",
                    hint: "an `engine-curve` reaches the wheels through them",
                }),
                _ => Ok(vec![Gear { shaft_per_road: 1.0, up_to: f64::INFINITY, shift_time: 0.0 }]),
            };
        };
        let shift_time = must::not_be_negative("shift-time", gearbox.shift_time)?;
        let behind = must::be_positive("final-drive", gearbox.final_drive)?
            / must::be_positive("wheel-radius", gearbox.wheel_radius)?;
        let redline = match (gearbox.redline, &self.power) {
            (Some(redline), _) => must::be_positive("redline", redline)?,
            (None, Power::Engine(rows)) => rows.last().map_or(f64::NAN, |row| row.0),
            _ => return Err(ModelError::Missing { input: "redline", hint: "gears shift at it" }),
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
                return wrong(index + 1, "each ratio must be below the one before");
            }
            before = ratio;
            let shaft_per_road = ratio * behind;
            shifts.push(Gear { shaft_per_road, up_to: must::be_computable(redline / shaft_per_road)?, shift_time });
        }
        Ok(shifts)
    }
}

struct Gear {
    /// rad/m.
    shaft_per_road: f64,
    /// Road speed at the redline.
    up_to: f64,
    /// Before this gear pulls.
    shift_time: f64,
}

/// A run under way.
struct Run<'a> {
    forces: &'a Forces,
    state: State,
    steps: Steps,
    /// The next line: where the clock starts, then the finish.
    line: f64,
    finish: f64,
    started: Option<f64>,
}

impl Run<'_> {
    fn is_over(&self) -> bool {
        self.state.distance >= self.finish
    }

    /// Notes the time at a line.
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
                // at rest before the next gear is in
                End::Low | End::High => self.state.time = until,
                End::Time => break,
            }
        }
        Ok(())
    }

    /// The rest at the redline of the last gear.
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
