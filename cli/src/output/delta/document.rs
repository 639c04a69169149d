//! The JSON answer of `delta`, and the data for its template.

use schema::number;
use schema::quantity::Unit;
use serde_json::{Value, json};
use trace::RecordId;
use trace::delta::HeadlineOf;
use trace::values::Limit;

use super::super::json::{findings, source};
use super::super::values::{limit_json, number as json_number};
use super::{DeltaView, shown, state_name};

/// The JSON answer: version 1, stable.
pub(crate) fn json(view: &DeltaView<'_>) -> Value {
    let (delta, [old, new]) = (view.delta, view.loaded());
    let values: Vec<Value> = delta
        .values
        .iter()
        .map(|value| {
            let (id, unit) = view.value(value);
            let in_unit = |si: Option<f64>| json_number(si.map(|si| unit.from_si(si)));
            json!({"id": id, "before": in_unit(value.before), "after": in_unit(value.after), "unit": unit.to_string()})
        })
        .collect();
    let limits: Vec<Value> = delta
        .limits
        .iter()
        .map(|limit| {
            let (id, _, revision) = view.limit(limit);
            let limit_of = |loaded: &trace::Loaded, index| loaded.target(index).map(Limit::from_target);
            let written = |loaded: &trace::Loaded, index| {
                loaded.target(index)?.limit().next().map(|(_, quantity)| quantity.unit().clone())
            };
            let (was, is) = (written(old, limit.base), written(new, limit.head));
            let unit = is.as_ref().or(was.as_ref()).cloned().unwrap_or_else(Unit::dimensionless);
            let fits = was.is_none_or(|was| was.dimension() == unit.dimension());
            let shown = |limit: Option<Limit>| limit.map(|limit| limit_json(&limit, &unit));
            json!({"id": id, "before": shown(limit_of(old, limit.base).filter(|_| fits)),
                   "after": shown(limit_of(new, limit.head)), "unit": unit.to_string(), "revision": revision})
        })
        .collect();
    let causes: Vec<Value> = delta
        .causes
        .iter()
        .map(|cause| {
            let (id, unit) = view.value(&cause.value);
            let in_unit = |si: Option<f64>| json_number(si.map(|si| unit.from_si(si)));
            json!({
                "id": id,
                "before": in_unit(cause.value.before),
                "after": in_unit(cause.value.after),
                "unit": unit.to_string(),
                "affects": view.affects(cause),
                "points": json_number(cause.points),
            })
        })
        .collect();
    let headlines = view.headlines();
    let points = headlines.iter().find(|line| matches!(line.of, HeadlineOf::Points(_)));
    let amounts: serde_json::Map<String, Value> = headlines
        .iter()
        .filter_map(|line| match &line.of {
            HeadlineOf::Amount(name) => Some((name, line)),
            HeadlineOf::Points(_) => None,
        })
        .map(|(name, line)| {
            let in_unit = |si: Option<f64>| json_number(si.map(|si| line.unit.from_si(si)));
            let both =
                json!({"before": in_unit(line.before), "after": in_unit(line.after), "unit": line.unit.to_string()});
            (name.clone(), both)
        })
        .collect();
    let [errors, warnings, notes] = view.counts();
    let level = |[before, after]: [usize; 2]| json!({"before": before, "after": after});
    let ids = |loaded: &trace::Loaded, list: &[RecordId]| {
        list.iter()
            .map(|index| {
                let record = loaded.record(*index);
                json!({"id": record.id.as_str(), "kind": record.kind().singular()})
            })
            .collect::<Vec<_>>()
    };
    let renamed: Vec<Value> = delta
        .renamed
        .iter()
        .map(|(from, to)| {
            json!({"id": new.record(*to).id.as_str(), "before": old.record(*from).id.as_str(),
                   "kind": new.record(*to).kind().singular()})
        })
        .collect();
    let edited: Vec<RecordId> = delta.edited.iter().map(|(_, index)| *index).collect();
    let status_changes: Vec<Value> = view
        .status_changes()
        .into_iter()
        .map(|(id, before, after)| json!({"id": id, "before": before, "after": after}))
        .collect();
    json!({
        "version": 1,
        "base": source(old),
        "head": source(new),
        "day": view.head.day.to_string(),
        "shallow": view.found.shallow,
        "new": findings(&delta.new, new),
        "fixed": findings(&delta.fixed, old),
        "unchanged": delta.unchanged.len(),
        "counts": {"error": level(errors), "warning": level(warnings), "note": level(notes)},
        "records": {
            "added": ids(new, &delta.added),
            "removed": ids(old, &delta.removed),
            "renamed": renamed,
            "edited": ids(new, &edited),
        },
        "values": values,
        "causes": causes,
        "status_changes": status_changes,
        "limits_changed": limits,
        "points": points.map(|line| json!({"before": json_number(line.before), "after": json_number(line.after)})),
        "amounts": amounts,
    })
}

/// The data for the template: the JSON answer, and its numbers as text.
pub(crate) fn context(view: &DeltaView<'_>) -> Value {
    let mut context = json(view);
    let texts = |[before, after, change]: [String; 3]| json!({"before": before, "after": after, "change": change});
    let headline: Vec<Value> = view
        .headlines()
        .iter()
        .map(|line| {
            let mut text = texts(shown(line.before, line.after, &line.unit));
            text["name"] = json!(view.headline_name(line));
            text
        })
        .collect();
    let causes: Vec<Value> = view
        .delta
        .causes
        .iter()
        .map(|cause| {
            let (id, unit) = view.value(&cause.value);
            let mut shown = texts(shown(cause.value.before, cause.value.after, unit));
            shown["id"] = json!(id);
            shown["affects"] = json!(view.affects(cause));
            shown["points"] = json!(cause.points.map(|points| number::signed(points, 2)));
            shown
        })
        .collect();
    let values: Vec<Value> = view
        .delta
        .values
        .iter()
        .map(|value| {
            let (id, unit) = view.value(value);
            let mut shown = texts(shown(value.before, value.after, unit));
            shown["id"] = json!(id);
            shown
        })
        .collect();
    let limits: Vec<Value> = view
        .delta
        .limits
        .iter()
        .map(|limit| {
            let (_, [before, after], _) = view.limit(limit);
            json!({"before": before, "after": after})
        })
        .collect();
    // A template must not name a key that is missing, so every finding gets one.
    for list in ["new", "fixed"] {
        for finding in context[list].as_array_mut().into_iter().flatten() {
            if finding.get("waiver").is_none() {
                finding["waiver"] = Value::Null;
            }
        }
    }
    let [old, new] = view.loaded().map(state_name);
    let incomplete: Vec<String> = view.loaded().into_iter().filter_map(super::super::incomplete).collect();
    context["shown"] = json!({
        "base": old,
        "head": new,
        "how": view.found.how,
        "incomplete": incomplete,
        "headline": headline,
        "causes": causes,
        "values": values,
        "limits_changed": limits,
        "empty": view.delta.is_empty(),
    });
    context
}
