//! The gears between engine and wheels.

use crate::error::{ModelError, must};
use crate::power::{Map, Piece, Power};

/// Width of the range of speeds over which a lap spreads a shift, relative to the speed at the redline.
const SPREAD: f64 = 0.05;

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

/// A gear as the equations need it.
pub(crate) struct Gear {
    /// Shaft speed per road speed, rad/m.
    pub(crate) shaft_per_road: f64,
    /// Road speed at the redline.
    pub(crate) up_to: f64,
    /// Time without driving force before this gear.
    pub(crate) shift_time: f64,
}

impl Gearbox {
    /// One entry per gear.
    pub(crate) fn check(&self, power: &Power) -> Result<Vec<Gear>, ModelError> {
        let shift_time = must::not_be_negative("shift-time", self.shift_time)?;
        let behind =
            must::be_positive("final-drive", self.final_drive)? / must::be_positive("wheel-radius", self.wheel_radius)?;
        let redline = match (self.redline, power) {
            (Some(redline), _) => must::be_positive("redline", redline)?,
            (None, Power::Engine(rows)) => rows.last().map_or(f64::NAN, |row| row.0),
            _ => return Err(ModelError::Missing { input: "redline", hint: "`gears` need it without `engine-curve`" }),
        };
        let wrong = |row, problem| Err(ModelError::WrongRow { input: "gears", row, problem });
        if self.gears.is_empty() {
            return wrong(0, "at least one ratio is needed");
        }
        let mut before = f64::INFINITY;
        let mut gears = Vec::with_capacity(self.gears.len());
        for (index, &ratio) in self.gears.iter().enumerate() {
            if !(ratio.is_finite() && ratio > 0.0) {
                return wrong(index + 1, "ratios must be above zero and finite");
            }
            if ratio >= before {
                return wrong(index + 1, "each ratio must be smaller than the one before");
            }
            before = ratio;
            let shaft_per_road = ratio * behind;
            gears.push(Gear { shaft_per_road, up_to: must::be_computable(redline / shaft_per_road)?, shift_time });
        }
        Ok(gears)
    }
}

/// Without gears an engine curve has no road speeds.
pub(crate) fn check_none(power: &Power) -> Result<(), ModelError> {
    match power {
        Power::Engine(_) => Err(ModelError::Missing { input: "gears", hint: "`engine-curve` needs them" }),
        _ => Ok(()),
    }
}

/// The power over road speed through all gears, in which each shift is spread over a range of speeds around the redline.
///
/// A shift without force for the time `t` costs the speed `t F / m`. So that a lap is smooth in every input, this is
/// spread: there the car accelerates as if its mass were larger by `F t / width`. Above the redline of the last gear
/// there is no power.
pub(crate) fn pieces(gears: &[Gear], power: &Power) -> Vec<Piece> {
    let up_to = |index: Option<usize>| index.and_then(|index| gears.get(index)).map(|gear| gear.up_to);
    // Half of the width around the speed at which a gear ends.
    let half = |index: Option<usize>| {
        let (Some(here), Some(next)) = (up_to(index), up_to(index.map(|index| index + 1))) else { return 0.0 };
        let before = up_to(index.and_then(|index| index.checked_sub(1))).unwrap_or(0.0);
        0.5 * (SPREAD * here).min(0.5 * (here - before)).min(0.5 * (next - here))
    };
    let mut pieces = Vec::new();
    for (index, gear) in gears.iter().enumerate() {
        let low = up_to(index.checked_sub(1)).unwrap_or(0.0);
        let (after_shift, before_shift) = (half(index.checked_sub(1)), half(Some(index)));
        let spread = gear.shift_time > 0.0;
        let (first, last) = if spread { (low + after_shift, gear.up_to - before_shift) } else { (low, gear.up_to) };
        let map = Map::new(power, gear.shaft_per_road);
        let mut v = low;
        while v < gear.up_to {
            let piece = map.piece(v, true);
            let (edge, width) = if v < first {
                (first, 2.0 * after_shift)
            } else if v < last {
                (last, f64::INFINITY)
            } else {
                (gear.up_to, 2.0 * before_shift)
            };
            let high = piece.high.min(edge);
            pieces.push(Piece { low: v, high, lag: gear.shift_time / width, ..piece });
            v = high;
        }
    }
    pieces.push(Piece { low: gears.last().map_or(0.0, |gear| gear.up_to), ..Piece::NONE });
    pieces
}
