//! `future-result`: a measurement that has not been made yet.

use super::{Check, Group, Reporter, Study, Warning};
use schema::Day;

pub(super) static CHECK: Check = Check {
    name: "future-result",
    group: Group::Verification,
    levels: [Warning; 5],
    reports: "A result dated more than a day after the day that the checks reckon with.",
    why: "What has not been measured yet counts all the same: targets are told as met, and points as scored.",
    fix: "Mend the date. To see the records as they were on an earlier day, name a commit of it with `--rev`: `--on` moves \
           the day and nothing else.",
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
        reporter.report(index, &["date"], message, "mend the date, or name a commit of that day with `--rev`");
    }
}

/// Is a day more than one after another? Somewhere in the world it is tomorrow already.
pub(crate) fn is_in_future(today: Day, day: Day) -> bool {
    today.days_until(day) > 1
}
