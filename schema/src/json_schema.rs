//! The JSON Schema (2020-12) of record files and settings, generated from the types that they are decoded to.

use schemars::generate::SchemaSettings;
use serde::de::IntoDeserializer as _;
use serde::de::value::{Error, MapDeserializer};
use serde_json::{Value, json};

use crate::records::{Body, Kind, RecordFile};
use crate::settings::Settings;

/// Groups of keys of which a record has exactly one.
const ONE_OF: [&[&str]; 3] = [&["at-most", "at-least", "between"], &["place", "points"], &["value", "outcome"]];

/// The schema of a record file.
pub fn records() -> Value {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<RecordFile>().to_value();
    for &kind in Kind::ALL {
        require(&mut schema, kind);
        if !kind.roles().may_serve
            && let Some(record) = record_of(&mut schema, kind)
            && let Some(Value::Object(properties)) = record.get_mut("properties")
        {
            properties.shift_remove("serves");
        }
    }
    schema["$defs"]["PastStandings"]["required"] = json!(["file"]);
    allow_empty(&mut schema);
    schema
}

/// The schema of the settings file.
pub fn settings() -> Value {
    let mut schema = SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<Settings>().to_value();
    allow_empty(&mut schema);
    schema
}

/// Adds `required`: the keys that the reader reports as missing in a record without any key.
fn require(schema: &mut Value, kind: Kind) {
    let nothing = std::iter::empty::<(&str, &str)>();
    let source: MapDeserializer<'_, _, Error> = MapDeserializer::new(nothing);
    let Ok(empty) = Body::decode(kind, source.into_deserializer()) else { return };
    let missing: Vec<&str> = empty.shape().iter().filter(|shape| shape.missing).map(|shape| shape.route[0]).collect();
    let Some(record) = record_of(schema, kind) else { return };
    let mut required = Vec::new();
    for key in missing {
        match ONE_OF.iter().find(|keys| keys.contains(&key)) {
            Some(keys) => {
                record["oneOf"] = keys.iter().map(|key| json!({"required": [key]})).collect();
            }
            None => required.push(key),
        }
    }
    if !required.is_empty() {
        record["required"] = json!(required);
    }
}

/// The schema of the records of a kind.
fn record_of(schema: &mut Value, kind: Kind) -> Option<&mut Value> {
    let reference = schema["properties"][kind.plural()]["additionalProperties"]["$ref"].as_str().map(str::to_owned)?;
    schema.pointer_mut(reference.trim_start_matches('#'))
}

/// Allows an empty value for a list or map, which is read as an empty list or map.
fn allow_empty(schema: &mut Value) {
    match schema {
        Value::Object(map) => {
            if let Some(Value::Object(properties)) = map.get_mut("properties") {
                for property in properties.values_mut() {
                    // The default of every key is that it is missing.
                    if let Value::Object(property) = property {
                        property.shift_remove("default");
                    }
                    if let Some(kind @ ("array" | "object")) = property["type"].as_str() {
                        property["type"] = json!([kind, "null"]);
                    }
                }
            }
            map.values_mut().for_each(allow_empty);
        }
        Value::Array(list) => list.iter_mut().for_each(allow_empty),
        _ => {}
    }
}
