//! `analyses`: calculations, inside the tool or outside.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use serde::ser::{Serialize, Serializer};

use super::{Expression, ShapeProblem, record};
use crate::entries::Entries;
use crate::words::Id;

record! {
    /// A calculation: a named model, a formula, or neither when it was made outside the tool.
    pub struct Analysis {
        /// A model that ships with the tool, as in `straight-line`.
        pub model: Option<Id>,
        /// A formula, in place of a model.
        pub formula: Option<Expression>,
        /// The inputs by name: a quantity, a name or a formula each; a CSV file where the model takes one.
        pub given: Entries<Id, Expression>,
        /// The target it finds; for an outside calculation a map of target to value, for a model with
        /// several outputs a map of target to output.
        pub finds: Option<Finds>,
        /// The decisions or parts that it changed.
        pub informs: Vec<Id>,
        /// Files that show it, relative to the data root.
        pub evidence: Vec<String>,
        /// Earlier analyses that this one takes the place of.
        pub supersedes: Vec<Id>,
    }
}

/// What an analysis finds.
#[derive(Clone, Debug, PartialEq)]
pub enum Finds {
    /// The target whose value the model or formula gives.
    Target(Id),
    /// Targets, each with a value or the name of an output.
    Values(Entries<Id, Expression>),
}

impl Finds {
    /// The targets found.
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
                f.write_str("a target's id, or a map of target to value")
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
            (Self::Target(target), false) => {
                (Some(target), &Entries::<Id, Expression>::default()).serialize(serializer)
            }
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
        let value = generator.subschema_for::<Expression>();
        json_schema!({"oneOf": [id, {"type": "object", "propertyNames": id, "additionalProperties": value}]})
    }
}

impl Analysis {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        if self.model.is_some() && self.formula.is_some() {
            problems.push(ShapeProblem::wrong("formula", "both `model` and `formula` are given", "keep one of them"));
        }
    }
}
