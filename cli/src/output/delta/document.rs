//! The JSON answer of `delta`, and the data for its template.

use serde_json::{Value, json};
use trace::RecordId;
use trace::delta::{HeadlineOf, MeasureChange};

use super::super::broken::notes;
use super::super::json::{findings, source};
use super::super::points;
use super::super::values::number as json_number;
use super::changes::{measure_texts, rule_texts};
use super::{DeltaView, causes, headline_shown, limits, renames, shown, state_name};

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
    let [errors, warnings, notices] = view.counts();
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
    let mut answer = json!({
        "version": 1,
        "base": source(old),
        "head": source(new),
        "base_reason": view.found.how,
        "day": view.head.day.to_string(),
        "shallow": view.found.shallow,
        "new": findings(&delta.new, new),
        "fixed": findings(&delta.fixed, old),
        "unchanged": delta.unchanged.len(),
        "counts": {"error": level(errors), "warning": level(warnings), "note": level(notices)},
        "records": {
            "added": ids(new, &delta.added),
            "removed": ids(old, &delta.removed),
            "renamed": renamed,
            "edited": ids(new, &edited),
        },
        "values": values,
        "causes": causes::json(view),
        "other": causes::other_json(view),
        "edits": causes::edits_json(view),
        "renamed": renames::json(view),
        "status_changes": status_changes,
        "limits_changed": limits::json(view),
        "points": points.map(|line| json!({"before": json_number(line.before), "after": json_number(line.after), "low": json_number(line.interval.map(|(low, _)| low)), "high": json_number(line.interval.map(|(_, high)| high))})),
        "amounts": amounts,
        "broken": {"base": points::broken(view.base).json(), "head": points::broken(view.head).json()},
    });
    let changes = view.changes().json(delta.stops.request);
    if let (Some(answer), Value::Object(changes)) = (answer.as_object_mut(), changes) {
        answer.extend(changes);
    }
    answer
}

/// The data for the template: the JSON answer, and its numbers as text.
pub(crate) fn context(view: &DeltaView<'_>) -> Value {
    let mut context = json(view);
    let texts = |[before, after, change]: [String; 3]| json!({"before": before, "after": after, "change": change});
    let headline: Vec<Value> = view
        .headlines()
        .iter()
        .map(|line| {
            let mut text = texts(headline_shown(line));
            text["name"] = json!(view.headline_name(line));
            text
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
    // A template must not name a key that is missing, so every finding gets them.
    for list in ["new", "fixed", "uncovered", "worse", "better"] {
        for finding in context[list].as_array_mut().into_iter().flatten() {
            for key in ["waiver", "measure"] {
                if finding.get(key).is_none() {
                    finding[key] = Value::Null;
                }
            }
        }
    }
    let measures = |changes: &[MeasureChange]| -> Value {
        let texts = changes.iter().map(measure_texts);
        texts.map(|[before, after]| json!({"before": before, "after": after})).collect()
    };
    let rules = view.delta.settings.iter().map(|rule| {
        let [before, after] = rule_texts(rule);
        json!({"key": rule.key, "before": before, "after": after, "hidden": rule.hidden})
    });
    let rules: Vec<Value> = rules.collect();
    let [old, new] = view.loaded().map(state_name);
    let incomplete: Vec<String> = [view.base, view.head].into_iter().flat_map(notes).collect();
    context["shown"] = json!({
        "base": old,
        "head": new,
        "how": view.found.how,
        "incomplete": incomplete,
        "headline": headline,
        "causes": causes::texts(view),
        "other": causes::other_text(view),
        "values": values,
        "limits_changed": limits::texts(view),
        "worse": measures(&view.delta.worse),
        "better": measures(&view.delta.better),
        "settings": rules,
        "empty": view.delta.is_empty(),
    });
    context
}
