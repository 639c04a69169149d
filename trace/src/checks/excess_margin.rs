//! `excess-margin`: a value that is much better than its limit.

use schema::number;

use super::{About, Check, Group, Note, Reporter, Study};
use crate::measure::Measure;
use crate::values::Status;

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
    let with_large_margin: Vec<_> = study
        .target_statuses()
        .iter()
        .filter(|target| matches!(target.status, Status::Met | Status::OnTarget))
        .filter_map(|target| Some((target, target.margin.filter(|margin| *margin > LARGEST_MARGIN)?)))
        .collect();
    if with_large_margin.is_empty() {
        return;
    }
    let goal = study.goals().first().map(|goal| goal.node);
    let worth = goal.map(|goal| study.values().network.sensitivities(study.partials(), goal));
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
        let per_si = worth.as_ref().map_or(0.0, |worth| worth[target.node]);
        let limit = target.limit.at_most.or(target.limit.at_least);
        if let (Some(value), Some(limit)) = (target.value, limit)
            && per_si != 0.0
        {
            message.push_str(&format!(", worth {} points", number::signed(per_si * (value - limit), 1)));
        }
        let help = "check what the margin costs and whether the limit is right; check load cases and calculation \
                    methods first";
        reporter.report(target.index, &[], message, help);
        reporter.measured(Measure::percent(margin));
    }
}
