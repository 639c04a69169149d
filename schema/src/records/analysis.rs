//! `analyses`: calculations inside or outside the tool.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use serde::ser::{Serialize, Serializer};

use super::{Expression, Found, ShapeProblem, record};
use crate::entries::Entries;
use crate::words::Id;

record! {
    /// A calculation: with a model, with a formula, or made outside the tool (neither of them).
    pub struct Analysis {
        /// A model that is included in the tool, for example `straight-line`.
        pub model: Option<Id>,
        /// A formula, instead of a model.
        pub formula: Option<Expression>,
        /// The inputs by name: each is a quantity, the name of a value, a formula, or (for tables of a model) a CSV file.
        pub given: Entries<Id, Expression>,
        /// The target whose value it calculates. For a calculation made outside the tool: a map of target to value, or to where
        /// it is read: `{from: analysis/loads.csv, column: stress, unit: MPa, take: highest}`. For a model with several
        /// outputs: a map of target to output.
        pub finds: Option<Finds>,
        /// The decisions or parts that were changed because of it.
        pub informs: Vec<Id>,
        /// The evidence files, relative to the project root.
        pub evidence: Vec<String>,
        /// Earlier analyses that this one replaces.
        pub supersedes: Vec<Id>,
    }
}

/// What an analysis calculates.
#[derive(Clone, Debug, PartialEq)]
pub enum Finds {
    /// The target whose value is the result of the model or formula.
    Target(Id),
    /// Targets, each with a value or the name of an output.
    Values(Entries<Id, Found>),
}

impl Finds {
    /// The targets whose values it calculates.
    pub fn targets(&self) -> Vec<&Id> {
        match self {
            Self::Target(id) => vec![id],
            Self::Values(values) => values.keys().collect(),
        }
    }
}

impl<'de> Deserialize<'de> for Finds {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct IdOrMap;
        impl<'de> Visitor<'de> for IdOrMap {
            type Value = Finds;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("the id of a target, or a map of target to value")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Finds, E> {
                Id::new(text).map(Finds::Target).map_err(E::custom)
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Finds, A::Error> {
                Entries::deserialize(de::value::MapAccessDeserializer::new(map)).map(Finds::Values)
            }
        }
        if deserializer.is_human_readable() {
            return deserializer.deserialize_any(IdOrMap);
        }
        Ok(match Deserialize::deserialize(deserializer)? {
            (Some(target), _) => Self::Target(target),
            (None, values) => Self::Values(values),
        })
    }
}

impl Serialize for Finds {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match (self, serializer.is_human_readable()) {
            (Self::Target(target), true) => target.serialize(serializer),
            (Self::Values(values), true) => values.serialize(serializer),
            (Self::Target(target), false) => (Some(target), &Entries::<Id, Found>::default()).serialize(serializer),
            (Self::Values(values), false) => (None::<&Id>, values).serialize(serializer),
        }
    }
}

impl JsonSchema for Finds {
    fn schema_name() -> Cow<'static, str> {
        "Finds".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let id = generator.subschema_for::<Id>();
        let value = generator.subschema_for::<Found>();
        json_schema!({"oneOf": [id, {"type": "object", "propertyNames": id, "additionalProperties": value}]})
    }
}

impl Analysis {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.model.is_some() && self.formula.is_some() {
            problems.push(ShapeProblem::wrong(
                "formula",
                "both `model` and `formula` are set",
                "keep one of them; `tierod set ID.KEY --remove` removes a key",
            ));
        }
    }
}
