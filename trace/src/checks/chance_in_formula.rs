//! `chance-in-formula`: a score formula multiplies the points by the share of starts that finish.

use super::{About, Check, Group, Note, RecordId, Reporter, Study};
use crate::values::{Key, Values};

/// How exactly the points must follow the share.
const PROPORTIONAL: f64 = 1e-9;

pub(super) static CHECK: Check = Check {
    name: "chance-in-formula",
    group: Group::Values,
    about: About::Records,
    levels: [Note; 5],
    reports: "A score formula with several inputs that multiplies the points by one of them, a number between 0 and 1, \
              as if 90 % of the cars finished with 90 % of the points.",
    why: "A car finishes or it does not. The mean is the same, but no season ends with it: the interval around it \
          contains neither of the two outcomes, and other events that need a finish keep their points.",
    fix: "Name the value under `chance` of the event, and remove it from `reads` and from the formula. Add it to each \
          event that scores nothing without a finish.",
    bad_example: "\
targets:
  finish-share: {of: car, at-least: 80 %, estimate: 90 %}
  lap-time: {of: car, at-most: 64 s, estimate: 63 s}
events:
  long-run:
    plan: 80 pts
    reads: {time: lap-time, finish: finish-share}
    score: {formula: finish * 100 pts * (60 s / time)}",
    good_example: "\
targets:
  finish-share: {of: car, at-least: 80 %, estimate: 90 %}
  lap-time: {of: car, at-most: 64 s, estimate: 63 s}
events:
  long-run:
    plan: 70 pts
    chance: finish-share
    reads: {time: lap-time}
    score: {formula: 100 pts * (60 s / time)}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let values = study.values();
    for (index, record, event) in study.loaded.events() {
        if event.chance.is_some() {
            continue;
        }
        for target in named_shares(study, index) {
            let id = &study.loaded.record(target).id;
            let message = format!("{} multiplies its points by the share `{id}`", record.name());
            let help = format!("remove `{id}` from the formula, and add `chance: {id}`");
            reporter.report(index, &["score", "formula"], message, help);
        }
        if event.reads.keys().count() < 2 {
            continue;
        }
        for (name, text) in event.reads.iter() {
            let (Some(node), Some(local)) =
                (values.record_node(index), values.node(&Key::Local(index, name.as_str().into())))
            else {
                continue;
            };
            if values.network.nodes[node].inputs.contains(&local) && is_share_of_points(values, node, local) {
                let message = format!("{} multiplies its points by the share `{name}`", record.name());
                let help =
                    format!("remove `{name}` from `reads` and from the formula, and add `chance: {}`", text.text());
                reporter.report(index, &["reads", name.as_str()], message, help);
            }
        }
    }
}

/// The targets that the formula of an event names itself, and that are a share of its points.
fn named_shares(study: &Study, event: RecordId) -> Vec<RecordId> {
    let values = study.values();
    let Some(node) = values.record_node(event) else { return Vec::new() };
    let targets = values.network.nodes[node].inputs.iter().filter_map(|input| match values.keys[*input] {
        Key::Record(target) if study.loaded.target(target).is_some() => Some((target, *input)),
        _ => None,
    });
    targets.filter(|(_, input)| is_share_of_points(values, node, *input)).map(|(target, _)| target).collect()
}

/// Whether points are a number between 0 and 1 times something else.
fn is_share_of_points(values: &Values, points: crate::NodeId, share: crate::NodeId) -> bool {
    let (Some(now), Some(own)) = (values.value(points), values.value(share)) else { return false };
    if now <= 0.0 || own <= 0.0 || own > 1.0 || !values.dimension(share).is_one() {
        return false;
    }
    let Some(mut response) = values.network.response(&values.state, share, points) else { return false };
    [0.5, 0.25].into_iter().all(|part| {
        let then = response.result_for(own * part);
        (then - now * part).abs() <= PROPORTIONAL * now
    })
}
