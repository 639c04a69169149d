//! `no-uncertainty`: a number whose uncertainty matters, and is not known.

use schema::number;
use schema::quantity::Dimension;

use super::{About, Check, Group, Note, Reporter, Study, numbers};
use crate::ids::NodeId;
use crate::measure::Measure;
use crate::values::{Key, Origin, Rule, Status};

/// A margin below this is small, as a ratio to the limit: few measurements of a team are more exact.
const SMALL_MARGIN: f64 = 0.02;
/// The number of inputs that lead: those that change the points most.
const LEADING: usize = 10;
/// An input does not lead if 1 % of it changes the points by less than this share of them.
const LEAST_EFFECT: f64 = 0.001;

pub(super) static CHECK: Check = Check {
    name: "no-uncertainty",
    group: Group::Values,
    about: About::Records,
    levels: [Note; 5],
    reports: "A result without uncertainty that is within 2 % of its limit, except money. For the first goal, one finding \
              for the inputs without uncertainty among the ten that change its points most: targets, amounts of parts, \
              and what the others are expected to drive, if 1 % of them changes the points by 0.1 % or more.",
    why: "Without an uncertainty, a value counts as exact: a result that is barely inside its limit is met, and the \
          interval of the predicted points is too narrow.",
    fix: "Add the expanded uncertainty at 95 %: `4.31 s ± 0.03 s`. A rough one, from the scatter of a few runs or the \
          resolution of the instrument, is better than none.",
    bad_example: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  width-in-march: {of: track-width, value: 1.195 m, date: 2027-03-01, evidence: [chain.yaml]}",
    good_example: "\
targets:
  track-width: {of: car, at-most: 1.2 m}
results:
  width-in-march: {of: track-width, value: 1.195 m ± 0.002 m, date: 2027-03-01, evidence: [chain.yaml]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    results(study, reporter);
    leading_inputs(study, reporter);
}

fn results(study: &Study, reporter: &mut Reporter) {
    let values = study.values();
    for target in study.target_statuses().iter().filter(|target| matches!(target.status, Status::Met | Status::Missed))
    {
        let (Origin::Result(result), Some(margin)) = (values.origin(target.index), target.margin) else { continue };
        let driven = study.graph.driven(target.index).into_iter().rfind(|driven| driven.result == result);
        let (value, route) = match &driven {
            Some(driven) => (Some(driven.value), vec!["reads", driven.name.as_str()]),
            None => (study.loaded.result(result).and_then(|result| result.quantity()), vec!["value"]),
        };
        let is_exact = values.dimension(target.node).currency().is_some();
        if is_exact || margin.abs() >= SMALL_MARGIN || value.is_none_or(|value| value.uncertainty().is_some()) {
            continue;
        }
        let record = study.loaded.record(target.index);
        let shown = numbers::value_text(study, target);
        let message = format!(
            "{}: measured {shown} without uncertainty, {} % from its limit {}",
            record.name(),
            number::rounded(margin.abs() * 100.0, 1),
            numbers::limit_text(record)
        );
        reporter.report(result, &route, message, "add the uncertainty of the measurement: `VALUE ± UNCERTAINTY`");
        reporter.measured(Measure::percent(margin));
    }
}

/// Whether a node is a number that the team estimated or measured: of a target, a part, or what the others drive.
fn is_estimated(study: &Study, node: NodeId) -> bool {
    let values = study.values();
    if !matches!(values.network.nodes[node].rule, Rule::Given(_)) {
        return false;
    }
    match &values.keys[node] {
        Key::Record(_) | Key::Part(..) => true,
        // What the others drive has a unit. The numbers of a rule book are points and ratios, and the inputs of an
        // analysis cannot be distinguished from its constants.
        Key::Local(record, name) => {
            let score = study.loaded.event(*record).and_then(|event| event.score.as_ref());
            let dimension = values.dimension(node);
            let is_rule = dimension.is_one() || dimension == Dimension::points();
            !is_rule && score.is_some_and(|score| score.given.get(name).is_some())
        }
        Key::Group(..) | Key::NotInParts(_) => false,
    }
}

fn leading_inputs(study: &Study, reporter: &mut Reporter) {
    let Some(goal) = study.goals().first() else { return };
    let (Some(points), false) = (goal.predicted.or(goal.at_least), study.is_scored(goal)) else { return };
    let values = study.values();
    let worth = values.worth_without_constants(goal.node);
    let effect = |node: NodeId| Some((node, worth[node] * values.value(node)? / 100.0));
    let leads = |(node, effect): &(NodeId, f64)| {
        *effect != 0.0 && effect.abs() >= LEAST_EFFECT * points.abs() && is_estimated(study, *node)
    };
    let mut leading: Vec<(NodeId, f64)> = NodeId::all(worth.len()).filter_map(effect).filter(leads).collect();
    leading.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()).then(a.0.cmp(&b.0)));
    leading.truncate(LEADING);
    leading.retain(|(node, _)| {
        let is_money = values.dimension(*node).currency().is_some();
        values.network.nodes[*node].uncertainty == 0.0 && !is_money
    });
    if leading.is_empty() {
        return;
    }
    let named = |(node, effect): &(NodeId, f64)| {
        format!("{} ({} points for 1 %)", values.name(*node), number::signed(*effect, 1))
    };
    let list: Vec<String> = leading.iter().map(named).collect();
    let verb = if list.len() == 1 { "has" } else { "have" };
    let message = format!("of the inputs that change the points most, {} {verb} no uncertainty", list.join(", "));
    reporter.report(goal.index, &[], message, "add their uncertainties: `VALUE ± UNCERTAINTY`, a rough one is enough");
}
