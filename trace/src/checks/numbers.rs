//! Numbers in the messages of checks.

use schema::Record;
use schema::records::Body;

use super::Study;
use crate::values::TargetStatus;

/// The value of a target with its uncertainty.
pub(super) fn shown(study: &Study, standing: &TargetStatus) -> String {
    study.values().unit(standing.node).show(standing.value.unwrap_or(f64::NAN), standing.uncertainty)
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
