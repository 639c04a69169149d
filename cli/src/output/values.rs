//! The output of `values`: targets with their limits, events, goals and amounts.

use schema::quantity::Unit;
use schema::records::LimitStyle;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::values::{Key, Limit, Origin, Status, TargetStatus, Values};
use trace::{Loaded, NodeId, RecordId, Study};

use super::numbers::{margin, spread};
use super::table::{Paint, Table, faint, plain, strong};
use crate::screen::Ink;

/// The limit of a target, as it is written.
pub(crate) fn limit_text(loaded: &Loaded, target: RecordId) -> String {
    loaded.target(target).map(|target| target.limit_text(LimitStyle::Signs)).unwrap_or_default()
}

/// A status, painted by how much it needs attention.
pub(crate) fn status(status: Status) -> (String, Paint) {
    let paint = match status {
        Status::Met | Status::OnTarget => Paint::Plain,
        Status::Missed => Paint::Level(Level::Error),
        Status::AtRisk => Paint::Level(Level::Warning),
        Status::NoValue => Paint::Faint,
    };
    (status.word().to_owned(), paint)
}

fn origin(values: &Values, index: RecordId) -> String {
    let id = |index: RecordId| values.graph.loaded.record(index).id.to_string();
    match values.origin(index) {
        Origin::Result(by) | Origin::Analysis(by) => id(by),
        other => other.word().to_owned(),
    }
}

fn shown(values: &Values, node: NodeId) -> String {
    values.spread(node).map_or_else(|| "none".to_owned(), |own| spread(&own, values.unit(node)))
}

/// The text for the terminal.
pub(crate) fn terminal(study: &Study, ink: Ink) -> String {
    let (loaded, values) = (&study.loaded, study.values());
    let mut out = String::new();
    let mut table = Table::new(&[
        ("target", false),
        ("value", true),
        ("limit", true),
        ("margin", true),
        ("status", false),
        ("source", false),
    ])
    .spare(&[5, 3]);
    for target in study.target_statuses() {
        table.row(vec![
            strong(loaded.record(target.index).id.as_str()),
            plain(shown(values, target.node)),
            plain(limit_text(loaded, target.index)),
            plain(margin(target, values.unit(target.node)).unwrap_or_default()),
            status(target.status),
            faint(origin(values, target.index)),
        ]);
    }
    if !table.is_empty() {
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    let mut table = Table::new(&[("event or goal", false), ("points", true), ("source", false)]);
    for (index, record) in loaded.records() {
        if let Some(node) = values.record_node(index).filter(|_| loaded.target(index).is_none()) {
            let points = shown(values, node);
            table.row(vec![strong(record.id.as_str()), plain(points), faint(origin(values, index))]);
        }
    }
    if !table.is_empty() {
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    let mut table = Table::new(&[("amount", false), ("value with growth", true)]);
    for (node, key) in values.nodes() {
        if matches!(key, Key::Group(..)) && values.value(node).is_some() {
            table.row(vec![strong(values.name(node)), plain(shown(values, node))]);
        }
    }
    if !table.is_empty() {
        out.push_str(&table.text(ink));
    }
    if out.is_empty() {
        out.push_str("no target, event, goal or amount yet\n");
    }
    out
}

/// A number for JSON; null if it is missing or not finite.
pub(crate) fn number(value: Option<f64>) -> Value {
    value.filter(|value| value.is_finite()).map_or(Value::Null, |value| json!(value))
}

/// A limit for JSON, in the unit of its value.
pub(crate) fn limit_json(limit: &Limit, unit: &Unit) -> Value {
    let in_unit = |si: f64| number(Some(unit.from_si(si)));
    match (limit.at_least, limit.at_most) {
        (Some(low), Some(high)) => json!({"between": [in_unit(low), in_unit(high)]}),
        (Some(low), None) => json!({"at_least": in_unit(low)}),
        (None, Some(high)) => json!({"at_most": in_unit(high)}),
        (None, None) => Value::Null,
    }
}

/// An upper limit in SI for JSON, in the unit of its value.
pub(crate) fn upper_limit_json(si: f64, unit: &Unit) -> Value {
    limit_json(&Limit { at_least: None, at_most: Some(si) }, unit)
}

/// The JSON answer.
pub(crate) fn json(study: &Study) -> Value {
    let (loaded, values) = (&study.loaded, study.values());
    let entry = |node: NodeId, origin: &str, target: Option<&TargetStatus>| {
        let unit = values.unit(node);
        let spread = values.spread(node);
        let si = spread.as_ref().map(|spread| spread.mean);
        let in_unit = |si: Option<f64>| number(si.map(|si| unit.from_si(si)));
        let limit = target.map(|target| limit_json(&target.limit, unit));
        json!({
            "id": values.name(node),
            "value": in_unit(si),
            "unit": unit.to_string(),
            "si": number(si),
            "uncertainty": number(spread.as_ref().map(|spread| spread.uncertainty / unit.factor())),
            "low": in_unit(spread.as_ref().map(|spread| spread.low)),
            "high": in_unit(spread.as_ref().map(|spread| spread.high)),
            "origin": origin,
            "limit": limit,
            "status": target.map(|target| target.status.word()),
            "margin": target.map(|target| number(target.margin)),
        })
    };
    let mut all = Vec::new();
    for target in study.target_statuses() {
        all.push(entry(target.node, values.origin(target.index).word(), Some(target)));
    }
    for index in loaded.record_ids() {
        if let Some(node) = values.record_node(index).filter(|_| loaded.target(index).is_none()) {
            all.push(entry(node, values.origin(index).word(), None));
        }
    }
    for (node, key) in values.nodes() {
        if matches!(key, Key::Group(..)) && values.value(node).is_some() {
            all.push(entry(node, "total", None));
        }
    }
    json!({"version": 1, "values": all})
}
