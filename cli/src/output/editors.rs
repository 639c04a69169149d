//! What an editor offers while a record is typed: the JSON Schema with examples of units, bases, models, score sheets and,
//! for a project, the ids that each key may name. Examples restrict nothing.

use std::collections::BTreeSet;

use schema::records::Kind;
use schema::settings::Settings;
use serde_json::{Map, Value, json};
use trace::Loaded;
use trace::graph::ids_for;
use trace::values::sheet_names;

/// The units that are offered; every unit of the table can be used.
const UNITS: &[&str] = &[
    "kg", "g", "m", "mm", "s", "ms", "N", "kN", "N*m", "N*m/deg", "N/mm", "Pa", "kPa", "MPa", "bar", "W", "kW", "J",
    "kJ", "MJ", "kW*h", "l", "ml", "deg", "rad", "rpm", "Hz", "m/s", "km/h", "m^2", "mm^2", "m^3", "kg/m^3", "V", "A",
    "K", "°C", "%", "pts", "EUR",
];

/// The bases that are offered outside of a project: those of the starter files.
const BASES: &[&str] = &["estimated", "calculated", "drawn", "weighed", "quoted", "paid"];

/// The type of a value that must be missing: no word is offered for it.
const EMPTY: &str = "#/$defs/Empty";
const QUANTITY: &str = "#/$defs/Quantity";

/// The schema of record files, with the names of a project if there is one.
pub(crate) fn records(project: Option<&Loaded>) -> Value {
    let mut schema = dressed(schema::json_schema::records());
    let bases = bases(project.map(Loaded::settings));
    offer_everywhere(&mut schema, "basis", &bases);
    offer_everywhere(&mut schema, "unit", &texts(UNITS));
    let models: Vec<String> = models::MODELS.iter().map(|model| model.name.to_owned()).collect();
    offer(&mut schema["$defs"]["Analysis"]["properties"]["model"], &models);
    offer(&mut schema["$defs"]["Score"]["properties"]["use"], &sheet_names());
    if let Some(loaded) = project {
        for &kind in Kind::ALL {
            ids(&mut schema, kind, loaded);
        }
    }
    schema
}

/// The schema of the settings.
pub(crate) fn settings(project: Option<&Loaded>) -> Value {
    let mut schema = dressed(schema::json_schema::settings());
    offer_everywhere(&mut schema, "unit", &texts(UNITS));
    offer_everywhere(&mut schema, "basis", &bases(project.map(Loaded::settings)));
    schema
}

fn texts(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

/// The bases of the settings, without repetition; those of the starter without any.
fn bases(settings: Option<&Settings>) -> Vec<String> {
    let mut known = BTreeSet::new();
    let amounts = settings.into_iter().flat_map(|settings| settings.growth.iter());
    let named = amounts.flat_map(|(_, bases)| bases.keys()).map(|basis| basis.as_str().to_owned());
    let own: Vec<String> = named.filter(|basis| known.insert(basis.clone())).collect();
    if own.is_empty() { texts(BASES) } else { own }
}

/// Sets what is offered for a key, if its value can be a text.
fn offer(property: &mut Value, examples: &[String]) {
    let is_text = |schema: &Value| {
        schema["type"] == "string" || schema["type"].as_array().is_some_and(|all| all.contains(&json!("string")))
    };
    let can_be = is_text(property) || property["anyOf"].as_array().is_some_and(|all| all.iter().any(is_text));
    if let (true, Value::Object(property)) = (can_be, property) {
        property.insert("examples".to_owned(), json!(examples));
    }
}

/// The same for a key anywhere.
fn offer_everywhere(schema: &mut Value, key: &str, examples: &[String]) {
    match schema {
        Value::Object(map) => {
            if let Some(property) = map.get_mut("properties").and_then(|all| all.get_mut(key)) {
                offer(property, examples);
            }
            map.values_mut().for_each(|value| offer_everywhere(value, key, examples));
        }
        Value::Array(list) => list.iter_mut().for_each(|value| offer_everywhere(value, key, examples)),
        _ => {}
    }
}

/// Sets the ids that the keys of a kind may name.
fn ids(schema: &mut Value, kind: Kind, loaded: &Loaded) {
    let reference = schema["properties"][kind.plural()]["additionalProperties"]["$ref"].as_str().map(str::to_owned);
    let Some(record) = reference.and_then(|reference| schema.pointer_mut(reference.trim_start_matches('#'))) else {
        return;
    };
    let Some(properties) = record.get_mut("properties").and_then(Value::as_object_mut) else { return };
    for (key, property) in properties {
        let Some(ids) = ids_for(loaded, kind, key) else { continue };
        let own: Vec<String> = ids.iter().map(|id| (*id).to_owned()).collect();
        if let Some(each) = property.get("additionalProperties").cloned() {
            let named = ids.iter().map(|id| ((*id).to_owned(), titled(&each, id, loaded)));
            property["properties"] = Value::Object(named.collect::<Map<_, _>>());
        } else if property["items"].is_object() {
            offer(&mut property["items"], &own);
        } else {
            offer(property, &own);
        }
    }
}

/// The schema of a key that is an id, with the title of its record as its description.
fn titled(schema: &Value, id: &str, loaded: &Loaded) -> Value {
    let mut schema = schema.clone();
    let title = loaded.find(id).and_then(|index| loaded.record(index).body.common().title().map(str::to_owned));
    if let (Some(title), Value::Object(schema)) = (title, &mut schema) {
        schema.insert("description".to_owned(), json!(title));
    }
    schema
}

/// The schema with quantities as a definition that has examples, and without the word `null` for what may be left empty.
fn dressed(mut schema: Value) -> Value {
    let pattern = json!(schema::quantity::PATTERN);
    dress(&mut schema, &pattern);
    if schema["$defs"].is_null() {
        schema["$defs"] = json!({});
    }
    let examples: Vec<String> = UNITS.iter().map(|unit| format!("1 {unit}")).collect();
    schema["$defs"]["Quantity"] = json!({
        "description": "A number with a unit and, if it is known, its uncertainty: `4.25 s ± 0.02 s`.",
        "type": ["string", "number"],
        "pattern": pattern,
        "examples": examples,
    });
    schema["$defs"]["Empty"] = json!({
        "description": "Nothing: the key is read as if it were missing.",
        "not": {"type": ["string", "number", "boolean", "object", "array"]},
    });
    schema
}

fn dress(schema: &mut Value, quantity: &Value) {
    match schema {
        Value::Object(map) => {
            map.values_mut().for_each(|value| dress(value, quantity));
            if map.get("type").is_some_and(Value::is_array) {
                let scalar = |kind: &Value| kind.as_str().is_some_and(|kind| !matches!(kind, "array" | "object"));
                let kinds = map["type"].as_array().cloned().unwrap_or_default();
                let null = json!("null");
                if kinds.contains(&null) && kinds.iter().all(scalar) {
                    may_be_empty(map, kinds.into_iter().filter(|kind| *kind != null).collect(), quantity);
                    return;
                }
            }
            if map.get("pattern") == Some(quantity) {
                map.shift_remove("type");
                map.shift_remove("pattern");
                map.insert("$ref".to_owned(), json!(QUANTITY));
            }
            if let Some(Value::Array(all)) = map.get_mut("anyOf") {
                for own in all.iter_mut().filter(|own| **own == json!({"type": "null"})) {
                    *own = json!({"$ref": EMPTY});
                }
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|value| dress(value, quantity)),
        _ => {}
    }
}

/// A scalar of these types that may be empty.
fn may_be_empty(map: &mut Map<String, Value>, mut kinds: Vec<Value>, quantity: &Value) {
    let description = map.shift_remove("description");
    let mut full = std::mem::take(map);
    if full.get("pattern") == Some(quantity) {
        full = Map::from_iter([("$ref".to_owned(), json!(QUANTITY))]);
    } else {
        let kind = if kinds.len() == 1 { kinds.remove(0) } else { Value::Array(kinds) };
        full.insert("type".to_owned(), kind);
    }
    map.insert("anyOf".to_owned(), json!([full, {"$ref": EMPTY}]));
    if let Some(description) = description {
        map.insert("description".to_owned(), description);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_and_basis_that_is_offered_is_accepted() {
        for unit in UNITS {
            assert!(schema::Quantity::parse(&format!("1 {unit}")).is_ok(), "{unit}");
        }
        let starter = include_str!("../../../templates/init/tierod.yaml");
        for basis in BASES {
            assert!(starter.contains(&format!("{basis}: ")), "{basis}");
        }
    }

    /// The word `null` is not offered: no type of a scalar has it.
    #[test]
    fn nothing_is_offered_as_null() {
        fn types(schema: &Value, found: &mut Vec<String>) {
            match schema {
                Value::Object(map) => {
                    let kinds = map.get("type").map(Value::to_string).unwrap_or_default();
                    if kinds.contains("null") && !kinds.contains("object") && !kinds.contains("array") {
                        found.push(schema.to_string());
                    }
                    map.values().for_each(|value| types(value, found));
                }
                Value::Array(list) => list.iter().for_each(|value| types(value, found)),
                _ => {}
            }
        }
        let mut found = Vec::new();
        for schema in [records(None), settings(None)] {
            types(&schema, &mut found);
        }
        assert_eq!(found, [""; 0]);
        let model = &records(None)["$defs"]["Analysis"]["properties"]["model"]["examples"];
        assert!(model.as_array().is_some_and(|names| names.contains(&json!("lap"))), "{model}");
        assert!(records(None)["$defs"]["Score"]["properties"]["use"]["examples"].is_array());
    }
}
