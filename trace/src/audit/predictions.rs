//! How good the predictions were: estimate beside result, by quantity and by what the estimate stood on.

use std::collections::BTreeMap;

use foldhash::HashMap;
use schema::quantity::Unit;

use super::season::Season;
use super::targets::TargetAudit;
use crate::ids::RecordId;
use crate::values::{Origin, Values};

/// What an estimate was of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EstimateOf {
    /// A target, by its record.
    Target(RecordId),
    /// An amount of a part, by its record and the amount's name.
    Part(RecordId, String),
}

/// An estimate and what came of it, both in SI.
#[derive(Clone, Debug)]
pub struct Pair {
    /// What it was of.
    pub source: EstimateOf,
    /// The quantity: an amount's name, or the unit's kind.
    pub quantity: String,
    /// What the estimate stood on: a basis of an amount, or where a target's value came from.
    pub basis: String,
    /// The estimate.
    pub estimate: f64,
    /// What was measured.
    pub result: f64,
    /// The unit to show both in.
    pub unit: Unit,
}

impl Pair {
    /// By how much the result is more than the estimate, as a part of it.
    pub fn error(&self) -> f64 {
        self.result / self.estimate - 1.0
    }
}

/// The pairs of one quantity and one basis.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// The quantity.
    pub quantity: String,
    /// The basis.
    pub basis: String,
    /// How many pairs.
    pub size: usize,
    /// The mean of the errors: above zero when things came out more than was expected.
    pub bias: f64,
    /// Their sample standard deviation; none of one pair.
    pub spread: Option<f64>,
    /// The allowance that would have covered nine of ten; none where so many cannot tell.
    pub allowance: Option<f64>,
}

/// The least allowance, added to each estimate, that covers nine tenths of the results; zero where none came out more.
///
/// It is an order statistic: the ceil(0.9 n)-th smallest error. Fewer than ten pairs bound no tenth, so they tell none.
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
    let mut by: BTreeMap<(&str, &str), Vec<f64>> = BTreeMap::new();
    for pair in pairs {
        by.entry((&pair.quantity, &pair.basis)).or_default().push(pair.error());
    }
    by.into_iter()
        .map(|((quantity, basis), errors)| {
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
            }
        })
        .collect()
}

/// Every target with an estimate and a measured value; every amount of a part that ended on the surest basis.
pub(super) fn pairs(values: &Values, targets: &[TargetAudit], season: Option<&Season>) -> Vec<Pair> {
    let mut pairs = Vec::new();
    for target in targets {
        let index = target.status.index;
        let (Origin::Result(_), Some(result), Some((estimate, _, origin))) =
            (values.origin(index), target.status.value, target.estimate)
        else {
            continue;
        };
        let unit = values.unit(target.status.node).clone();
        // A ratio says nothing about a zero that somebody chose.
        if estimate == 0.0 || unit.from_si(0.0) != 0.0 {
            continue;
        }
        let quantity = match origin {
            Origin::Total => amount_of(values, index),
            _ => unit.dimension().quantity_name().to_owned(),
        };
        let basis = origin.word().to_owned();
        pairs.push(Pair { source: EstimateOf::Target(index), quantity, basis, estimate, result, unit });
    }
    if let Some(season) = season {
        parts(values, season, &mut pairs);
    }
    pairs
}

fn amount_of(values: &Values, index: RecordId) -> String {
    let total = values.graph.loaded.target(index).and_then(|target| target.total.as_ref());
    total.map(ToString::to_string).unwrap_or_default()
}

/// A part's estimate on each basis it stood on, the last one of each, beside what it ended as.
fn parts(values: &Values, season: &Season, pairs: &mut Vec<Pair>) {
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
            let Some(sure) = surest.get(name) else { continue };
            if amount.basis.as_ref().is_none_or(|basis| basis.as_str() != *sure) {
                continue;
            }
            let Some(steps) = season.amounts.get(&format!("{}.{name}", record.id)) else { continue };
            let (dimension, result, _) = values.in_team(&amount.value);
            let mut last: BTreeMap<&str, f64> = BTreeMap::new();
            for step in steps {
                let basis = step.basis.as_deref().or(first.get(name).copied()).unwrap_or("");
                let (of, value, _) = values.in_team(&step.value);
                if basis != *sure && of == dimension && value != 0.0 {
                    last.insert(basis, value);
                }
            }
            let unit = amount.value.unit().clone();
            pairs.extend(last.into_iter().map(|(basis, estimate)| Pair {
                source: EstimateOf::Part(index, name.to_owned()),
                quantity: name.to_owned(),
                basis: basis.to_owned(),
                estimate,
                result,
                unit: unit.clone(),
            }));
        }
    }
}
