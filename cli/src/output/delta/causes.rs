//! The causes of changed values, what is left of the change without a cause, and the keys that were edited.

use std::collections::HashMap;
use std::fmt::Write as _;

use schema::number;
use schema::words::shorten;
use serde_json::{Value, json};
use trace::delta::{AmountChange, Cause, Edit, EditedKey, What};

use super::super::values::number as json_number;
use super::{DeltaView, LEAST_POINTS, shown};
use crate::screen::{Ink, clean, count};

/// The largest number of causes to list on the terminal; the rest are counted.
const MOST_CAUSES: usize = 12;
/// The largest number of edited keys to list on the terminal.
const MOST_EDITS: usize = 12;

fn amounts_json(amounts: &[AmountChange]) -> Value {
    let change = |own: &AmountChange| json!({"change": json_number(Some(own.change / own.unit.factor())), "unit": own.unit.to_string()});
    Value::Object(amounts.iter().map(|own| (own.amount.clone(), change(own))).collect())
}

fn key_json(key: Option<&EditedKey>) -> Value {
    key.map_or(Value::Null, |key| json!({"record": key.record, "key": key.key, "text": key.text}))
}

/// The causes of an answer.
pub(super) fn json(view: &DeltaView<'_>) -> Vec<Value> {
    let cause = |cause: &Cause| {
        let in_unit = |si: Option<f64>| json_number(si.map(|si| cause.unit.from_si(si)));
        let [before, after] = &cause.edited;
        json!({
            "id": cause.id,
            "before": in_unit(cause.before),
            "after": in_unit(cause.after),
            "unit": cause.unit.to_string(),
            "affects": cause.affects,
            "points": json_number(cause.points),
            "what": cause.what.word(),
            "edited": {"before": key_json(before.as_ref()), "after": key_json(after.as_ref())},
            "amounts": amounts_json(&cause.amounts),
        })
    };
    view.delta.causes.iter().map(cause).collect()
}

/// What is left of the change; null if nothing is.
pub(super) fn other_json(view: &DeltaView<'_>) -> Value {
    let other = &view.delta.other;
    if other.is_empty() {
        return Value::Null;
    }
    json!({"points": json_number(other.points), "amounts": amounts_json(&other.amounts)})
}

/// The edited keys of an answer.
pub(super) fn edits_json(view: &DeltaView<'_>) -> Vec<Value> {
    let edit = |edit: &Edit| {
        let record = view.loaded()[1].record(edit.head);
        json!({"record": record.id.as_str(), "kind": record.kind().singular(), "key": edit.key,
               "before": edit.before, "after": edit.after})
    };
    view.delta.edits.iter().map(edit).collect()
}

/// A cause before and after as text, as short as possible.
fn sides(cause: &Cause) -> [String; 2] {
    let [before, after, _] = shown(cause.before, cause.after, &cause.unit);
    let text = |side: usize| cause.edited[side].as_ref().map(|key| key.text.clone()).filter(|text| !text.is_empty());
    let or_none = |text: Option<String>| text.unwrap_or_else(|| "none".to_owned());
    match cause.what {
        What::Basis => {
            let with_growth = |side, growth| format!("{} ({growth})", or_none(text(side)));
            [with_growth(0, before), with_growth(1, after)]
        }
        What::Count | What::System | What::Settings => [or_none(text(0)), or_none(text(1))],
        What::Value | What::Source | What::Formula | What::Link | What::Added | What::Removed => [before, after],
    }
}

/// An effect as text: points and amounts of the car; empty without one that is more than rounding.
fn effect(points: Option<f64>, amounts: &[AmountChange]) -> String {
    let points = points.filter(|points| points.abs() >= LEAST_POINTS);
    let points = points.map(|points| format!("{} pts", number::signed(points, 2)));
    let amounts = amounts.iter().filter_map(|own| {
        let change = own.unit.show_change(own.change);
        (!change.starts_with('±')).then(|| format!("{} {change}", own.amount))
    });
    points.into_iter().chain(amounts).collect::<Vec<_>>().join(", ")
}

/// The edited key of a cause as text, for example `hub: amounts.mass.value`; empty without one.
fn edited(cause: &Cause) -> String {
    let name = |key: &EditedKey| match &key.record {
        Some(record) => format!("{record}: {}", key.key),
        None => format!("settings: {}", key.key),
    };
    let with_text = |key: &EditedKey| match cause.what {
        What::Formula => format!(" {}", shorten(&key.text)),
        _ => String::new(),
    };
    match &cause.edited {
        [None, None] => String::new(),
        [Some(before), None] => format!("{} (removed)", name(before)),
        [None, Some(after)] => format!("{} (new)", name(after)),
        [Some(before), Some(after)] if name(before) == name(after) => {
            let (from, to) = (with_text(before), with_text(after));
            if from == to { name(after) } else { format!("{}{from} →{to}", name(after)) }
        }
        [Some(before), Some(after)] => format!("{} → {}", name(before), name(after)),
    }
}

/// The texts of the causes, for templates.
pub(super) fn texts(view: &DeltaView<'_>) -> Vec<Value> {
    let cause = |cause: &Cause| {
        let [before, after] = sides(cause);
        let [.., change] = shown(cause.before, cause.after, &cause.unit);
        json!({"id": cause.id, "before": before, "after": after, "change": change, "affects": view.path(&cause.affects),
               "points": cause.points.map(|points| number::signed(points, 2)),
               "effect": effect(cause.points, &cause.amounts), "edited": edited(cause)})
    };
    view.delta.causes.iter().map(cause).collect()
}

/// The rest of the change as text; empty if nothing is left.
pub(super) fn other_text(view: &DeltaView<'_>) -> String {
    effect(view.delta.other.points, &view.delta.other.amounts)
}

/// The sum of the effects of some causes.
fn sum(causes: &[Cause]) -> (Option<f64>, Vec<AmountChange>) {
    let points = causes.iter().filter_map(|cause| cause.points).reduce(|a, b| a + b);
    let mut amounts: Vec<AmountChange> = Vec::new();
    let mut known: HashMap<&str, usize> = HashMap::new();
    for own in causes.iter().flat_map(|cause| &cause.amounts) {
        let at = *known.entry(&own.amount).or_insert(amounts.len());
        match amounts.get_mut(at) {
            Some(known) => known.change += own.change,
            None => amounts.push(own.clone()),
        }
    }
    amounts.retain(|own| own.change.abs() > 1e-9);
    amounts.sort_by(|a, b| a.amount.cmp(&b.amount));
    (points, amounts)
}

/// The section of the causes on the terminal.
pub(super) fn section(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let causes = &view.delta.causes;
    if causes.is_empty() && view.delta.other.is_empty() {
        return;
    }
    let changes = count(view.delta.values.len(), "value");
    let _ = writeln!(out, "{}", ink.strong(&format!("values: {changes} changed; causes")));
    let after = |text: String| if text.is_empty() { text } else { format!("   {text}") };
    let (listed, more) = causes.split_at(causes.len().min(MOST_CAUSES));
    for cause in listed {
        let [from, to] = sides(cause).map(|text| clean(&text));
        let effect = after(effect(cause.points, &cause.amounts));
        let _ = writeln!(out, "  {}  {from} → {to}{effect}", ink.strong(&clean(&cause.id)));
        let edited = edited(cause);
        if !edited.is_empty() {
            ink.block(out, "edited", 9, &edited);
        }
        if !cause.affects.is_empty() {
            ink.block(out, "affects", 9, &view.path(&cause.affects).join(" → "));
        }
    }
    if !more.is_empty() {
        let (points, amounts) = sum(more);
        let effect = after(effect(points, &amounts));
        let _ = writeln!(out, "  and {} more causes{effect}; `--format json` lists all", more.len());
    }
    let other = other_text(view);
    if !other.is_empty() {
        let _ = writeln!(out, "  other   {other}");
    }
    out.push('\n');
}

/// The section of the edited keys on the terminal.
pub(super) fn edits_section(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let edits = &view.delta.edits;
    if edits.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong(&format!("edited keys ({})", edits.len())));
    let text = |text: &Option<String>| match text.as_deref() {
        None => "none".to_owned(),
        Some("") => "no text".to_owned(),
        Some(text) => shorten(text),
    };
    for edit in edits.iter().take(MOST_EDITS) {
        let record = &view.loaded()[1].record(edit.head).id;
        ink.block(out, "", 0, &format!("{record}: {} {} → {}", edit.key, text(&edit.before), text(&edit.after)));
    }
    if edits.len() > MOST_EDITS {
        let _ = writeln!(out, "  and {} more; `--format json` lists all", edits.len() - MOST_EDITS);
    }
    out.push('\n');
}
