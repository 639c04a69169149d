//! The model `stress-field` against closed forms: a bar, a cantilever, a plate with a hole, a thick cylinder; exact volumes
//! of every element; and what is refused.
//!
//! The closed forms: Timoshenko and Goodier, Theory of Elasticity; for a cantilever the distribution follows from
//! |stress| = peak times two numbers that are even from 0 to 1.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

mod distributions;
mod fields;
mod limits;
mod meshes;
mod refused;
mod volumes;
