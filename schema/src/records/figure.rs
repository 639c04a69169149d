//! A number of a record: typed, or read from an evidence file.

use std::borrow::Cow;
use std::fmt;
use std::sync::Arc;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, SerializeMap as _, Serializer};

use super::{Body, Expression, Finds, Reading, SetTo};
use crate::quantity::Quantity;

/// The key under which [`Body::fields`] finds the number of a [`Figure`] that is read.
pub(super) const NUMBER: &str = "";

/// A number of a record: a quantity, or where it is read. Only the state of a project has the file, so the number that is
/// read is added when the state is loaded.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    quantity: Option<Quantity>,
    reading: Option<Arc<Reading>>,
}

impl Figure {
    /// The number: typed, otherwise read; `None` if it could not be read.
    pub fn quantity(&self) -> Option<&Quantity> {
        self.quantity.as_ref()
    }

    /// Where it is read, if it is not only typed.
    pub fn reading(&self) -> Option<&Reading> {
        self.reading.as_deref()
    }

    /// The same, to be kept apart from the record.
    pub fn shared_reading(&self) -> Option<Arc<Reading>> {
        self.reading.clone()
    }

    /// Sets the number that was read; one that is typed takes precedence.
    pub fn set_read(&mut self, read: Option<Quantity>) {
        if let Some(reading) = &self.reading {
            self.quantity = reading.typed.clone().or(read);
        }
    }

    fn of_reading(reading: Reading) -> Self {
        Self { quantity: reading.typed.clone(), reading: Some(Arc::new(reading)) }
    }
}

impl From<Quantity> for Figure {
    fn from(quantity: Quantity) -> Self {
        Self { quantity: Some(quantity), reading: None }
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.quantity, &self.reading) {
            (Some(quantity), _) => quantity.fmt(f),
            (None, Some(reading)) => write!(f, "unread from {}", crate::words::shorten(&reading.from)),
            (None, None) => Ok(()),
        }
    }
}

impl<'de> Deserialize<'de> for Figure {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TextOrMap;
        impl<'de> Visitor<'de> for TextOrMap {
            type Value = Figure;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number with a unit, for example `4.25 s`, or `{from: FILE, column: NAME, take: mean}`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Figure, E> {
                Quantity::parse(text).map(Figure::from).map_err(E::custom)
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Figure, A::Error> {
                Reading::deserialize(de::value::MapAccessDeserializer::new(map)).map(Figure::of_reading)
            }
        }
        if !deserializer.is_human_readable() {
            return Ok(match <(Option<Quantity>, Option<Reading>)>::deserialize(deserializer)? {
                (_, Some(reading)) => Self::of_reading(reading),
                (quantity, None) => Self { quantity, reading: None },
            });
        }
        // As text, so that `2.0` and `1e3` keep the form in which they were written.
        deserializer.deserialize_str(TextOrMap)
    }
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Some(reading) = &self.reading else {
            return match serializer.is_human_readable() {
                true => self.quantity.serialize(serializer),
                false => (&self.quantity, None::<&Reading>).serialize(serializer),
            };
        };
        if !serializer.is_human_readable() {
            return (None::<&Quantity>, Some(&**reading)).serialize(serializer);
        }
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry(NUMBER, &self.quantity)?;
        if let Ok(serde_json::Value::Object(keys)) = serde_json::to_value(&**reading) {
            for (key, value) in keys.iter().filter(|(_, value)| !value.is_null()) {
                map.serialize_entry(key, value)?;
            }
        }
        map.end()
    }
}

impl JsonSchema for Figure {
    fn schema_name() -> Cow<'static, str> {
        "Figure".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (quantity, reading) = (generator.subschema_for::<Quantity>(), generator.subschema_for::<Reading>());
        json_schema!({"anyOf": [quantity, reading]})
    }
}

/// A value under `finds`: a text, or where its number is read.
#[derive(Clone, Debug, PartialEq)]
pub enum Found {
    /// A quantity, a name, a formula, or the output of a model.
    Text(Expression),
    /// A number that is read from an evidence file.
    Read(Figure),
}

impl Found {
    /// The text; for a number that is read, its text if it could be read.
    pub fn text(&self) -> &str {
        match self {
            Self::Text(text) => text.text(),
            Self::Read(figure) => figure.quantity().map_or("", Quantity::text),
        }
    }
}

impl<'de> Deserialize<'de> for Found {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TextOrMap;
        impl<'de> Visitor<'de> for TextOrMap {
            type Value = Found;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a quantity, the name of a value, a formula, or `{from: FILE, column: NAME, take: mean}`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Found, E> {
                Expression::deserialize(de::value::StrDeserializer::<E>::new(text)).map(Found::Text)
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Found, A::Error> {
                let reading = Reading::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(Found::Read(Figure::of_reading(reading)))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<Found, A::Error> {
                Expression::deserialize(de::value::SeqAccessDeserializer::new(list)).map(Found::Text)
            }
        }
        if !deserializer.is_human_readable() {
            return match <(Option<Expression>, Option<Figure>)>::deserialize(deserializer)? {
                (Some(text), _) => Ok(Self::Text(text)),
                (None, Some(figure)) => Ok(Self::Read(figure)),
                (None, None) => Err(de::Error::custom("a value is missing")),
            };
        }
        deserializer.deserialize_str(TextOrMap)
    }
}

impl Serialize for Found {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match (self, serializer.is_human_readable()) {
            (Self::Text(text), true) => text.serialize(serializer),
            (Self::Read(figure), true) => figure.serialize(serializer),
            (Self::Text(text), false) => (Some(text), None::<&Figure>).serialize(serializer),
            (Self::Read(figure), false) => (None::<&Expression>, Some(figure)).serialize(serializer),
        }
    }
}

impl JsonSchema for Found {
    fn schema_name() -> Cow<'static, str> {
        "Found".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (text, reading) = (generator.subschema_for::<Expression>(), generator.subschema_for::<Reading>());
        json_schema!({"anyOf": [text, reading]})
    }
}

impl Body {
    /// The numbers of the record that are read from evidence files, each with the keys below the record.
    pub fn readings(&self) -> Vec<(Vec<&str>, &Figure)> {
        let is_read = |figure: &&Figure| figure.reading.is_some();
        match self {
            Self::Result(result) => result.value.iter().filter(is_read).map(|value| (vec!["value"], value)).collect(),
            Self::Part(part) => {
                let amounts = part.amounts.iter().filter(|(_, own)| own.value.reading.is_some());
                amounts.map(|(id, own)| (vec!["amounts", id.as_str(), "value"], &own.value)).collect()
            }
            Self::Analysis(analysis) => {
                let Some(Finds::Values(values)) = &analysis.finds else { return Vec::new() };
                let read = values.iter().filter_map(|(id, found)| match found {
                    Found::Read(figure) => Some((vec!["finds", id.as_str()], figure)),
                    Found::Text(_) => None,
                });
                read.collect()
            }
            Self::Decision(decision) => {
                let alternatives = decision.alternatives.iter();
                let sets = alternatives.flat_map(|(name, own)| own.sets.iter().map(move |set| (name, set)));
                let read = sets.filter_map(|(name, (to, setting))| match &setting.value {
                    SetTo::Read(figure) => {
                        Some((vec!["alternatives", name.as_str(), "sets", to.as_str(), "value"], figure))
                    }
                    SetTo::Quantity(_) | SetTo::Text(_) | SetTo::Nothing => None,
                });
                read.collect()
            }
            Self::Goal(_)
            | Self::Event(_)
            | Self::System(_)
            | Self::Target(_)
            | Self::Requirement(_)
            | Self::Revision(_)
            | Self::Waiver(_) => Vec::new(),
        }
    }

    /// The same numbers in the same order, to set what was read.
    pub fn readings_mut(&mut self) -> Vec<&mut Figure> {
        match self {
            Self::Result(result) => result.value.iter_mut().filter(|value| value.reading.is_some()).collect(),
            Self::Part(part) => {
                let amounts = part.amounts.iter_mut().map(|(_, amount)| &mut amount.value);
                amounts.filter(|value| value.reading.is_some()).collect()
            }
            Self::Analysis(analysis) => {
                let Some(Finds::Values(values)) = &mut analysis.finds else { return Vec::new() };
                let read = values.iter_mut().filter_map(|(_, found)| match found {
                    Found::Read(figure) => Some(figure),
                    Found::Text(_) => None,
                });
                read.collect()
            }
            Self::Decision(decision) => {
                let alternatives = decision.alternatives.iter_mut();
                let sets = alternatives.flat_map(|(_, own)| own.sets.iter_mut());
                let read = sets.filter_map(|(_, setting)| match &mut setting.value {
                    SetTo::Read(figure) => Some(figure),
                    SetTo::Quantity(_) | SetTo::Text(_) | SetTo::Nothing => None,
                });
                read.collect()
            }
            Self::Goal(_)
            | Self::Event(_)
            | Self::System(_)
            | Self::Target(_)
            | Self::Requirement(_)
            | Self::Revision(_)
            | Self::Waiver(_) => Vec::new(),
        }
    }
}
