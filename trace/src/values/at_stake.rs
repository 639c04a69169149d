//! The points between a value and its limit.

use super::{TargetStatus, Values};

impl Values {
    /// The points that a target would add if its value were exactly at its limit, by the slope at the current values:
    /// below zero if it would lose points. `sensitivities` are those of [`Values::worth_of_all`]. `None` without a value,
    /// with two limits, or if no points depend on it.
    pub fn points_to_limit(&self, target: &TargetStatus, sensitivities: &[f64]) -> Option<f64> {
        let worth = self.worth_of_value(target.node, sensitivities)?;
        let points = worth.per_si * (target.limit.only_end()? - worth.value);
        (worth.per_si != 0.0 && points.is_finite()).then_some(points)
    }
}
