//! `no-uncertainty`: a number whose uncertainty matters, and is not known.

use schema::number;

use super::{About, Check, Group, Note, RecordId, Reporter, Study, numbers};
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
        let value = study.loaded.result(result).and_then(|result| result.value.as_ref());
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
        reporter.report(result, &["value"], message, "add the uncertainty of the measurement: `VALUE ± UNCERTAINTY`");
        reporter.measured(Measure::percent(margin));
    }
}

/// The value of a record or a part that is given as a number: the record, and the keys of the number.
fn given(study: &Study, node: NodeId) -> Option<(RecordId, Vec<String>)> {
    let values = study.values();
    if !matches!(values.network.nodes[node].rule, Rule::Given(_)) {
        return None;
    }
    match &values.keys[node] {
        Key::Record(record) => Some((*record, Vec::new())),
        Key::Part(record, amount) => {
            Some((*record, vec!["amounts".to_owned(), values.amounts()[usize::from(*amount)].to_string()]))
        }
        // What the others drive has a unit. The numbers of a rule book are points and ratios, and the inputs of an
        // analysis cannot be distinguished from its constants.
        Key::Local(record, name) => {
            let event = study.loaded.event(*record)?;
            event.score.as_ref()?.given.get(name)?;
            let dimension = values.dimension(node);
            let is_rule = dimension.is_one() || dimension == schema::quantity::Dimension::points();
            (!is_rule).then(|| (*record, vec!["score".to_owned(), "given".to_owned(), name.to_string()]))
        }
        Key::Group(..) | Key::NotInParts(_) => None,
    }
}

fn leading_inputs(study: &Study, reporter: &mut Reporter) {
    let Some(goal) = study.goals().first() else { return };
    let (Some(points), false) = (goal.predicted, study.is_scored(goal)) else { return };
    let values = study.values();
    let leading = values.worth_of_leaves(&values.worth_of_all(goal.node));
    let leading = leading.into_iter().filter(|worth| worth.per_percent.abs() >= LEAST_EFFECT * points.abs());
    let leading = leading.filter(|worth| given(study, worth.node).is_some()).take(LEADING);
    let is_exact =
        |node: NodeId| values.network.nodes[node].uncertainty > 0.0 || values.dimension(node).currency().is_some();
    let without: Vec<_> = leading.filter(|worth| !is_exact(worth.node)).collect();
    let named = |worth: &crate::values::Worth| {
        let points = number::signed(worth.per_percent, 1);
        format!("{} ({points} points for 1 %)", values.name(worth.node))
    };
    if without.is_empty() {
        return;
    }
    let (verb, list) = (if without.len() == 1 { "has" } else { "have" }, without.iter().map(named).collect::<Vec<_>>());
    let message = format!("of the inputs that change the points most, {} {verb} no uncertainty", list.join(", "));
    reporter.report(goal.index, &[], message, "add their uncertainties: `VALUE ± UNCERTAINTY`, a rough one is enough");
}
