//! `excess-margin`: a value that is much better than its limit.

use schema::number;
use schema::quantity::Unit;
use schema::read::Damage;

use super::{About, Check, Group, Note, RecordId, Reporter, Study};
use crate::Loaded;
use crate::ids::NodeId;
use crate::measure::Measure;
use crate::values::passes::Passes;
use crate::values::{Origin, Status, TargetStatus, Values};

/// The largest margin that is not reported, as a ratio to the limit.
const LARGEST_MARGIN: f64 = 0.25;

pub(super) static CHECK: Check = Check {
    name: "excess-margin",
    group: Group::Values,
    about: About::Car,
    levels: [Note; 5],
    reports: "A target, met or on target, whose value beats its limit by more than 25 %.",
    why: "A large margin costs mass, money or time that another part could use, or the limit is not strict enough.",
    fix: "Check whether the limit is right; if it is, check what the margin costs. This finding does not mean that a \
          part may be made weaker. Check load cases and calculation methods first; contest rules and local regulations \
          take precedence; a qualified person decides.",
    bad_example: "\
targets:
  rack-travel: {of: car, at-least: 60 mm, estimate: 82 mm ± 1 mm}",
    good_example: "\
targets:
  rack-travel: {of: car, at-least: 60 mm, estimate: 66 mm ± 1 mm}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let mut with_large_margin: Vec<_> = study
        .target_statuses()
        .iter()
        .filter(|target| matches!(target.status, Status::Met | Status::OnTarget))
        .filter(|target| !is_impossible_time(study, target))
        .filter_map(|target| Some((target, target.margin.filter(|margin| *margin > LARGEST_MARGIN)?)))
        .collect();
    let is_total = |id: RecordId| study.values().origin(id) == Origin::Total;
    if with_large_margin.iter().any(|(target, _)| is_total(target.index)) && !knows_all_parts(&study.loaded) {
        with_large_margin.retain(|(target, _)| !is_total(target.index));
    }
    if with_large_margin.is_empty() {
        return;
    }
    let feeding = study.values().feeding();
    let mut worth = Worth::new(study);
    for (target, margin) in with_large_margin {
        let record = study.loaded.record(target.index);
        let percent = (margin * 100.0).round();
        let mut message = format!("{} beats its limit by {percent:.0} %", record.name());
        if record.safety_critical() {
            let help = "keep the margin, because people's safety depends on it; contest rules and local regulations \
                        take precedence; a qualified person decides";
            reporter.report(target.index, &[], message, help);
            reporter.measured(Measure::percent(margin));
            continue;
        }
        if feeding[target.node]
            && let Some(points) = worth.as_mut().and_then(|worth| worth.of(target))
        {
            message.push_str(&format!(", worth {} points", number::signed(points, 1)));
        }
        let help = "check what the margin costs and whether the limit is right; check load cases and calculation \
                    methods first";
        reporter.report(target.index, &[], message, help);
        reporter.measured(Measure::percent(margin));
    }
}

/// Whether a value is a time of zero or less, which is no margin.
fn is_impossible_time(study: &Study, target: &TargetStatus) -> bool {
    let is_time = |second: Unit| second.dimension() == study.values().dimension(target.node);
    target.value.is_some_and(|value| value <= 0.0) && Unit::parse("s").is_ok_and(is_time)
}

/// What margins are worth in points of the first goal.
struct Worth<'s> {
    values: &'s Values,
    goal: NodeId,
    /// The points now.
    now: f64,
    /// The events without a value now.
    missing: Vec<RecordId>,
    /// How many margins can still have points.
    passes: Passes,
}

impl<'s> Worth<'s> {
    fn new(study: &'s Study) -> Option<Self> {
        let (values, goal) = (study.values(), study.goals().first()?.node);
        let missing = values.events_without_value(&values.state, goal);
        Some(Self { values, goal, now: values.value(goal)?, missing, passes: Passes::new(values) })
    }

    /// The points now minus those with the value exactly at its limit. The slope at the value says nothing about a limit
    /// that is far away.
    fn of(&mut self, target: &TargetStatus) -> Option<f64> {
        let limit = target.limit.at_most.or(target.limit.at_least)?;
        self.passes.take()?;
        let at_limit = self.values.network.what_if(&self.values.state, &[(target.node, limit)]);
        let same_events = self.values.events_without_value(&at_limit, self.goal) == self.missing;
        let points = self.now - at_limit.values[self.goal];
        Some(points).filter(|points| same_events && points.is_finite() && *points != 0.0)
    }
}

/// Whether the system, the count and the amounts of every part were read; otherwise totals may be too small.
fn knows_all_parts(loaded: &Loaded) -> bool {
    let is_part = |id: &schema::Id| loaded.find(id.as_str()).is_none_or(|id| loaded.part(id).is_some());
    let is_unread = |damage: &Damage| ["in", "count", "amounts"].iter().any(|key| damage.has(key));
    let mut damaged = loaded.damaged.values().filter(|damage| is_part(&damage.id));
    !damaged.any(|damage| damage.keys.is_empty() || is_unread(damage))
        && loaded.parts().all(|(part, ..)| loaded.knows_enclosing(part, &[]))
}
