//! Numbers in the messages of checks.

use schema::Record;
use schema::records::{Body, LimitStyle};

use super::Study;
use crate::values::TargetStatus;

/// The value of a target with its uncertainty and unit.
pub(super) fn value_text(study: &Study, target: &TargetStatus) -> String {
    study.values().unit(target.node).show(target.value.unwrap_or(f64::NAN), target.uncertainty)
}

/// The limit of a target as it is written; empty for a record of another kind.
pub(super) fn limit_text(record: &Record) -> String {
    match &record.body {
        Body::Target(target) => target.limit_text(LimitStyle::Words),
        _ => String::new(),
    }
}
