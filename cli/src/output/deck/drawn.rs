//! stub
use crate::output::pictures::Picture;
use trace::audit::{Audit, GoalScore};
use trace::talk::decisions::Choice;
use trace::values::{Budget, GoalPoints};
use trace::{RecordId, Study};
pub(super) fn place_band(_: &Study, _: &GoalPoints) -> Option<Picture> { None }
pub(super) fn events(_: &Study, _: &GoalPoints) -> Option<Picture> { None }
pub(super) fn waterfall(_: &Study, _: &Audit, _: &GoalScore) -> Option<Picture> { None }
pub(super) fn targets(_: &Study, _: &[RecordId]) -> Option<Picture> { None }
pub(super) fn tornado(_: &Study, _: &GoalPoints) -> Option<Picture> { None }
pub(super) fn budget(_: &Study, _: &Budget) -> Option<Picture> { None }
pub(super) fn alternatives(_: &Study, _: &Choice) -> Option<Picture> { None }
pub(super) fn verification(_: &Study, _: &Audit) -> Option<Picture> { None }
pub(super) fn estimates(_: &Study, _: &Audit) -> Option<Picture> { None }
