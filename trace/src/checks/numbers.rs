//! Numbers in the messages of checks.

use schema::Record;
use schema::records::{Body, LimitStyle};

use super::{Reporter, Study};
use crate::measure::Measure;
use crate::values::{Status, TargetStatus};

/// The value of a target with its uncertainty and unit, and with the digits that show that it does not meet its limit.
pub(super) fn value_text(study: &Study, target: &TargetStatus) -> String {
    let unit = study.values().unit(target.node);
    let counts = if target.status == Status::AtRisk { 1.0 } else { 0.0 };
    let holds = |value: f64, uncertainty: f64| target.limit.holds(value, counts * uncertainty);
    unit.show_against(target.value.unwrap_or(f64::NAN), target.uncertainty, holds)
}

/// The limit of a target as it is written; empty for a record of another kind.
pub(super) fn limit_text(record: &Record) -> String {
    match &record.body {
        Body::Target(target) => target.limit_text(LimitStyle::Words),
        _ => String::new(),
    }
}

/// Adds to the last finding how far the value of its target, with its uncertainty, is beyond the limit.
pub(super) fn measure_distance(study: &Study, target: &TargetStatus, uncertainty: f64, reporter: &mut Reporter) {
    let Some((value, room)) = target.value.and_then(|value| Some((value, target.limit.room(value)?))) else { return };
    let unit = study.values().unit(target.node);
    reporter.measured(Measure::within(uncertainty - room, value, target.uncertainty, unit));
}
