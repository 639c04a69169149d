//! The targets behind an event whose points differ from its plan.
//!
//! A plan is what the event scores with every target at its limit. So the effect of a target is the points of the event with
//! the target's latest value, minus those with a value that is exactly at the limit.

use foldhash::HashSet;
use schema::records::TestResult;

use super::points::SHOWN_AS_ZERO;
use super::split::driven_elsewhere;
use super::targets::TargetAudit;
use crate::graph::target_read;
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::passes::Passes;
use crate::values::{Key, Limit, Values};

/// What a target that is not at its limit changes in the points of an event.
#[derive(Clone, Debug, PartialEq)]
pub struct TargetEffect {
    /// The target's record.
    pub target: RecordId,
    /// Its latest value in SI: driven in the event, measured, or expected.
    pub value: f64,
    /// The end of its limit that it is compared with, in SI.
    pub limit: f64,
    /// The points that it changes in the event, compared with the limit; below zero if it costs points.
    pub points: f64,
    /// Whether the event reads it; otherwise it is under a target that the event reads.
    pub is_read: bool,
}

/// The targets that push the points of an event away from its plan. If it is short: those that miss their limits and cost
/// points, those that the event reads first. Otherwise those that it reads and that are better than their limits.
pub(super) fn of_event(
    study: &Study,
    targets: &[TargetAudit],
    index: RecordId,
    result: Option<RecordId>,
    is_short: bool,
    passes: &mut Passes,
) -> Vec<TargetEffect> {
    let loaded = &study.loaded;
    let Some(event) = loaded.event(index) else { return Vec::new() };
    let result: Option<&TestResult> = result.and_then(|result| loaded.result(result));
    let mut all: Vec<TargetEffect> = Vec::new();
    let mut seen: HashSet<RecordId> = HashSet::default();
    let values = study.values_before_contest();
    for name in event.reads.keys() {
        let target = target_read(loaded, event, name.as_str());
        let at = target.and_then(|target| targets.binary_search_by_key(&target, |own| own.status.index).ok());
        let Some(audit) = at.map(|at| &targets[at]) else { continue };
        let Some(node) = values.node(&Key::Local(index, name.as_str().into())) else { continue };
        let driven = result.and_then(|result| {
            let given = result.reads.get(name.as_str()).map(|value| values.in_team(value).1);
            given.or_else(|| driven_elsewhere(study, event, name.as_str(), result))
        });
        if let Some(value) = driven.or_else(|| values.value(node))
            && !seen.contains(&audit.status.index)
            && let Some(own) = effect(values, (index, node), audit, value, is_short, passes)
        {
            seen.insert(own.target);
            all.push(TargetEffect { is_read: true, ..own });
        }
    }
    // Deeper targets count as on paper: there a value follows from those under it, and no measured one hides them.
    let on_paper = study.values_on_paper();
    let own = on_paper.record_node(index).filter(|_| is_short && passes.take().is_some());
    let Some(own) = own else { return ordered(all) };
    let under = on_paper.all_under(&[own]);
    for audit in targets {
        let target = audit.status.index;
        let Some(node) = on_paper.record_node(target).filter(|node| under[*node]) else { continue };
        if let Some(value) = audit.status.value.filter(|_| !seen.contains(&target)) {
            all.extend(effect(on_paper, (index, node), audit, value, true, passes));
        }
    }
    ordered(all)
}

/// What one target changes, if that is to the side of the event.
fn effect(
    values: &Values,
    (event, node): (RecordId, NodeId),
    audit: &TargetAudit,
    value: f64,
    is_short: bool,
    passes: &mut Passes,
) -> Option<TargetEffect> {
    // A target that meets its limit is not why points are missing, even if more of it would bring some.
    if audit.status.limit.holds(value, 0.0) == is_short {
        return None;
    }
    let limit = end(&audit.status.limit, value)?;
    let own = values.record_node(event)?;
    passes.take()?;
    let mut response = values.network.response(&values.state, node, own)?;
    let mut points = |value: f64| Some(response.result_for(value)).filter(|points| !points.is_nan());
    let points = points(value)? - points(limit)?;
    let target = audit.status.index;
    let counts = if is_short { points <= -SHOWN_AS_ZERO } else { points >= SHOWN_AS_ZERO };
    counts.then_some(TargetEffect { target, value, limit, points, is_read: false })
}

/// The end of a limit that a value is compared with: the only one, or of two the one that is closer.
fn end(limit: &Limit, value: f64) -> Option<f64> {
    let ends = [limit.at_least, limit.at_most].into_iter().flatten();
    ends.min_by(|a, b| (a - value).abs().total_cmp(&(b - value).abs()))
}

fn ordered(mut all: Vec<TargetEffect>) -> Vec<TargetEffect> {
    all.sort_by(|a, b| b.is_read.cmp(&a.is_read).then(a.points.total_cmp(&b.points)).then(a.target.cmp(&b.target)));
    all
}
