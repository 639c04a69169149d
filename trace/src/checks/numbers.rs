//! Numbers in the messages of checks.

use schema::Record;
use schema::quantity::Unit;
use schema::records::Body;

use super::Inputs;
use crate::values::Standing;

/// A value in SI as text in its unit, with four digits that count.
pub(super) fn quantity(si: f64, uncertainty: f64, unit: &Unit) -> String {
    let (value, spread) = (unit.from_si(si), uncertainty / unit.factor());
    let name = unit.to_string();
    let gap = if name.is_empty() { "" } else { " " };
    if spread > 0.0 {
        let places = decimals(spread, 2);
        format!("{value:.places$} ± {spread:.places$}{gap}{name}")
    } else {
        let places = decimals(value, 4);
        let text = format!("{value:.places$}");
        let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
        format!("{text}{gap}{name}")
    }
}

fn decimals(size: f64, digits: i32) -> usize {
    if size == 0.0 || !size.is_finite() {
        return 0;
    }
    (digits - 1 - size.abs().log10().floor() as i32).clamp(0, 7) as usize
}

/// The value of a target with its uncertainty.
pub(super) fn shown(inputs: &Inputs<'_, '_>, standing: &Standing) -> String {
    quantity(standing.value.unwrap_or(f64::NAN), standing.uncertainty, inputs.values.unit(standing.node))
}

/// The limit of a target, as it is written.
pub(super) fn limit(record: &Record) -> String {
    let Body::Target(target) = &record.body else { return String::new() };
    match (target.between.as_deref(), &target.at_most, &target.at_least) {
        (Some([low, high]), ..) => format!("{low} to {high}"),
        (_, Some(most), _) => format!("at most {most}"),
        (_, _, Some(least)) => format!("at least {least}"),
        _ => String::new(),
    }
}

/// Points with their uncertainty, to a tenth.
pub(super) fn points(points: f64, uncertainty: f64) -> String {
    if uncertainty > 0.0 { format!("{points:.1} ± {uncertainty:.1}") } else { format!("{points:.1}") }
}

/// A number of points with its sign.
pub(super) fn signed(points: f64) -> String {
    format!("{points:+.1}")
}
