//! A quasi-steady lap: at every point of the track the car is as fast as power and tyres allow.
//!
//! The track is a list of segments of constant curvature. Three speeds limit the car in each segment: the corner speed
//! that its tyres can hold, the speed to which it can accelerate from the segments before (forward pass), and the speed
//! from which it can still brake for the segments after (backward pass). This is a standard textbook result (Milliken and
//! Milliken; Guiggiani).
//!
//! Tyres: a friction circle of `grip` while driving. With `driven_share` below 1 each axle has its own circle, with load
//! transfer. While braking there is one ellipse for all four wheels, with `braking_grip` longitudinally, `grip` laterally
//! and ideal brake balance. The corner speed can be held: the driving force against drag and rolling resistance uses a part
//! of the circle. The sign of the curvature has no effect. With `load_sensitivity` the circles shrink with the load on each
//! wheel, and with the load transfer in both directions (`tyres.rs`).
//!
//! Gears: the power over road speed is that of the lowest gear below its redline. The time of a shift up is spread over a
//! range of speeds (`gearbox.rs`); shifts down while braking take no time.
//!
//! Energy: that at the driven wheels, minus `regeneration` times the braking energy. Braking power above
//! `regeneration_limit` gives nothing back.
//!
//! Accuracy: there is no grid. Each pass integrates speed, time and energy over each segment with as many steps as an
//! error of about 1e-10 needs (see `motion.rs`), and the braking point in a segment is the solution of an equation, so the
//! result is smooth in every input. A segment with changing curvature must be split by the caller.
//!
//! Validity: a level track; the path is an input; no cornering drag of the tyres, no wheels that lift.

use crate::car::{Car, Forces};
use crate::error::{ModelError, must};
use crate::gearbox::{self, Gearbox};
use crate::motion::{End, Leg, Push, State, Steps};
use crate::power::{Drivetrain, Map, Piece, Power};

/// Speeds with a smaller relative difference are treated as equal.
const SAME: f64 = 1e-9;
/// The highest speed to brake from, m/s; above it, braking is not a limit.
const FASTEST: f64 = 1e6;
/// How many segments back the corner speed for the same curvature is searched: it takes as long as many comparisons.
const SEARCHED: usize = 64;
/// The largest number of iterations for the start speed of a flying lap, which equals its end speed.
const ROUNDS: u32 = 1000;

/// The inputs of a lap.
#[derive(Debug, Clone, PartialEq)]
pub struct Lap {
    /// The car.
    pub car: Car,
    /// Power at the wheels; an engine curve needs gears.
    pub power: Power,
    /// Rows of length (m, above 0) and curvature (1/m; 0 is straight, the sign is the direction).
    pub track: Vec<(f64, f64)>,
    /// Longitudinal friction coefficient under braking; `grip` by default.
    pub braking_grip: Option<f64>,
    /// Speed at the start of an open track, m/s, 0 or more. Without it the lap is closed and flying: its start speed equals
    /// its end speed.
    pub start: Option<f64>,
    /// The gears, if the car has any.
    pub gearbox: Option<Gearbox>,
    /// The highest power at the wheels, W.
    pub power_limit: Option<f64>,
    /// Share of the braking energy that is given back, from 0 to 1.
    pub regeneration: f64,
    /// The highest braking power that is given back, W.
    pub regeneration_limit: Option<f64>,
    /// Measured time divided by modelled time; it multiplies the time.
    pub measured_factor: f64,
}

impl Default for Lap {
    /// Mass, grip and power are NaN and the track is empty, which the model rejects.
    fn default() -> Self {
        Self {
            car: Car::default(),
            power: Power::Constant(f64::NAN),
            track: Vec::new(),
            braking_grip: None,
            start: None,
            gearbox: None,
            power_limit: None,
            regeneration: 0.0,
            regeneration_limit: None,
            measured_factor: 1.0,
        }
    }
}

/// The result of a lap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LapResult {
    /// Lap time, s.
    pub time: f64,
    /// Energy at the driven wheels while driving, minus the energy given back, J.
    pub energy: f64,
    /// Speed at the end of the last segment, m/s.
    pub speed: f64,
    /// Energy given back under braking, J.
    pub recovered: f64,
}

impl Lap {
    /// Calculates the lap.
    ///
    /// # Errors
    ///
    /// If an input is missing or out of range, the start speed is too high, the car does not move, the speed on a closed lap
    /// has no limit, or the numbers are too extreme.
    pub fn run(&self) -> Result<LapResult, ModelError> {
        let forces = Forces::new(&self.car, true)?;
        self.power.check()?;
        let power = self.power.limited(self.power_limit)?;
        let drivetrain = match &self.gearbox {
            Some(gearbox) => Drivetrain::Geared(gearbox::pieces(&gearbox.check(&power)?, &power)),
            None => {
                gearbox::check_none(&power)?;
                Drivetrain::Direct(Map::new(&power, 1.0))
            }
        };
        let factor = must::be_positive("measured-factor", self.measured_factor)?;
        let start = self.start.map(|speed| must::not_be_negative("start", speed)).transpose()?;
        let size = u32::try_from(self.track.len()).unwrap_or(u32::MAX);
        let mut solver = Solver {
            segments: segments(&forces, &self.track, drivetrain.top_speed())?,
            drivetrain,
            brakes: self.brakes()?,
            last: self.track.len().saturating_sub(1),
            steps: Steps(size.saturating_mul(200).saturating_add(100_000 + 2_000 * size.min(1_000))),
            forces: &forces,
        };
        match start {
            Some(speed) => {
                solver.backward(f64::INFINITY)?;
                let limit = solver.segments[0].brake.from;
                if speed > limit {
                    return Err(ModelError::StartTooFast { start: speed, limit });
                }
                solver.forward(speed)?;
            }
            None => solver.close()?,
        }
        let LapResult { time, energy, speed, recovered } = solver.sum()?;
        let recovered = self.regeneration * recovered;
        Ok(LapResult { time: must::be_computable(factor * time)?, energy: energy - recovered, speed, recovered })
    }

    fn brakes(&self) -> Result<Brakes, ModelError> {
        let grip = must::be_positive("braking-grip", self.braking_grip.unwrap_or(self.car.grip))?;
        let share = must::be_a_part("regeneration", self.regeneration)?;
        let limit = self.regeneration_limit.map(|power| must::be_positive("regeneration-limit", power)).transpose()?;
        Ok(if share == 0.0 {
            Brakes { push: Push::Brake { grip }, piece: Piece::NONE }
        } else {
            Brakes { push: Push::Recover { grip }, piece: Piece::constant(limit.unwrap_or(f64::INFINITY)) }
        })
    }
}

/// How the car brakes: with the power that can be given back, if any is.
#[derive(Debug, Clone, Copy)]
struct Brakes {
    push: Push,
    piece: Piece,
}

/// The result of one pass in a segment; the energy is that of the drive, or that of the brakes that can be given back.
#[derive(Debug, Clone, Copy, Default)]
struct Pass {
    /// Speed at the start and end of the segment.
    from: f64,
    to: f64,
    time: f64,
    energy: f64,
}

/// The sums over a segment in which the car first drives and then brakes.
struct Crossed {
    time: f64,
    energy: f64,
    recovered: f64,
}

#[derive(Debug)]
struct Segment {
    length: f64,
    curvature: f64,
    /// The corner speed, or that at the redline of the last gear if that is lower.
    cap: f64,
    drive: Pass,
    brake: Pass,
    /// The distance from the start over which the braking speed equals the corner speed.
    capped: f64,
}

fn segments(forces: &Forces, track: &[(f64, f64)], top: f64) -> Result<Vec<Segment>, ModelError> {
    let wrong = |row, problem| Err(ModelError::WrongRow { input: "track", row, problem });
    if track.is_empty() {
        return wrong(0, "at least one segment is needed");
    }
    let mut segments: Vec<Segment> = Vec::with_capacity(track.len());
    for (index, &(length, curvature)) in track.iter().enumerate() {
        if !(length.is_finite() && length > 0.0) {
            return wrong(index + 1, "the length must be above zero and finite");
        }
        if !curvature.is_finite() {
            return wrong(index + 1, "the curvature must be finite");
        }
        let curvature = curvature.abs();
        let mut before = segments.iter().rev().take(SEARCHED);
        let cap = match before.find(|before| before.curvature == curvature) {
            Some(before) => before.cap,
            None => forces.corner_speed(curvature)?.min(top),
        };
        let (drive, brake) = (Pass::default(), Pass::default());
        segments.push(Segment { length, curvature, cap, drive, brake, capped: 0.0 });
    }
    Ok(segments)
}

struct Solver<'a> {
    forces: &'a Forces,
    drivetrain: Drivetrain<'a>,
    brakes: Brakes,
    segments: Vec<Segment>,
    /// The segment in which the track ends.
    last: usize,
    steps: Steps,
}

impl Solver<'_> {
    /// Runs both passes of a closed lap. They start where the corner speed is lowest, because there the braking speed equals
    /// the corner speed, and so does the driving speed of a car with enough power to reach it.
    fn close(&mut self) -> Result<(), ModelError> {
        let mut slowest = 0;
        for (index, segment) in self.segments.iter().enumerate() {
            if segment.cap < self.segments[slowest].cap {
                slowest = index;
            }
        }
        self.segments.rotate_left(slowest);
        self.last -= slowest;
        let cap = self.segments[0].cap;
        self.backward(cap)?;
        let mut speed = if cap.is_finite() { cap } else { 1.0 };
        for _ in 0..ROUNDS {
            let next = self.forward(speed)?.min(cap);
            if (next - speed).abs() <= 1e-12 * speed {
                return Ok(());
            }
            speed = next;
        }
        Err(ModelError::NoFiniteLimit { what: "the speed of the flying lap" })
    }

    /// Drives through all segments and returns the speed at the end.
    fn forward(&mut self, start: f64) -> Result<f64, ModelError> {
        let mut state = State::with_speed(start);
        for index in 0..self.segments.len() {
            let segment = &self.segments[index];
            state = State::with_speed(state.speed.min(segment.cap));
            let from = state.speed;
            let length = segment.length;
            drive(self.forces, &self.drivetrain, segment, length, &mut state, &mut self.steps)?;
            self.segments[index].drive = Pass { from, to: state.speed, time: state.time, energy: state.energy };
        }
        Ok(state.speed)
    }

    /// Brakes through all segments, from the last to the first.
    fn backward(&mut self, end: f64) -> Result<(), ModelError> {
        let mut state = State::with_speed(end);
        for index in (0..self.segments.len()).rev() {
            let segment = &self.segments[index];
            let length = segment.length;
            state = State::with_speed(state.speed.min(segment.cap));
            let to = state.speed;
            if to.is_finite() {
                brake(self.forces, segment, self.brakes, length, &mut state, &mut self.steps)?;
            }
            let capped = (length - state.distance).max(0.0);
            let (from, cap) = (state.speed, segment.cap);
            let held = if capped > 0.0 { capped / cap } else { 0.0 };
            let segment = &mut self.segments[index];
            segment.brake = Pass { from, to, time: state.time + held, energy: state.energy };
            segment.capped = capped;
        }
        Ok(())
    }

    /// Combines both passes: the car drives until it has to brake.
    fn sum(&mut self) -> Result<LapResult, ModelError> {
        let (mut time, mut energy, mut speed, mut recovered) = (0.0, 0.0, f64::NAN, 0.0);
        for index in 0..self.segments.len() {
            let Segment { drive, brake, capped, .. } = self.segments[index];
            if index == self.last {
                speed = drive.to.min(brake.to);
            }
            let brakes_at_once = capped == 0.0 && drive.from > brake.from * (1.0 - SAME) && drive.to > brake.to;
            if brakes_at_once || drive.from > brake.from * (1.0 + SAME) {
                time += brake.time;
                recovered += brake.energy;
            } else if drive.to > brake.to * (1.0 + SAME) {
                let crossed = self.crossing(index)?;
                time += crossed.time;
                energy += crossed.energy;
                recovered += crossed.recovered;
            } else {
                time += drive.time;
                energy += drive.energy;
            }
        }
        let (time, energy) = (must::be_computable(time)?, must::be_computable(energy)?);
        let (speed, recovered) = (must::be_computable(speed)?, must::be_computable(recovered)?);
        Ok(LapResult { time, energy, speed, recovered })
    }

    /// The result of a segment in which the car first drives and then brakes.
    fn crossing(&mut self, index: usize) -> Result<Crossed, ModelError> {
        let segment = &self.segments[index];
        let Segment { length, capped, .. } = *segment;
        let (mut low, mut high) = (capped, length);
        let (driving, braking) = (segment.drive, segment.brake);
        // Squared speeds are nearly linear in distance, which gives the first guess.
        let rise = (driving.to.powi(2) - driving.from.powi(2)) / length;
        let top = if capped > 0.0 { segment.cap } else { braking.from };
        let fall = (braking.to.powi(2) - top.powi(2)) / (length - capped);
        let guess = (top.powi(2) - fall * capped - driving.from.powi(2)) / (rise - fall);
        if capped > 0.0 {
            let mut driven = State::with_speed(driving.from);
            drive(self.forces, &self.drivetrain, segment, capped, &mut driven, &mut self.steps)?;
            if driven.speed >= top * (1.0 - SAME) {
                let time = driven.time + braking.time - capped / top;
                return Ok(Crossed { time, energy: driven.energy, recovered: braking.energy });
            }
        }
        let mut at = if guess > low && guess < high { guess } else { 0.5 * (low + high) };
        for _ in 0..60 {
            let mut driven = State::with_speed(driving.from);
            let drive_slope = drive(self.forces, &self.drivetrain, segment, at, &mut driven, &mut self.steps)?;
            let drive_slope = drive_slope.map_or(0.0, |leg| leg.acceleration(driven.speed));
            let mut braked = State::with_speed(braking.to);
            let leg = brake(self.forces, segment, self.brakes, length - at, &mut braked, &mut self.steps)?;
            let brake_slope = leg.acceleration(braked.speed);
            let gap = driven.speed.powi(2) - braked.speed.powi(2);
            let time = driven.time + braked.time;
            let result = Crossed { time, energy: driven.energy, recovered: braked.energy };
            *if gap > 0.0 { &mut high } else { &mut low } = at;
            // The derivative of a squared speed with respect to distance is twice the acceleration.
            let next = at - gap / (2.0 * (drive_slope + brake_slope));
            let close = gap.abs() <= 1e-11 * driven.speed.powi(2) || high - low <= 1e-14 * length;
            if close || (next - at).abs() <= 1e-14 * length {
                return Ok(result);
            }
            at = if next > low && next < high { next } else { 0.5 * (low + high) };
        }
        Err(ModelError::NotComputable)
    }
}

/// Drives over a distance, at most at the corner speed, and returns the leg at its end; `None` if the speed is held there.
fn drive<'f>(
    forces: &'f Forces,
    drivetrain: &Drivetrain<'_>,
    segment: &Segment,
    distance: f64,
    state: &mut State,
    steps: &mut Steps,
) -> Result<Option<Leg<'f>>, ModelError> {
    let Segment { curvature, cap, .. } = *segment;
    let mut up = true;
    // Where the direction last changed.
    let mut turned = None;
    loop {
        steps.take()?;
        let piece = drivetrain.piece(state.speed, up);
        let high = piece.high.min(cap);
        let leg = Leg::new(forces, curvature, Push::Drive, piece, (piece.low, high));
        match leg.run(state, distance, f64::INFINITY, steps)? {
            End::High if state.speed >= cap => {
                leg.hold(state, distance, f64::INFINITY)?;
                return Ok(None);
            }
            end @ (End::High | End::Low) => {
                let changed = up != (end == End::High);
                up = end == End::High;
                // Where the power falls at an edge, the car may accelerate below it but not above: it stays there.
                if changed && turned.replace(state.distance) == Some(state.distance) {
                    leg.hold(state, distance, f64::INFINITY)?;
                    return Ok(None);
                }
            }
            End::Distance | End::Time => return Ok(Some(leg)),
        }
    }
}

/// Brakes over a distance, backwards in time and at most up to the corner speed, and returns the leg, whose acceleration is
/// the deceleration. The distance of the state is where the corner speed was reached.
fn brake<'f>(
    forces: &'f Forces,
    segment: &Segment,
    brakes: Brakes,
    distance: f64,
    state: &mut State,
    steps: &mut Steps,
) -> Result<Leg<'f>, ModelError> {
    let Segment { curvature, cap, .. } = *segment;
    let high = (cap * (1.0 - 0.5 * SAME)).min(FASTEST);
    let leg = Leg::new(forces, curvature, brakes.push, brakes.piece, (0.0, high));
    if state.speed < high && leg.run(state, distance, f64::INFINITY, steps)? == End::High {
        state.speed = cap;
    }
    Ok(leg)
}
