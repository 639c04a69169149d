//! Targets, estimates and verifications.

use std::collections::HashMap;

use schema::quantity::Unit;
use trace::audit::{Audit, EstimateOf, PlannedVerification, TargetAudit, groups};
use trace::conclusion::Conclusion;
use trace::values::{Limit, Status};
use trace::{RecordId, Study};

use super::super::Name;
use super::super::estimates::{Estimates, Group, Pair};
use super::super::target::OneTarget;
use super::super::targets::{Instead, Reading, TargetRow, Targets};
use super::super::verification::{Outcome, Planned, Verification};
use super::name;
use crate::output::values::limit_text;

/// The words for the outcome of a target.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Words {
    /// Its status now: `at risk`.
    Status,
    /// Its verdict in the audit: `never verified`.
    Verdict,
}

/// All targets, those that are missed or at risk first, then those with the least margin.
pub(crate) fn targets(study: &Study, all: &[TargetAudit], words: Words) -> Targets {
    let mut rows: Vec<(f64, TargetRow)> = all
        .iter()
        .map(|audit| {
            let row = target(study, audit, words);
            let margin = row.result.as_ref().or(row.estimate.as_ref()).and_then(|reading| reading.margin);
            (margin.unwrap_or(f64::INFINITY), row)
        })
        .collect();
    rows.sort_by(|(a, one), (b, other)| other.is_bad.cmp(&one.is_bad).then(a.total_cmp(b)));
    Targets { targets: rows.into_iter().map(|(_, row)| row).collect(), interval_words: None }
}

/// One target.
pub(crate) fn target(study: &Study, audit: &TargetAudit, words: Words) -> TargetRow {
    let status = &audit.status;
    let unit = study.values().unit(status.node);
    let [estimate, result] = numbers(audit, words)
        .map(|own| own.map(|(value, uncertainty)| reading(unit, &status.limit, value, uncertainty)));
    let (outcome, is_bad) = match words {
        Words::Status => (status.status.word(), matches!(status.status, Status::Missed | Status::AtRisk)),
        Words::Verdict => (audit.verdict.words(), audit.verdict.is_missed()),
    };
    TargetRow {
        name: name(&study.loaded, status.index),
        limit: limit_text(&study.loaded, status.index),
        estimate,
        result,
        outcome: outcome.to_owned(),
        is_bad,
    }
}

/// The estimate and the result of a target in SI, each with its uncertainty.
fn numbers(audit: &TargetAudit, words: Words) -> [Option<(f64, f64)>; 2] {
    let (status, measured) = (&audit.status, audit.measured());
    // Now, a value without a result of its own may depend on results of others.
    let now = status.value.filter(|_| words == Words::Status && measured.is_none());
    let now = now.map(|value| (value, status.uncertainty));
    let estimate = now.or_else(|| audit.estimate.map(|(value, uncertainty, _)| (value, uncertainty)));
    [estimate, measured.map(|value| (value, audit.measured_uncertainty()))]
}

/// One target on a scale of its own.
pub(crate) fn one_target(study: &Study, audit: &TargetAudit) -> OneTarget {
    let (unit, limit) = (study.values().unit(audit.status.node), &audit.status.limit);
    let shown = |si: f64| unit.from_si(si);
    let [estimate, result] = numbers(audit, Words::Status)
        .map(|own| own.map(|(value, uncertainty)| (shown(value), uncertainty / unit.factor())));
    OneTarget {
        row: target(study, audit, Words::Status),
        unit: unit.to_string(),
        at_least: limit.at_least.map(shown),
        at_most: limit.at_most.map(shown),
        estimate,
        result,
    }
}

fn reading(unit: &Unit, limit: &Limit, value: f64, uncertainty: f64) -> Reading {
    let margin = |value: f64| limit.margin(value).filter(|_| !unit.has_own_zero());
    let ends = [value - uncertainty, value, value + uncertainty].map(margin);
    let known = || ends.iter().flatten().copied();
    let (low, high) = (known().fold(f64::INFINITY, f64::min), known().fold(f64::NEG_INFINITY, f64::max));
    Reading {
        text: unit.show(value, uncertainty),
        margin: margin(value),
        instead: limit.room(value).filter(|_| margin(value).is_none()).map(|room| Instead {
            margin: unit.show_change(room),
            why: if unit.has_own_zero() { format!("no percentage of {unit}") } else { "no percentage of 0".to_owned() },
        }),
        interval: (uncertainty > 0.0 && low <= high).then_some((low, high)),
    }
}

/// The planned verifications.
pub(crate) fn verification(study: &Study) -> Verification {
    let planned = PlannedVerification::all(study).into_iter().map(|own| Planned {
        name: name(&study.loaded, own.index),
        method: own.method.word().to_owned(),
        due: own.due,
        result: own.date,
        outcome: own.conclusion.and_then(outcome),
        safety_critical: study.loaded.record(own.index).safety_critical(),
    });
    Verification { planned: planned.collect(), today: Some(study.day) }
}

fn outcome(conclusion: Conclusion) -> Option<Outcome> {
    match conclusion {
        Conclusion::Passed => Some(Outcome::Passed),
        Conclusion::Failed => Some(Outcome::Failed),
        Conclusion::Uncertain => Some(Outcome::Uncertain),
        Conclusion::Contradicted | Conclusion::Unread => None,
    }
}

/// The estimates with their results.
pub(crate) fn estimates(study: &Study, audit: &Audit) -> Estimates {
    let loaded = &study.loaded;
    let of = |source: &EstimateOf| match source {
        EstimateOf::Target(index) => name(loaded, *index),
        EstimateOf::Part(index, amount) => part_name(study, *index, amount),
    };
    let mut by_group: HashMap<(&str, &str), Vec<&trace::audit::Pair>> = HashMap::new();
    for pair in &audit.pairs {
        by_group.entry((&pair.quantity, &pair.basis)).or_default().push(pair);
    }
    let groups = groups(&audit.pairs).into_iter().map(|group| {
        let pairs = by_group.get(&(group.quantity.as_str(), group.basis.as_str())).into_iter().flatten();
        let pairs = pairs.map(|pair| Pair {
            name: of(&pair.source),
            estimate: pair.unit.show(pair.estimate, pair.uncertainty),
            result: pair.unit.show(pair.result, 0.0),
            error: pair.error(),
            inside: pair.is_inside(),
        });
        Group { title: format!("{}, {}", group.quantity, group.basis), bias: group.bias, pairs: pairs.collect() }
    });
    Estimates { groups: groups.collect() }
}

fn part_name(study: &Study, index: RecordId, amount: &str) -> Name {
    let part = name(&study.loaded, index);
    Name { title: format!("{}: {amount}", part.title), ..part }
}
