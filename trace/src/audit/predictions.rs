//! How good the predictions were: estimates with their results, by quantity and by basis of the estimate.

use std::collections::BTreeMap;

use foldhash::HashMap;
use schema::quantity::Unit;

use super::season::Season;
use super::targets::TargetAudit;
use crate::ids::RecordId;
use crate::values::{LARGEST, Origin, Values};

/// The target or amount that an estimate is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EstimateOf {
    /// A target, by its record.
    Target(RecordId),
    /// An amount of a part, by its record and the amount's name.
    Part(RecordId, String),
}

/// An estimate and its result, both in SI.
#[derive(Clone, Debug)]
pub struct Pair {
    /// The target or amount.
    pub source: EstimateOf,
    /// The quantity: an amount's name, or the unit's kind.
    pub quantity: String,
    /// The basis of the estimate: that of an amount, or the origin of a target's value.
    pub basis: String,
    /// The estimate.
    pub estimate: f64,
    /// The expanded uncertainty (k = 2) of the estimate; zero if it has none.
    pub uncertainty: f64,
    /// The measured value.
    pub result: f64,
    /// The unit to show both in.
    pub unit: Unit,
}

impl Pair {
    /// The difference of result and estimate, relative to the estimate: above zero if the result is higher.
    pub fn error(&self) -> f64 {
        self.result / self.estimate - 1.0
    }

    /// Whether the result is inside the interval of the estimate; `None` if the estimate has no uncertainty.
    pub fn is_inside(&self) -> Option<bool> {
        is_inside(self.result, self.estimate, self.uncertainty)
    }
}

/// Whether a result is inside the interval of an estimate; `None` without an uncertainty. One part in 10^9 is ignored.
pub(super) fn is_inside(result: f64, estimate: f64, uncertainty: f64) -> Option<bool> {
    (uncertainty > 0.0).then(|| (result - estimate).abs() <= uncertainty + 1e-9 * estimate.abs())
}

/// How many are inside, and how many there are.
fn count_inside(all: impl Iterator<Item = bool>) -> (usize, usize) {
    all.fold((0, 0), |(inside, all), is_inside| (inside + usize::from(is_inside), all + 1))
}

/// How many results are inside the interval of their estimate, and how many estimates have one. A target counts also if
/// its unit has no ratio (degrees Celsius), so that it is no pair.
pub(super) fn inside(targets: &[TargetAudit], pairs: &[Pair]) -> (usize, usize) {
    let parts = pairs.iter().filter(|pair| matches!(pair.source, EstimateOf::Part(..)));
    let of_targets = targets.iter().filter_map(TargetAudit::is_inside_estimate);
    count_inside(of_targets.chain(parts.filter_map(Pair::is_inside)))
}

/// The pairs of one quantity and one basis.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The quantity.
    pub quantity: String,
    /// The basis.
    pub basis: String,
    /// The number of pairs.
    pub size: usize,
    /// The mean of the errors: above zero if results were higher than estimates.
    pub bias: f64,
    /// The sample standard deviation of the errors; `None` for one pair.
    pub spread: Option<f64>,
    /// The allowance that covers nine of ten results; `None` for fewer than ten pairs.
    pub allowance: Option<f64>,
    /// The number of results inside the interval of their estimate.
    pub inside: usize,
    /// The number of estimates with an interval.
    pub with_interval: usize,
}

/// The smallest allowance, added to each estimate, that covers nine of ten results; zero if no result is higher.
///
/// It is an order statistic: the ceil(0.9 n)-th smallest error. Fewer than ten pairs give no allowance, because their
/// largest error bounds no tenth.
pub fn allowance(errors: &[f64]) -> Option<f64> {
    if errors.len() < 10 {
        return None;
    }
    let mut sorted = errors.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (errors.len() * 9).div_ceil(10);
    Some(sorted[rank - 1].max(0.0))
}

/// The pairs by quantity and basis.
pub fn groups(pairs: &[Pair]) -> Vec<Group> {
    let mut by: BTreeMap<(&str, &str), Vec<&Pair>> = BTreeMap::new();
    for pair in pairs {
        by.entry((&pair.quantity, &pair.basis)).or_default().push(pair);
    }
    by.into_iter()
        .map(|((quantity, basis), pairs)| {
            let errors: Vec<f64> = pairs.iter().map(|pair| pair.error()).collect();
            let (inside, with_interval) = count_inside(pairs.iter().filter_map(|pair| pair.is_inside()));
            let size = errors.len() as f64;
            let bias = errors.iter().sum::<f64>() / size;
            let squares: f64 = errors.iter().map(|error| (error - bias).powi(2)).sum();
            let spread = (errors.len() > 1).then(|| (squares / (size - 1.0)).sqrt());
            Group {
                quantity: quantity.to_owned(),
                basis: basis.to_owned(),
                size: errors.len(),
                bias,
                spread,
                allowance: allowance(&errors),
                inside,
                with_interval,
            }
        })
        .collect()
}

/// The pairs of all targets with an estimate and a measured value, and of all amounts of parts that reached the surest
/// basis.
pub(super) fn pairs(values: &Values, targets: &[TargetAudit], season: Option<&Season>) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for target in targets {
        let index = target.status.index;
        let (Origin::Result(_), Some(result), Some((estimate, uncertainty, origin))) =
            (values.origin(index), target.status.value, target.estimate)
        else {
            continue;
        };
        let unit = values.unit(target.status.node).clone();
        // A ratio has no meaning for a unit with an arbitrary zero, such as degrees Celsius.
        if estimate == 0.0 || unit.from_si(0.0) != 0.0 {
            continue;
        }
        let quantity = match origin {
            Origin::Total => amount_of(values, index),
            _ => unit.dimension().quantity_name().to_owned(),
        };
        let basis = origin.word().to_owned();
        pairs.push(Pair { source: EstimateOf::Target(index), quantity, basis, estimate, uncertainty, result, unit });
    }
    if let Some(season) = season {
        part_pairs(values, season, &mut pairs);
    }
    // What overflows is missing.
    let is_number = |pair: &Pair| {
        [pair.estimate, pair.result, pair.uncertainty, pair.error()].iter().all(|number| number.abs() <= LARGEST)
    };
    pairs.retain(is_number);
    pairs
}

/// The amount that a target limits the total of.
fn amount_of(values: &Values, index: RecordId) -> String {
    let total = values.graph.loaded.target(index).and_then(|target| target.total.as_ref());
    total.map(ToString::to_string).unwrap_or_default()
}

/// Adds the pairs of parts: the last estimate on each basis, with the final value.
fn part_pairs(values: &Values, season: &Season, pairs: &mut Vec<Pair>) {
    let loaded = &values.graph.loaded;
    let surest: HashMap<&str, &str> = loaded
        .settings()
        .growth
        .iter()
        .filter_map(|(amount, bases)| Some((amount.as_str(), bases.keys().last()?.as_str())))
        .collect();
    let first: HashMap<&str, &str> = loaded
        .settings()
        .growth
        .iter()
        .filter_map(|(amount, bases)| Some((amount.as_str(), bases.keys().next()?.as_str())))
        .collect();
    for (index, record, part) in loaded.parts() {
        for (name, amount) in part.amounts.iter() {
            let name = name.as_str();
            let Some(surest) = surest.get(name) else { continue };
            if amount.basis.as_ref().is_none_or(|basis| basis.as_str() != *surest) {
                continue;
            }
            let Some(past) = season.amounts.get(&format!("{}.{name}", record.id)) else { continue };
            let Some(measured) = amount.value.quantity() else { continue };
            let (dimension, result, _) = values.in_team(measured);
            let mut last: BTreeMap<&str, (f64, f64)> = BTreeMap::new();
            for past in past {
                let basis = past.basis.as_deref().or(first.get(name).copied()).unwrap_or("");
                let (past_dimension, value, uncertainty) = values.in_team(&past.value);
                if basis != *surest && past_dimension == dimension && value != 0.0 {
                    last.insert(basis, (value, uncertainty));
                }
            }
            let unit = measured.unit().clone();
            pairs.extend(last.into_iter().map(|(basis, (estimate, uncertainty))| Pair {
                source: EstimateOf::Part(index, name.to_owned()),
                quantity: name.to_owned(),
                basis: basis.to_owned(),
                estimate,
                uncertainty,
                result,
                unit: unit.clone(),
            }));
        }
    }
}
