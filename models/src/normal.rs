//! The normal distribution: its probabilities and quantiles, from the crate `statrs`.

use std::f64::consts::SQRT_2;

use statrs::function::erf::{erfc, erfc_inv};

/// The probability of a standard normal value below `z`.
///
/// ```
/// // The table of JCGM 106:2012, 7.3: a probability of 95 % at 1.645.
/// assert!((models::normal::below(1.645) - 0.95).abs() < 1e-4);
/// ```
pub fn below(z: f64) -> f64 {
    0.5 * erfc(-z / SQRT_2)
}

/// The value that a standard normal value is below with this probability.
///
/// ```
/// assert!((models::normal::quantile(0.975) - 1.959_963_985).abs() < 1e-9);
/// ```
pub fn quantile(probability: f64) -> f64 {
    -SQRT_2 * erfc_inv(2.0 * probability)
}
