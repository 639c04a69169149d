//! `excess-margin`: better than it needs to be.

use super::{Check, Group, Note, Reporter, Study, numbers};
use crate::values::Status;

/// A value that beats its need by more than this part of it is told.
const MUCH: f64 = 0.25;

pub(super) static CHECK: Check = Check {
    name: "excess-margin",
    group: Group::Values,
    levels: [Note; 5],
    reports: "A target that is met, or on target, by more than 25 % of its limit.",
    why: "What is much better than it needs to be costs mass, money or time that another part could use, or the limit \
          was set too low.",
    fix: "Ask whether the limit is right; if it is, see what the margin costs. Nothing here says that a part may be \
           made weaker: loads and methods come first, the contest's rules and local codes stand above it, and a \
           qualified person decides.",
    bad_example: "\
targets:
  rack-travel: {of: car, at-least: 60 mm, estimate: 82 mm ± 1 mm}",
    good_example: "\
targets:
  rack-travel: {of: car, at-least: 60 mm, estimate: 66 mm ± 1 mm}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let much: Vec<_> = study
        .target_statuses()
        .iter()
        .filter(|standing| matches!(standing.status, Status::Met | Status::OnTarget))
        .filter_map(|standing| Some((standing, standing.margin.filter(|margin| *margin > MUCH)?)))
        .collect();
    if much.is_empty() {
        return;
    }
    let goal = study.goals().first().map(|goal| goal.node);
    let worth = goal.map(|goal| study.values().network.sensitivities(study.partials(), goal));
    for (standing, margin) in much {
        let record = study.loaded.record(standing.index);
        let percent = (margin * 100.0).round();
        let mut message = format!("{} is {percent:.0} % better than its limit", record.name());
        if record.safety_critical() {
            let help =
                "leave it: safety margins are not for spending; a qualified person decides, under the contest's rules";
            reporter.report(standing.index, &[], message, help);
            continue;
        }
        let per_si = worth.as_ref().map_or(0.0, |worth| worth[standing.node]);
        let limit = standing.limit.at_most.or(standing.limit.at_least);
        if let (Some(value), Some(limit)) = (standing.value, limit)
            && per_si != 0.0
        {
            message.push_str(&format!(", which brings {} points", numbers::signed(per_si * (value - limit))));
        }
        let help = "ask what the margin costs and whether the limit is right; loads and methods come first";
        reporter.report(standing.index, &[], message, help);
    }
}
