//! The output of `values`: targets with their limits, events, goals and amounts.

use schema::quantity::Unit;
use schema::records::LimitStyle;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::values::{Key, Limit, Origin, Status, TargetStatus, Values};
use trace::{Loaded, NodeId, RecordId, Study};

use super::broken::Broken;
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
        Status::AtRisk | Status::Uncertain => Paint::Level(Level::Warning),
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
    let known = values.whole_value(node).and_then(|_| values.spread(node));
    known.map_or_else(|| "none".to_owned(), |own| spread(&own, values.unit(node)))
}

/// What is broken under all values.
pub(crate) fn broken(study: &Study) -> Broken<'_> {
    let values = study.values();
    let asked: Vec<NodeId> = values.nodes().map(|(node, _)| node).collect();
    Broken::under(values, &asked, &[]).without_missing()
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
    let totals: Vec<NodeId> =
        values.nodes().filter(|(_, key)| matches!(key, Key::Group(..))).map(|(node, _)| node).collect();
    let is_measured = totals.iter().any(|node| values.not_in_parts(*node).is_some_and(|more| more != 0.0));
    let heads = [("amount", false), ("value with growth", true), ("not in the parts", true)];
    let mut table = Table::new(if is_measured { &heads } else { &heads[..2] });
    for node in totals {
        let whole = values.whole(node);
        if values.value(whole).is_some() {
            let difference =
                values.not_in_parts(node).filter(|more| *more != 0.0).map(|more| values.unit(whole).show_change(more));
            let cells = [strong(values.name(node)), plain(shown(values, whole)), plain(difference.unwrap_or_default())];
            table.row(cells.into_iter().take(if is_measured { 3 } else { 2 }).collect());
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
    // A zero has no sign.
    value.filter(|value| value.is_finite()).map_or(Value::Null, |value| json!(value + 0.0))
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
pub(crate) fn json(study: &Study, broken: &Broken<'_>) -> Value {
    let (loaded, values) = (&study.loaded, study.values());
    let entry = |node: NodeId, origin: &str, target: Option<&TargetStatus>| {
        let unit = values.unit(node);
        let whole = values.whole(node);
        let spread = values.whole_value(whole).and_then(|_| values.spread(whole));
        let si = spread.as_ref().map(|spread| spread.mean);
        let in_unit = |si: Option<f64>| number(si.map(|si| unit.from_si(si)));
        let not_in_parts = values.not_in_parts(node).map(|more| more / unit.factor());
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
            "conformance": number(target.and_then(|target| target.conformance)),
            "not_in_parts": number(not_in_parts),
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
        let whole = values.whole(node);
        if matches!(key, Key::Group(..)) && values.value(whole).is_some() {
            all.push(entry(node, if whole == node { "total" } else { "result" }, None));
        }
    }
    json!({"version": 1, "broken": broken.json(), "values": all})
}
