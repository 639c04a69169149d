//! The JSON Schema of an answer.

use serde_json::{Map, Value, json};

use super::{Answer, Key, Keys, Named, Shape};

/// The schema of an answer, draft 2020-12. Objects have no other keys than those listed.
pub(crate) fn of_answer(answer: &Answer) -> Value {
    let mut shared = Map::new();
    let mut variants: Vec<Value> = answer
        .variants
        .iter()
        .map(|(title, keys)| {
            let mut variant = object(keys, &mut shared);
            if !title.is_empty() {
                variant["title"] = json!(title);
            }
            variant
        })
        .collect();
    let body = if variants.len() == 1 { variants.swap_remove(0) } else { json!({"oneOf": variants}) };
    let mut schema = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": answer.name,
        "description": format!("`{}`: {}", answer.command, answer.summary),
    });
    if let (Value::Object(schema), Value::Object(body)) = (&mut schema, body) {
        schema.extend(body);
    }
    if !shared.is_empty() {
        schema["$defs"] = Value::Object(shared);
    }
    schema
}

fn object(keys: Keys, shared: &mut Map<String, Value>) -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    for key in keys.iter().copied().flatten() {
        let mut property = shape(&key.shape, shared);
        property["description"] = json!(description(key));
        properties.insert(key.name.to_owned(), property);
        if !key.optional {
            required.push(key.name);
        }
    }
    let mut object = json!({"type": "object", "properties": properties, "additionalProperties": false});
    if !required.is_empty() {
        object["required"] = json!(required);
    }
    object
}

fn description(key: &Key) -> String {
    if key.unit.is_empty() { key.meaning.to_owned() } else { format!("{} [{}]", key.meaning, key.unit) }
}

fn shape(of: &Shape, shared: &mut Map<String, Value>) -> Value {
    match of {
        Shape::Text => json!({"type": "string"}),
        Shape::Number => json!({"type": "number"}),
        Shape::Integer => json!({"type": "integer"}),
        Shape::Flag => json!({"type": "boolean"}),
        Shape::Date => json!({"type": "string", "pattern": "^-?[0-9]{4,6}-[0-9]{2}-[0-9]{2}$"}),
        Shape::Version => json!({"const": 1}),
        Shape::Words(words) => json!({"enum": words}),
        Shape::List(item) => json!({"type": "array", "items": shape(item, shared)}),
        Shape::Pair(item) => json!({"type": "array", "items": shape(item, shared), "minItems": 2, "maxItems": 2}),
        Shape::Map(value) => json!({"type": "object", "additionalProperties": shape(value, shared)}),
        Shape::OrNull(value) => json!({"anyOf": [shape(value, shared), {"type": "null"}]}),
        Shape::Object(keys) => object(keys, shared),
        Shape::Named(named) => reference(named, shared),
    }
}

fn reference(named: &Named, shared: &mut Map<String, Value>) -> Value {
    if !shared.contains_key(named.name) {
        let mut definition = object(named.keys, shared);
        definition["description"] = json!(named.summary);
        shared.insert(named.name.to_owned(), definition);
    }
    json!({"$ref": format!("#/$defs/{}", named.name)})
}
