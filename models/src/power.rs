//! Power at the wheels over road speed, as linear pieces.

use std::borrow::Cow;

use crate::error::{ModelError, must};

/// The source of the driving force. Power is that at the wheels, after all losses of the drivetrain.
///
/// Between two rows of a curve the power is linear; outside the rows the power of the nearest one is used. (Below the first
/// row of an engine curve the clutch slips, so there the *force* is constant.)
#[derive(Debug, Clone, PartialEq)]
pub enum Power {
    /// Constant power, W.
    Constant(f64),
    /// Rows of road speed (m/s, 0 or more, increasing) and power (W).
    Curve(Vec<(f64, f64)>),
    /// Rows of shaft speed of the engine or motor (rad/s, above 0, increasing) and power (W); needs gears.
    Engine(Vec<(f64, f64)>),
}

impl Power {
    pub(crate) fn check(&self) -> Result<(), ModelError> {
        match self {
            Self::Constant(power) => must::be_positive("power", *power).map(drop),
            Self::Curve(rows) => check_rows("power-curve", rows, false),
            Self::Engine(rows) => check_rows("engine-curve", rows, true),
        }
    }

    /// The smaller of a checked power and a limit at every speed.
    pub(crate) fn limited(&self, limit: Option<f64>) -> Result<Cow<'_, Self>, ModelError> {
        let Some(limit) = limit else { return Ok(Cow::Borrowed(self)) };
        let limit = must::be_positive("power-limit", limit)?;
        Ok(Cow::Owned(match self {
            Self::Constant(power) => Self::Constant(power.min(limit)),
            Self::Curve(rows) => Self::Curve(limited_rows(rows, limit)),
            Self::Engine(rows) => {
                let mut limited = limited_rows(rows, limit);
                // Below its first row the force is constant, so the power reaches the limit earlier.
                if let Some(&(speed, power)) = rows.first()
                    && power > limit
                {
                    let earlier = speed * (limit / power);
                    if earlier > 0.0 && earlier < speed {
                        limited.insert(0, (earlier, limit));
                    }
                }
                Self::Engine(limited)
            }
        }))
    }
}

/// Rows of the smaller of a linear curve and a limit, with a row where they cross.
fn limited_rows(rows: &[(f64, f64)], limit: f64) -> Vec<(f64, f64)> {
    let mut limited: Vec<(f64, f64)> = Vec::with_capacity(rows.len() + 2);
    let mut before: Option<(f64, f64)> = None;
    for &(speed, power) in rows {
        if let Some((last, from)) = before
            && (from > limit) != (power > limit)
        {
            let cross = last + (speed - last) * ((limit - from) / (power - from));
            if cross > last && cross < speed {
                limited.push((cross, limit));
            }
        }
        limited.push((speed, power.min(limit)));
        before = Some((speed, power));
    }
    limited
}

fn check_rows(input: &'static str, rows: &[(f64, f64)], above_zero: bool) -> Result<(), ModelError> {
    let wrong = |row, problem| Err(ModelError::WrongRow { input, row, problem });
    if rows.is_empty() {
        return wrong(0, "at least one row is needed");
    }
    let mut before = f64::NEG_INFINITY;
    for (index, &(speed, power)) in rows.iter().enumerate() {
        let row = index + 1;
        if !(speed.is_finite() && speed >= 0.0 && (speed > 0.0 || !above_zero)) {
            return wrong(row, if above_zero { "speeds must be above zero" } else { "speeds must be zero or more" });
        }
        if speed <= before {
            return wrong(row, "speeds must increase from row to row");
        }
        if !(power.is_finite() && power >= 0.0) {
            return wrong(row, "power must be zero or more, and finite");
        }
        before = speed;
    }
    if rows.iter().all(|row| row.1 == 0.0) {
        return wrong(0, "at least one row must have a power above zero");
    }
    Ok(())
}

/// A range of road speeds in which the power is `at_rest + per_speed * v`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Piece {
    pub(crate) at_rest: f64,
    pub(crate) per_speed: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// Time of a shift divided by the range of speeds over which it is spread, s per m/s; usually 0.
    pub(crate) lag: f64,
}

impl Piece {
    /// No driving force at any speed.
    pub(crate) const NONE: Self = Self { at_rest: 0.0, per_speed: 0.0, low: 0.0, high: f64::INFINITY, lag: 0.0 };

    /// The same power at every speed.
    pub(crate) fn constant(power: f64) -> Self {
        Self { at_rest: power, ..Self::NONE }
    }

    pub(crate) fn power(&self, v: f64) -> f64 {
        self.at_rest + self.per_speed * v
    }

    pub(crate) fn force(&self, v: f64) -> f64 {
        if self.at_rest == 0.0 { self.per_speed } else { self.at_rest / v + self.per_speed }
    }
}

/// The power over road speed in one gear.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Map<'a> {
    rows: &'a [(f64, f64)],
    constant: f64,
    /// Speed in the table per road speed: 1 for a power curve, rad/m for an engine curve.
    scale: f64,
    /// Whether the force, not the power, is constant below the first row.
    slips: bool,
}

impl<'a> Map<'a> {
    pub(crate) fn new(power: &'a Power, shaft_per_road: f64) -> Self {
        match power {
            Power::Constant(power) => Self { rows: &[], constant: *power, scale: 1.0, slips: false },
            Power::Curve(rows) => Self { rows, constant: 0.0, scale: 1.0, slips: false },
            Power::Engine(rows) => Self { rows, constant: 0.0, scale: shaft_per_road, slips: true },
        }
    }

    /// The piece that contains `v`; exactly at a row, the piece above if `up`, otherwise the one below.
    pub(crate) fn piece(&self, v: f64, up: bool) -> Piece {
        // Compare road speeds, so that a speed set to the edge of a piece is found at that edge.
        let road = |index: usize| self.rows[index].0 / self.scale;
        let above = self.rows.partition_point(|row| {
            let edge = row.0 / self.scale;
            if up { edge <= v } else { edge < v }
        });
        match (self.rows.first(), self.rows.last()) {
            (Some(&(_, power)), _) if above == 0 => {
                let high = road(0);
                if self.slips {
                    Piece { at_rest: 0.0, per_speed: power / high, low: 0.0, high, lag: 0.0 }
                } else {
                    Piece { high, ..Piece::constant(power) }
                }
            }
            (_, Some(&(_, power))) if above == self.rows.len() => {
                Piece { low: road(above - 1), ..Piece::constant(power) }
            }
            (Some(_), Some(_)) => {
                let (low, high) = (road(above - 1), road(above));
                let (from, to) = (self.rows[above - 1].1, self.rows[above].1);
                let per_speed = (to - from) / (high - low);
                // The power at rest is exactly that of the first row.
                let at_rest = if low == 0.0 { from } else { from - per_speed * low };
                Piece { at_rest, per_speed, low, high, lag: 0.0 }
            }
            _ => Piece::constant(self.constant),
        }
    }
}

/// The power over road speed of a car without gears, or through all of them.
#[derive(Debug)]
pub(crate) enum Drivetrain<'a> {
    Direct(Map<'a>),
    /// Pieces without a gap, from zero up.
    Geared(Vec<Piece>),
}

impl Drivetrain<'_> {
    /// The speed above which there is no gear; infinite without gears.
    pub(crate) fn top_speed(&self) -> f64 {
        match self {
            Self::Direct(_) => f64::INFINITY,
            Self::Geared(pieces) => pieces.last().map_or(0.0, |piece| piece.low),
        }
    }

    /// The piece that contains `v`; exactly at an edge, the piece above if `up`, otherwise the one below.
    pub(crate) fn piece(&self, v: f64, up: bool) -> Piece {
        match self {
            Self::Direct(map) => map.piece(v, up),
            Self::Geared(pieces) => {
                let at = pieces.partition_point(|piece| if up { piece.high <= v } else { piece.high < v });
                pieces.get(at).copied().unwrap_or(Piece::NONE)
            }
        }
    }
}
