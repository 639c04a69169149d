//! Vehicle models and the statistics of past fields: SI numbers in, SI numbers out, no I/O.
//!
//! - [`StraightLine`]: from a standstill over a distance, limited by grip and power, with gears as an option
//! - [`SteadyCircle`]: a circle at the limit of grip
//! - [`Lap`]: a quasi-steady lap over a table of length and curvature, with the energy that it takes
//! - [`Efficiency`] and [`EfficiencyCo2`]: the numbers that efficiency events score
//! - [`fields`]: the points that a place has taken, and what it may take next
//!
//! A caller that binds inputs by name goes through [`MODELS`]. Nothing panics and nothing hangs on any input: what a
//! model cannot answer is a [`ModelError`].
//!
//! Sources are textbook chapters *from memory*: T. D. Gillespie, Fundamentals of Vehicle Dynamics; W. F. and
//! D. L. Milliken, Race Car Vehicle Dynamics; M. Guiggiani, The Science of Vehicle Dynamics.

#![forbid(unsafe_code)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

mod car;
mod catalogue;
mod efficiency;
mod error;
pub mod fields;
mod lap;
mod motion;
mod panel;
mod power;
mod registry;
mod steady_circle;
mod straight_line;

pub use car::Car;
pub use catalogue::MODELS;
pub use efficiency::{Efficiency, EfficiencyCo2, Emission, Used};
pub use error::ModelError;
pub use lap::{Lap, LapResult};
pub use power::Power;
pub use registry::{Bound, Column, Input, Kind, Model, Output, find};
pub use steady_circle::{CircleResult, SteadyCircle};
pub use straight_line::{Gearbox, StraightLine, StraightLineResult};

/// Standard gravity, m/s^2 (3rd General Conference on Weights and Measures, 1901).
pub const GRAVITY: f64 = 9.806_65;
