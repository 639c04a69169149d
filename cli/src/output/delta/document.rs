//! The JSON answer of `delta`, and the data for its template.

use std::collections::HashMap;
use std::fmt::Write as _;

use serde_json::{Value, json};
use trace::RecordId;
use trace::delta::{BudgetChange, Headline, HeadlineOf, MeasureChange};
use trace::values::Status;

use super::super::broken::notes;
use super::super::json::{findings, source};
use super::super::points;
use super::super::values::{number as json_number, upper_limit_json};
use super::changes::{measure_texts, rule_texts};
use super::links::Links;
use super::{DeltaView, causes, first, headline_shown, limits, renames, shown, state_name};

/// The intervals of points before and after; null if they are not known.
fn intervals(line: &Headline) -> Value {
    let ends = |at: usize| {
        line.spreads[at].as_ref().map(|spread| [json_number(Some(spread.low)), json_number(Some(spread.high))])
    };
    json!({"before": ends(0), "after": ends(1)})
}

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
    let id = |target: RecordId| new.record(target).id.as_str();
    let chances: Vec<Value> = (delta.chances(view.base, view.head).iter())
        .map(|own| json!({"id": id(own.goal), "before": json_number(own.before), "after": json_number(own.after)}))
        .collect();
    let budgets: Vec<Value> = delta
        .budget_changes(view.base, view.head)
        .iter()
        .map(|own| {
            let side = |at: usize| {
                let in_unit = |si: Option<f64>| json_number(si.map(|si| own.unit.from_si(si)));
                let uncertainty = own.values[at].map(|_| own.uncertainties[at] / own.unit.factor());
                json!({"value": in_unit(own.values[at]), "uncertainty": json_number(uncertainty),
                       "limit": own.limits[at].map(|si| upper_limit_json(si, &own.unit)), "over": own.over[at]})
            };
            json!({"id": id(own.target), "unit": own.unit.to_string(), "before": side(0), "after": side(1)})
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
        "points": points.map(|line| json!({"before": json_number(line.before), "after": json_number(line.after), "low": json_number(line.interval.map(|(low, _)| low)), "high": json_number(line.interval.map(|(_, high)| high)),
                        "intervals": intervals(line)})),
        "chances": chances,
        "budgets": budgets,
        "amounts": amounts,
        "broken": {"base": points::broken(view.base).json(), "head": points::broken(view.head).json()},
    });
    let changes = view.changes().json(delta.stops.request);
    if let (Some(answer), Value::Object(changes)) = (answer.as_object_mut(), changes) {
        answer.extend(changes);
    }
    answer
}

/// The number of rows that a group of the summary has at most.
pub(super) const MOST_ROWS: usize = 20;

/// The targets with a new status, by status before and after: what needs attention first.
fn status_groups(view: &DeltaView<'_>) -> Vec<Value> {
    let mut groups: Vec<((&str, &str), Vec<String>)> = Vec::new();
    for (id, before, after) in view.status_changes() {
        match groups.iter_mut().find(|(own, _)| *own == (before, after)) {
            Some((_, ids)) => ids.push(id),
            None => groups.push(((before, after), vec![id])),
        }
    }
    let urgent = [Status::Missed, Status::AtRisk, Status::Uncertain, Status::NoValue].map(Status::word);
    groups.sort_by_key(|((_, after), _)| urgent.iter().position(|word| word == after).unwrap_or(urgent.len()));
    groups.into_iter().map(|((before, after), ids)| json!({"before": before, "after": after, "ids": ids})).collect()
}

/// The amount of the whole car that a headline is of.
fn amount_of(line: &Headline) -> Option<&str> {
    match &line.of {
        HeadlineOf::Amount(amount) => Some(amount),
        HeadlineOf::Points(_) => None,
    }
}

/// The data for the template: the JSON answer, and its numbers as text.
pub(crate) fn context(view: &DeltaView<'_>) -> Value {
    let mut context = json(view);
    let texts = |[before, after, change]: [String; 3]| json!({"before": before, "after": after, "change": change});
    let headlines = view.headlines();
    let budget_changes = view.delta.budget_changes(view.base, view.head);
    // The first budget of each amount of the whole car, and the line of each amount.
    let mut budget_of: HashMap<&str, &BudgetChange> = HashMap::new();
    for own in &budget_changes {
        if let Some(amount) = &own.amount {
            budget_of.entry(amount).or_insert(own);
        }
    }
    let lines = headlines.iter().filter_map(|line| Some((amount_of(line)?, line)));
    let line_of: HashMap<&str, &Headline> = lines.collect();
    let headline: Vec<Value> = headlines
        .iter()
        .map(|line| {
            let mut text = texts(headline_shown(line));
            text["name"] = json!(view.headline_name(line));
            text["changed"] = json!(first::is_changed(line));
            let same = amount_of(line).and_then(|amount| budget_of.get(amount)).map(|own| own.target);
            text["same_as"] = json!(same.map(|target| view.head.loaded.record(target).id.as_str()));
            text
        })
        .collect();
    let budgets: Vec<Value> = budget_changes
        .iter()
        .map(|own| {
            let [mut before, mut after, change] = first::budget_texts(own);
            let line = own.amount.as_deref().and_then(|amount| line_of.get(amount).copied());
            let sums = line.map(|line| own.sums(line)).unwrap_or_default();
            for (text, sum) in [&mut before, &mut after].into_iter().zip(sums) {
                if let Some(sum) = sum {
                    let _ = write!(text, " (sum of the parts: {})", own.unit.show(sum, 0.0));
                }
            }
            let is_same = own.limits[0] == own.limits[1];
            let limit = own.limits[1].filter(|_| is_same).map(|si| own.unit.show(si, 0.0));
            json!({"id": view.head.loaded.record(own.target).id.as_str(), "before": before, "after": after,
                   "change": change, "limit": limit})
        })
        .collect();
    let chances = view.delta.chances(view.base, view.head).into_iter().filter_map(|own| {
        let mut texts = first::chance_texts(&own);
        for (text, place) in texts.iter_mut().zip(own.places) {
            if let Some(place) = place {
                *text = format!("place {place} recorded");
            }
        }
        let [before, after] = texts;
        (before != after).then(|| json!({"name": first::place(view, own.goal), "before": before, "after": after}))
    });
    let chances: Vec<Value> = chances.collect();
    let values: Vec<Value> = view
        .delta
        .values
        .iter()
        .zip(view.same_values())
        .map(|(value, same_as)| {
            let (id, unit) = view.value(value);
            let mut shown = texts(shown(value.before, value.after, unit));
            shown["id"] = json!(id);
            shown["same_as"] = json!(same_as);
            shown
        })
        .collect();
    // A template must not name a key that is missing, so every finding gets them.
    let [old, new] = view.loaded();
    let links = [Links::of(old), Links::of(new)];
    let link = |links: &Option<Links>, place: &Value| {
        let (path, line) = (place["path"].as_str()?, place["line"].as_u64()?);
        links.as_ref()?.line(path, line)
    };
    for renamed in context["renamed"].as_array_mut().into_iter().flatten() {
        renamed["link"] = json!(link(&links[1], renamed));
    }
    for list in ["new", "fixed", "uncovered", "worse", "better"] {
        for finding in context[list].as_array_mut().into_iter().flatten() {
            finding["link"] = json!(link(&links[usize::from(list != "fixed")], finding));
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
        "first": first::text(view, &headlines, &budget_changes),
        "most": MOST_ROWS,
        "chances": chances,
        "budgets": budgets,
        "status_changes": status_groups(view),
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
