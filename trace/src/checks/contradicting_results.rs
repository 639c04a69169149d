//! `contradicting-results`: results of one date, one of which passes and another one fails.

use std::collections::BTreeMap;

use petgraph::Direction;

use super::{ALWAYS_ERROR, About, Check, Group, RecordId, Reporter, Study};
use crate::conclusion::Conclusion;
use crate::graph::Link;

pub(super) static CHECK: Check = Check {
    name: "contradicting-results",
    group: Group::Values,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A record whose latest results have the same date, one of them passes, another one fails, and neither \
              names the other one under `supersedes`.",
    why: "Which of them is valid is not known, so they close no verification.",
    fix: "Name the result that is replaced under `supersedes` of the other one, or correct a date.",
    bad_example: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  width-morning: {of: track-width, value: 1.21 m, date: 2027-03-01, evidence: [chain.yaml]}
  width-evening: {of: track-width, outcome: pass, date: 2027-03-01, evidence: [chain.yaml]}",
    good_example: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  width-morning: {of: track-width, value: 1.21 m, date: 2027-03-01, evidence: [chain.yaml]}
  width-evening:
    {of: track-width, outcome: pass, date: 2027-03-01, evidence: [chain.yaml], supersedes: [width-morning]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    let mut counts: BTreeMap<RecordId, usize> = BTreeMap::new();
    for (id, ..) in study.loaded.results() {
        if let Some(of) = graph.linked(id, Link::Verifies, Direction::Outgoing).next() {
            *counts.entry(of).or_default() += 1;
        }
    }
    for of in counts.into_iter().filter(|(_, count)| *count > 1).map(|(of, _)| of) {
        let planned = study.loaded.verify(of).map(|verify| verify.value.methods()).unwrap_or_default();
        // The results of a method can be older than those of another one.
        let methods = [None].into_iter().chain(planned.into_iter().map(Some));
        let mut latest = methods.map(|method| study.latest_of(of, method));
        let found = latest.find_map(|results| {
            let last = |wanted: Conclusion| results.iter().rfind(|(_, own)| *own == wanted).map(|(id, _)| *id);
            last(Conclusion::Passed).zip(last(Conclusion::Failed))
        });
        let Some((passed, failed)) = found else { continue };
        let id = |result: RecordId| &study.loaded.record(result).id;
        let Some(date) = study.loaded.result(passed).and_then(|result| result.date) else { continue };
        let name = study.loaded.record(of).name();
        let message = format!("{name} passed ({}) and failed ({}) on {date}", id(passed), id(failed));
        let help = "name the result that is replaced under `supersedes` of the other one, or correct a date";
        reporter.report(passed.max(failed), &["date"], message, help);
    }
}
