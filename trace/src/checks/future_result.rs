//! `future-result`: a result with a date in the future.

use super::{About, Check, Group, Reporter, Study, Warning};
use schema::Day;

pub(super) static CHECK: Check = Check {
    name: "future-result",
    group: Group::Verification,
    about: About::Records,
    levels: [Warning; 5],
    reports: "A result dated more than one day after the date used as today.",
    why: "A measurement that was not made yet counts like any other: targets are shown as met, and points as scored.",
    fix: "Correct the date. To see the records as they were on an earlier date, name a commit of that date with \
          `--rev`: `--on` changes only the date used as today.",
    bad_example: "\
results:
  weighing-june: {of: circle-time, value: 5.1 s, date: 2028-06-02, evidence: [chain.yaml]}",
    good_example: "\
results:
  weighing-june: {of: circle-time, value: 5.1 s, date: 2027-03-02, evidence: [chain.yaml]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, record, result) in study.loaded.results() {
        let Some(date) = result.date.filter(|date| is_in_future(study.day, *date)) else { continue };
        let message = format!("{} is dated {date}, which is after {}", record.name(), study.day);
        reporter.report(index, &["date"], message, "correct the date, or name a commit of that date with `--rev`");
    }
}

/// Whether a date is more than one day after today. One day is accepted, because of the time zones of the world.
pub(crate) fn is_in_future(today: Day, date: Day) -> bool {
    today.days_until(date) > 1
}
