//! `points-short`: the car is not predicted to reach the goal.

use schema::number;

use super::{About, Check, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;
use crate::values::Spread;

pub(super) static CHECK: Check = Check {
    name: "points-short",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A goal that is reached with a probability below `confidence` in the settings (50 % unless it is set).",
    why: "The car in the records does not reach the goal of the team. The probability counts both the uncertainty of the \
            prediction and that of the points needed: what a place needs is a forecast from the past contests, with the trend \
            that they agree on (Bayesian linear regression with weak priors; standard textbook result). It holds as long as \
            the contest and its rules stay similar.",
    fix: "Run `tierod points` to see where points are missing, and `tierod worth` to see which values would add \
            points.",
    bad_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth season of the team., lead: team lead}
events:
  hill-climb: {plan: 60 pts, expect: 50 pts, lead: team lead, serves: {podium: It is the only event of the contest.}}",
    good_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth season of the team., lead: team lead}
events:
  hill-climb: {plan: 60 pts, expect: 62 pts, lead: team lead, serves: {podium: It is the only event of the contest.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let confidence = study.settings().confidence.0;
    for goal in study.goals() {
        let Ok(needed) = &goal.needed else { continue };
        let (predicted, chance) = match (goal.predicted, goal.chance(), goal.at_least) {
            // At 50 % it is the means that are compared: a difference far below a point is none.
            (Some(predicted), Some(chance), _) if chance < confidence - 1e-6 => (predicted, Some(chance)),
            // Without the events that have no value, the sum is less than what the car will score.
            (None, _, Some(at_least)) if at_least < needed.points => (at_least, None),
            _ => continue,
        };
        let missing = needed.points - predicted;
        let (at_least, up_to) = if chance.is_some() { ("", "") } else { ("at least ", "up to ") };
        let short = if missing > 0.0 { format!(" ({up_to}{missing:.1} missing)") } else { String::new() };
        let mut message = format!(
            "{at_least}{} points are predicted; {:.1} are needed{short}",
            goal.spread.as_ref().map(Spread::points).unwrap_or_default(),
            needed.points,
        );
        if let Some(chance) = chance {
            message.push_str(&format!(": the probability of reaching the goal is {}", number::chance(chance)));
        }
        reporter.report(
            goal.index,
            &[],
            message,
            "run `tierod points` to see where they are missing, and `tierod worth` to see which values would add points",
        );
        reporter.measured(Measure::points(missing));
    }
}
