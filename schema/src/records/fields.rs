//! The keys of a record as text, to show what was edited.

use serde_json::Value;

use super::figure::NUMBER;
use super::{Body, Kind};

impl Body {
    /// Every key that is set, with its text: the route below the record, joined by dots, in the order of the kind's keys.
    ///
    /// - A list of texts is one field, its items joined by `, `; in a list of several maps the items count from 1.
    /// - An amount of a part is one field with its value and its basis, as in `1.2 kg drawn`.
    /// - A number that is read is one field, and so is each key that says where it is read.
    /// - An upward link without a reason has an empty text.
    pub fn fields(&self) -> Vec<(String, String)> {
        let mut fields = Vec::new();
        let Ok(Value::Object(keys)) = serde_json::to_value(self) else { return fields };
        for (key, value) in &keys {
            match value {
                Value::Object(amounts) if self.kind() == Kind::Part && key == "amounts" => {
                    for (name, amount) in amounts {
                        let read = amount["value"].get(NUMBER);
                        let texts = [read.unwrap_or(&amount["value"]), &amount["basis"]].map(Value::as_str);
                        let text = texts.into_iter().flatten().collect::<Vec<_>>().join(" ");
                        fields.push((format!("{key}.{name}"), text));
                        for (part, value) in amount["value"].as_object().into_iter().flatten() {
                            if part != NUMBER {
                                below(format!("{key}.{name}.value.{part}"), value, &mut fields);
                            }
                        }
                    }
                }
                Value::Object(links) if key == "serves" => {
                    for (id, reason) in links {
                        fields.push((format!("{key}.{id}"), reason.as_str().unwrap_or_default().to_owned()));
                    }
                }
                _ => below(key.clone(), value, &mut fields),
            }
        }
        fields
    }
}

fn below(route: String, value: &Value, fields: &mut Vec<(String, String)>) {
    match value {
        Value::Null | Value::Bool(false) => {}
        Value::Bool(true) => fields.push((route, "true".to_owned())),
        Value::Number(number) => fields.push((route, number.to_string())),
        Value::String(text) => fields.push((route, text.clone())),
        Value::Array(items) if items.iter().any(Value::is_object) => {
            for (number, item) in items.iter().enumerate() {
                let route = if items.len() == 1 { route.clone() } else { format!("{route}.{}", number + 1) };
                below(route, item, fields);
            }
        }
        Value::Array(items) => {
            let texts: Vec<String> =
                items.iter().map(|item| item.as_str().map_or_else(|| item.to_string(), str::to_owned)).collect();
            if !texts.is_empty() {
                fields.push((route, texts.join(", ")));
            }
        }
        Value::Object(keys) => {
            for (key, value) in keys {
                // The number that is read is the text of the key itself.
                let route = if key == NUMBER { route.clone() } else { format!("{route}.{key}") };
                below(route, value, fields);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields(kind: Kind, text: &str) -> Vec<String> {
        let body = Body::decode(kind, serde_yaml::Deserializer::from_str(text)).unwrap();
        body.fields().into_iter().map(|(key, text)| format!("{key}: {text}")).collect()
    }

    #[test]
    fn keys_are_in_the_order_of_the_kind() {
        let part = "{title: Hub, serves: {stiffness: It bends., weight: }, amounts: {mass: {value: 1.20 kg, basis: drawn}, \
                    cost: 20 EUR}, in: suspension, count: 2, formerly: [a, b], verify: {by: test, due: 2027-06-01}}";
        let expected = [
            "title: Hub",
            "in: suspension",
            "count: 2",
            "amounts.mass: 1.20 kg drawn",
            "amounts.cost: 20 EUR",
            "verify.by: test",
            "verify.due: 2027-06-01",
            "serves.stiffness: It bends.",
            "serves.weight: ",
            "formerly: a, b",
        ];
        assert_eq!(fields(Kind::Part, part), expected);
        let read = "{value: {from: a.csv, column: x, take: mean, where: {run: ok}, instrument: {within: 0.1 s}, typed: 4.0 s}}";
        let keys =
            ["from: a.csv", "column: x", "take: mean", "where.run: ok", "instrument.within: 0.1 s", "typed: 4.0 s"];
        let expected: Vec<String> = keys.iter().map(|key| format!("value.{key}")).collect();
        let tree = format!("results: {{r: {read}}}");
        let found = crate::read::records(tree.as_bytes()).records[0].body.fields();
        let found: Vec<String> = found.into_iter().map(|(key, text)| format!("{key}: {text}")).collect();
        assert_eq!((&*found[0], &found[1..]), ("value: 4.0 s", &expected[..]));
        let two = "{verify: [{by: test}, {by: analysis, with: model}]}";
        assert_eq!(fields(Kind::Target, two), ["verify.1.by: test", "verify.2.by: analysis", "verify.2.with: model"]);
        let analysis = "{finds: {a: 1 kg, b: a * 2}, given: {x: 3}}";
        assert_eq!(fields(Kind::Analysis, analysis), ["given.x: 3", "finds.a: 1 kg", "finds.b: a * 2"]);
    }
}
