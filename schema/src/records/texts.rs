//! The texts that records of several kinds have: reasons and expressions.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::{Id, shorten};

/// Id of the parent, and the reason in one sentence. An empty reason is accepted here and reported by a check.
pub type Serves = Entries<Id, Reason>;

/// A reason, which may still be empty: `serves: {car-mass: }`.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize)]
#[serde(transparent)]
pub struct Reason(pub Option<String>);

impl<'de> Deserialize<'de> for Reason {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Option::deserialize(deserializer).map(Self)
    }
}

impl JsonSchema for Reason {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Reason".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "pattern": "\\S", "description": "The reason, in one sentence."})
    }
}

/// A quantity, the name of a value, or a formula with units; formulas are parsed when values are calculated. A list of
/// quantities is one text with commas.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression(Box<str>);

impl Expression {
    /// The text as it is in the record.
    pub fn text(&self) -> &str {
        &self.0
    }

    /// The past contests that it is forecast from, if it is written as `{past: FILE}`.
    pub fn past(&self) -> Option<PastValue> {
        self.past_file().and_then(|_| serde_json::from_str(&self.0).ok())
    }

    /// The file of the past contests that it is forecast from.
    pub fn past_file(&self) -> Option<&str> {
        self.0.strip_prefix("{\"past\":\"")?.split('"').next()
    }
}

/// A value that is forecast from one number for each past contest, for example the best time of an event.
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct PastValue {
    /// The CSV file, relative to the project root. Of several rows of one year the smallest number counts.
    pub past: String,
    /// Only rows with this text in the column `event`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub event: Option<String>,
    /// The column with the year of the contest; `year` if it is not set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub year: Option<String>,
    /// The column with the number; if it is not set, the name of the value, for example `best`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// The unit of the numbers; `s` if it is not set.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
}

impl<'de> Deserialize<'de> for Expression {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl<'de> Visitor<'de> for Text {
            type Value = Expression;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a quantity, the name of a value, or a formula")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Expression, E> {
                let text = text.trim();
                if text.is_empty() {
                    return Err(E::custom("a quantity, the name of a value, or a formula is missing"));
                }
                if text.len() > 4000 {
                    return Err(E::custom(format!("`{}` is too long for a formula (4,000 characters)", shorten(text))));
                }
                Ok(Expression(text.into()))
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Expression, A::Error> {
                let past = PastValue::deserialize(MapAccessDeserializer::new(map))?;
                let text = serde_json::to_string(&past).map_err(de::Error::custom)?;
                Ok(Expression(text.into()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Expression, A::Error> {
                let mut text = String::new();
                while let Some(entry) = list.next_element::<Quantity>()? {
                    if !text.is_empty() {
                        text.push_str(", ");
                    }
                    text.push_str(entry.text());
                }
                self.visit_str(&text)
            }
        }
        deserializer.deserialize_str(Text)
    }
}

impl Serialize for Expression {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl JsonSchema for Expression {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Expression".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let past = generator.subschema_for::<PastValue>();
        let quantity = generator.subschema_for::<Quantity>();
        json_schema!({"anyOf": [
            {"type": ["string", "number", "array"], "items": quantity, "minItems": 1},
            past
        ]})
    }
}
