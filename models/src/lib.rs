//! Vehicle models and statistics of past contests: SI numbers in, SI numbers out, no I/O.
//!
//! - [`StraightLine`]: a run from a standstill over a distance, limited by grip and power, optionally with gears
//! - [`SteadyCircle`]: a circle at the limit of grip
//! - [`Lap`]: a quasi-steady lap over a table of length and curvature, and the energy for it, optionally with gears, load
//!   transfer to the outer wheels, and energy given back under braking
//! - [`Efficiency`] and [`EfficiencyCo2`]: the factors that efficiency events score
//! - [`readings`]: the mean of repeated readings and its uncertainty, percentiles
//! - [`stress`]: how the volume of a part is stressed, from a file of a stress analysis
//! - [`standings`]: the points of a place in past contests, and a forecast for the next one
//!
//! To bind inputs by name, use [`MODELS`]. Models do not panic or hang on any input: if a result cannot be calculated,
//! they return a [`ModelError`].
//!
//! The equations are standard textbook results that follow from Newton's law. Textbooks: T. D. Gillespie, Fundamentals of
//! Vehicle Dynamics; W. F. and D. L. Milliken, Race Car Vehicle Dynamics; M. Guiggiani, The Science of Vehicle Dynamics.

#![forbid(unsafe_code)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

mod binding;
mod car;
mod catalogue;
mod crossing;
mod efficiency;
mod equations;
mod error;
mod gearbox;
mod lap;
mod motion;
pub mod normal;
mod panel;
pub mod parallel;
mod power;
pub mod readings;
mod registry;
pub mod standings;
mod steady_circle;
mod straight_line;
pub mod stress;
mod tyres;

pub use car::Car;
pub use catalogue::MODELS;
pub use efficiency::{Efficiency, EfficiencyCo2, Emission, Used};
pub use error::ModelError;
pub use gearbox::Gearbox;
pub use lap::{Lap, LapResult};
pub use power::Power;
pub use registry::{Bound, Column, Explained, Input, Kind, Model, Output, Slopes, find};
pub use steady_circle::{CircleResult, SteadyCircle};
pub use straight_line::{StraightLine, StraightLineResult};

/// Standard gravity, m/s^2 (NIST SP 811).
pub const GRAVITY: f64 = 9.806_65;
