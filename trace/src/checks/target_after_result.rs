//! `target-after-result`: the limit was written once the result was known.

use petgraph::Direction;
use schema::records::Body;

use super::{Check, Group, Inputs, Note, Told, Warning, limits, numbers};
use crate::graph::Link;
use crate::values::Limit;

pub(super) static CHECK: Check = Check {
    name: "target-after-result",
    group: Group::History,
    levels: [Note, Note, Warning, Warning, Warning],
    finds: "A target whose limit was first set, or moved, after the result that meets it, with no revision that says so.",
    why: "A limit that follows the result proves nothing: any car meets the targets that are written after it was \
          measured.",
    mend: "If the change was agreed, write the revision with its reason; else put the limit back and let the result \
           stand as missed.",
    found: "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-01
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}",
    mended:
        "\
# on 2026-12-01
targets:
  rack-force: {of: car, at-most: 300 N}
# on 2027-02-01
targets:
  rack-force: {of: car, at-most: 300 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
# on 2027-02-10
targets:
  rack-force: {of: car, at-most: 320 N}
results:
  rack-pull: {of: rack-force, value: 310 N, date: 2027-01-30, evidence: [chain.yaml]}
revisions:
  rack-force-february:
    {of: rack-force, from: 300 N, to: 320 N, date: 2027-02-09, agreed-by: chief engineer, reason: The rack is stiffer.}",
    run,
};

/// A target whose limit follows a result.
pub(super) struct Found {
    pub(super) target: usize,
    key: &'static str,
    message: String,
}

fn run(inputs: &Inputs<'_, '_>, told: &mut Told) {
    for found in all(inputs) {
        let help = "write the revision if the change was agreed; else put the limit back";
        told.tell(found.target, &[found.key], found.message, help);
    }
}

/// All of them; `unrecorded-revision` does not tell them again.
pub(super) fn all(inputs: &Inputs<'_, '_>) -> Vec<Found> {
    let mut all = Vec::new();
    let Some(history) = inputs.history.filter(|history| history.steps.len() > 1) else { return all };
    for (index, id, target) in limits::targets(inputs) {
        let mut results = inputs.graph.linked(index, Link::Verifies, Direction::Incoming).peekable();
        if results.peek().is_none() {
            continue;
        }
        let moves = history.limit_moves(id);
        let Some((set, before, Some(now))) = moves.last() else { continue };
        let limit = Limit::of(target);
        if !limits::same_limit(&now.limit, &limit) {
            continue;
        }
        if limits::revisions(inputs, index).iter().any(|r| r.to.as_ref().is_some_and(|to| limits::is_limit(target, to)))
        {
            continue;
        }
        let mut first = None;
        for result in results {
            let record = inputs.graph.loaded.record(result);
            let Body::Result(body) = &record.body else { continue };
            let (Some(value), Some(date)) = (&body.value, body.date) else { continue };
            let Some(life) = history.life(record.id.as_str()) else { continue };
            // What came in one commit with its result was written down together, and nobody can tell which was first.
            if life.born == *set || !limit.holds(value.si(), 0.0) {
                continue;
            }
            if life.born < *set || history.steps[*set].no_later_than > date {
                first = first.min(Some((date, result))).or(Some((date, result)));
            }
        }
        let Some((date, result)) = first else { continue };
        let record = inputs.graph.loaded.record(index);
        let step = &history.steps[*set];
        let how = match before {
            Some(before) => format!("moved from {} to {}", before.text, numbers::limit(record)),
            None => format!("first set to {}", numbers::limit(record)),
        };
        let message = format!(
            "the limit of {} was {how} on {} ({}), after the result of {date} that meets it ({})",
            record.name(),
            step.day,
            step.short(),
            inputs.graph.loaded.record(result).id
        );
        all.push(Found { target: index, key: now.key, message });
    }
    all
}
