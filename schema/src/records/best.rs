//! The best of the others in an event, as a result has it.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, IntoDeserializer, MapAccess, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::Id;

/// The name of the best value in a score formula, if a result gives only one.
const NAME: &str = "best";

/// The best of the others: one quantity for the name `best` of the score, or a map for several names.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Best(pub Entries<Id, Quantity>);

impl Best {
    fn single(quantity: Quantity) -> Option<Self> {
        Some(Self(std::iter::once((Id::new(NAME).ok()?, quantity)).collect()))
    }

    /// The quantity, if it is only that of the name `best`.
    fn only(&self) -> Option<&Quantity> {
        self.0.get(NAME).filter(|_| self.0.len() == 1)
    }
}

impl<'de> Deserialize<'de> for Best {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneOrMap;
        impl<'de> Visitor<'de> for OneOrMap {
            type Value = Best;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number with a unit, for example `3.90 s`, or a map of name to number")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Best, E> {
                let quantity = Quantity::deserialize(text.into_deserializer())?;
                Best::single(quantity).ok_or_else(|| E::custom("a number with a unit is missing"))
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Best, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Best, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Best, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Best, A::Error> {
                Entries::deserialize(de::value::MapAccessDeserializer::new(map)).map(Best)
            }
        }
        if deserializer.is_human_readable() {
            return deserializer.deserialize_any(OneOrMap);
        }
        Entries::deserialize(deserializer).map(Self)
    }
}

impl Serialize for Best {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.only() {
            Some(quantity) if serializer.is_human_readable() => quantity.serialize(serializer),
            _ => self.0.serialize(serializer),
        }
    }
}

impl JsonSchema for Best {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Best".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (id, quantity) = (generator.subschema_for::<Id>(), generator.subschema_for::<Quantity>());
        json_schema!({"oneOf": [quantity, {"type": "object", "propertyNames": id, "additionalProperties": quantity}]})
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_or_several() {
        let read = |text: &str| serde_yaml::from_str::<Best>(text).unwrap();
        let (one, map) = (read("3.90 s"), read("{best: 3.90 s}"));
        assert_eq!(one, map);
        assert_eq!(serde_json::to_value(&map).unwrap(), "3.90 s");
        let two = read("{best: 57.0 s, least: 1.9 l}");
        assert_eq!(serde_json::to_value(&two).unwrap(), serde_json::json!({"best": "57.0 s", "least": "1.9 l"}));
        assert_eq!(read("1.25").0.get("best").unwrap().si(), 1.25);
        assert!(serde_yaml::from_str::<Best>("3.9 sec").is_err());
    }
}
