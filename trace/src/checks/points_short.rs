//! `points-short`: the car as it is will not reach the goal.

use schema::number;

use super::{Check, Group, Note, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "points-short",
    group: Group::Values,
    levels: [Note, Note, Warning, Warning, Warning],
    reports: "A goal whose predicted points are fewer than it needs.",
    why: "The car as the records have it does not reach what the team set out for. What a place takes is the mean of \
          its totals in past fields; the interval beside it holds the next year's with a probability of 90 % (prediction \
          interval for one more draw from a normal distribution, Student's t: Hahn and Meeker, Statistical Intervals, \
          chapter 4, from memory), as long as the contest and its rules stay alike.",
    fix: "`tierod points` shows where points are lost, and `tierod worth` what would bring them.",
    bad_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth year., lead: team lead}
events:
  hill-climb: {plan: 60 pts, expect: 50 pts, lead: team lead, serves: {podium: It is the only event there.}}",
    good_example: "\
goals:
  podium: {points: 60 pts, reason: It is the tenth year., lead: team lead}
events:
  hill-climb: {plan: 60 pts, expect: 62 pts, lead: team lead, serves: {podium: It is the only event there.}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for goal in study.goals() {
        let (Some(predicted), Ok(needed)) = (goal.predicted, &goal.needed) else { continue };
        if predicted < needed.points {
            let message = format!(
                "{} points are predicted, and {:.1} are needed: {:.1} short",
                number::with_uncertainty(predicted, goal.uncertainty, 1),
                needed.points,
                needed.points - predicted
            );
            reporter.report(
                goal.index,
                &[],
                message,
                "`tierod points` shows where, and `tierod worth` what would bring them",
            );
        }
    }
}
