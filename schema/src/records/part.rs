//! `parts`: the items of the car that are bought or made.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};

use super::{Figure, ShapeProblem, Verify, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::Id;

record! {
    /// An item of the car that is bought or made.
    pub struct Part {
        /// The system that it belongs to.
        #[schemars(required)]
        pub r#in: Option<Id>,
        /// How many of them are in the car; 1 by default.
        #[schemars(range(min = 1))]
        pub count: Option<u32>,
        /// The amounts of one piece: `mass: 0.62 kg`, or `{value: 0.62 kg, basis: drawn}`; or
        /// where it is read: `{value: {from: test/scales.csv, column: mass, unit: kg, take: mean}, basis: weighed}`.
        pub amounts: Entries<Id, Amount>,
        /// Whether people's safety depends on it.
        pub safety_critical: bool,
        /// How it will be verified; needed if no target or requirement is `of` the part and no system has it under
        /// `for-parts`.
        pub verify: Option<Verify>,
    }
}

/// An amount of one piece, for example its mass, and the basis of the estimate.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Amount {
    /// The amount of one piece, or where it is read.
    pub value: Figure,
    /// The basis of the estimate, one of those under `growth` in the settings; the first of them by default.
    pub basis: Option<Id>,
}

impl<'de> Deserialize<'de> for Amount {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(serde::Deserialize)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields)]
        struct Long {
            value: Figure,
            basis: Option<Id>,
        }
        struct ShortOrLong;
        impl<'de> Visitor<'de> for ShortOrLong {
            type Value = Amount;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a quantity such as `0.62 kg`, or `{value: 0.62 kg, basis: drawn}`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Amount, E> {
                Ok(Amount { value: Quantity::parse(text).map_err(E::custom)?.into(), basis: None })
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Amount, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Amount, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Amount, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Amount, A::Error> {
                let long = Long::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(Amount { value: long.value, basis: long.basis })
            }
        }
        if deserializer.is_human_readable() {
            return deserializer.deserialize_any(ShortOrLong);
        }
        let long = Long::deserialize(deserializer)?;
        Ok(Self { value: long.value, basis: long.basis })
    }
}

impl JsonSchema for Amount {
    fn schema_name() -> Cow<'static, str> {
        "Amount".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (value, figure) = (generator.subschema_for::<Quantity>(), generator.subschema_for::<Figure>());
        let basis = generator.subschema_for::<Id>();
        let described = |mut schema: Schema, text: &str| {
            schema.insert("description".to_owned(), text.into());
            schema
        };
        json_schema!({"oneOf": [value, {
            "type": "object",
            "properties": {"value": described(figure, "The amount of one piece, or where it is read."), "basis": described(
                basis,
                "The basis of the estimate, one of those under `growth` in the settings; the first of them by default."
            )},
            "required": ["value"],
            "additionalProperties": false
        }]})
    }
}

impl Part {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.r#in.is_none() {
            problems.push(ShapeProblem::missing("in", "add `in: SYSTEM`, the system that the part belongs to"));
        }
        if let Some((name, amount)) =
            self.amounts.iter().find(|(_, own)| own.value.quantity().is_some_and(|own| own.value() < 0.0))
        {
            let message = format!("the amount `{name}` is negative: `{}`", amount.value);
            problems.push(ShapeProblem::wrong("amounts", message, "use the amount of one piece, 0 or more"));
        }
        if self.count == Some(0) {
            let help = "use 1 or more, or remove the record if the part is not in the car";
            problems.push(ShapeProblem::wrong("count", "`count` is 0", help));
        }
    }
}
