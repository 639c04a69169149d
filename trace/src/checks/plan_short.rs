//! `plan-short`: the event plans total fewer points than the goal needs.

use super::{About, Check, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "plan-short",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A goal whose event plans total fewer points than it needs.",
    why: "Even if every event goes as planned, the goal is not reached.",
    fix: "Plan more points for an event and change the targets that score them, or change the goal.",
    bad_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth season of the team., lead: team lead}
events:
  hill-climb: {plan: 55 pts, expect: 62 pts, lead: team lead, serves: {podium: It is the only event of the contest.}}",
    good_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth season of the team., lead: team lead}
events:
  hill-climb: {plan: 60 pts, expect: 62 pts, lead: team lead, serves: {podium: It is the only event of the contest.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for goal in study.goals() {
        let Ok(needed) = &goal.needed else { continue };
        if goal.events.is_empty() || goal.plan >= needed.points - 1e-9 {
            continue;
        }
        let missing = needed.points - goal.plan;
        let message = format!(
            "the event plans total {:.1} points; {:.1} are needed ({missing:.1} missing)",
            goal.plan, needed.points
        );
        reporter.report(goal.index, &[], message, "plan more points for an event, or change the goal");
        reporter.measured(Measure::points(missing));
    }
}
