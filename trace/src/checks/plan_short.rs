//! `plan-short`: the plans of the events do not add up to the goal.

use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "plan-short",
    group: Group::Values,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A goal whose events' plans add up to fewer points than it needs.",
    why: "Even if everything goes to plan, the goal is not reached.",
    fix: "Plan more from an event, and move the targets that earn it; or set another goal on record.",
    bad_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth year., lead: team lead}
events:
  hill-climb: {plan: 55 pts, expect: 62 pts, lead: team lead, serves: {podium: It is the only event there.}}",
    good_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth year., lead: team lead}
events:
  hill-climb: {plan: 60 pts, expect: 62 pts, lead: team lead, serves: {podium: It is the only event there.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for goal in study.goals() {
        let Ok(needed) = &goal.needed else { continue };
        if goal.events.is_empty() || goal.plan >= needed.points - 1e-9 {
            continue;
        }
        let short = needed.points - goal.plan;
        let message = format!(
            "the plans add up to {:.1} points, and {:.1} are needed: {short:.1} short",
            goal.plan, needed.points
        );
        reporter.report(goal.index, &[], message, "plan more from an event, or set another goal on record");
    }
}
