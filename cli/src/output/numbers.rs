//! Numbers for people.

use schema::quantity::Unit;
use trace::values::TargetStatus;

/// A value in SI as text in its unit, with its uncertainty where there is one.
pub(crate) fn quantity(si: f64, uncertainty: f64, unit: &Unit) -> String {
    unit.show(si, uncertainty)
}

/// How far a target is inside its limit: a ratio, or a difference where the unit has a zero of its own.
pub(crate) fn margin(standing: &TargetStatus, unit: &Unit) -> Option<String> {
    let room = || unit.has_own_zero().then(|| standing.limit.room(standing.value?)).flatten();
    standing.margin.map(percent).or_else(|| Some(unit.show_change(room()?)))
}

/// A ratio as a percentage with its sign.
pub(crate) fn percent(ratio: f64) -> String {
    format!("{:+.1} %", ratio * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ratio_has_a_sign() {
        assert_eq!(percent(0.0312), "+3.1 %");
        assert_eq!(percent(-0.5), "-50.0 %");
    }
}
