//! `points-short`: the car is not predicted to reach the goal.

use schema::number;

use super::{About, Check, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;

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
        let (Some(predicted), Ok(needed), Some(chance)) = (goal.predicted, &goal.needed, goal.chance()) else {
            continue;
        };
        // At 50 % it is the means that are compared: a difference far below a point is none.
        if chance >= confidence - 1e-6 {
            continue;
        }
        let missing = needed.points - predicted;
        let short = if missing > 0.0 { format!(" ({missing:.1} missing)") } else { String::new() };
        let message = format!(
            "{} points are predicted; {:.1} are needed{short}: the probability of reaching the goal is {}",
            number::with_uncertainty(predicted, goal.uncertainty, 1),
            needed.points,
            number::chance(chance),
        );
        reporter.report(
            goal.index,
            &[],
            message,
            "run `tierod points` to see where they are missing, and `tierod worth` to see which values would add points",
        );
        reporter.measured(Measure::points(missing));
    }
}
