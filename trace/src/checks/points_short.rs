//! `points-short`: the car is not predicted to reach the goal.

use schema::number;

use super::{About, Check, Group, Note, Reporter, Study, Warning};
use crate::measure::Measure;

pub(super) static CHECK: Check = Check {
    name: "points-short",
    group: Group::Values,
    about: About::Car,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A goal whose predicted points are fewer than it needs.",
    why: "The car in the records does not reach the goal of the team. The points that a place needs are the mean of \
            what this place scored in past contests. The interval next to them contains the value of the next contest \
            with a probability of 90 %, as long as the contest and its rules stay similar (prediction interval for \
            one future observation of a normal distribution, with Student's t; standard textbook result).",
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
    for goal in study.goals() {
        // Without the events that have no value, the sum is less than what the car will score.
        let (Some(predicted), Ok(needed)) = (goal.predicted.or(goal.at_least), &goal.needed) else { continue };
        let at_least = if goal.predicted.is_some() { "" } else { "at least " };
        if predicted < needed.points {
            let message = format!(
                "{at_least}{} points are predicted; {:.1} are needed ({:.1} missing)",
                number::with_uncertainty(predicted, goal.uncertainty, 1),
                needed.points,
                needed.points - predicted
            );
            reporter.report(
                goal.index,
                &[],
                message,
                "run `tierod points` to see where they are missing, and `tierod worth` to see which values would add points",
            );
            reporter.measured(Measure::points(needed.points - predicted));
        }
    }
}
