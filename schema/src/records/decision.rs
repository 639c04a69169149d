//! `decisions`: choices between alternatives.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::Serializer;
use serde::{Deserialize, Serialize};

use super::{Figure, Reading, ShapeProblem, record};
use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::suggest;
use crate::words::{Id, Ref};

record! {
    /// A choice between alternatives that are compared by targets, with the reason for the choice.
    pub struct Decision {
        /// `car`, or the system or part that the decision is about.
        pub of: Option<Id>,
        /// The targets by which the alternatives are compared.
        pub criteria: Vec<Id>,
        /// The alternatives by name.
        pub alternatives: Entries<Id, Alternative>,
        /// The chosen alternative; omit it until the decision is made.
        pub chosen: Option<Id>,
        /// Why this alternative was chosen.
        pub reason: Option<String>,
    }
}

/// One alternative of a decision.
#[derive(Clone, Debug, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Alternative {
    /// A short name for people.
    pub title: Option<String>,
    /// The values that it changes: a target, an amount or the `count` of a part (`hub.mass`, `hub.count`), or an input of a
    /// model (`autocross-lap.power`), each with the value that it has with this alternative: a quantity, or `{value,
    /// basis, evidence}`; or where it is read: `{value: {from: test/scales.csv, column: mass, unit: kg, take: mean}}`.
    /// `hub: none` takes a part out.
    pub sets: Entries<Ref, Setting>,
    /// The basis of its values, for those without one of their own, for example `quoted`. The growth allowance of this
    /// basis is added to the amounts that it sets.
    pub basis: Option<Id>,
    /// The evidence files of its values, relative to the project root.
    pub evidence: Vec<String>,
    /// Any other information.
    pub notes: Option<String>,
}

/// A value that an alternative sets, with its basis and its evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// The value.
    pub value: SetTo,
    /// The basis of the value; that of the alternative by default.
    pub basis: Option<Id>,
    /// The evidence files, relative to the project root.
    pub evidence: Vec<String>,
}

/// What an alternative sets a value to.
#[derive(Clone, Debug, PartialEq)]
pub enum SetTo {
    /// A quantity.
    Quantity(Quantity),
    /// A number that is read from an evidence file.
    Read(Figure),
    /// A CSV table or a list of numbers, for an input of a model.
    Text(Box<str>),
    /// `none`: the part is taken out of the car.
    Nothing,
}

impl SetTo {
    /// The word that takes a part out.
    pub const NONE: &str = "none";

    /// The number: typed, otherwise read.
    pub fn quantity(&self) -> Option<&Quantity> {
        match self {
            Self::Quantity(quantity) => Some(quantity),
            Self::Read(figure) => figure.quantity(),
            Self::Text(_) | Self::Nothing => None,
        }
    }

    /// Where the number is read.
    pub fn reading(&self) -> Option<&Reading> {
        match self {
            Self::Read(figure) => figure.reading(),
            Self::Quantity(_) | Self::Text(_) | Self::Nothing => None,
        }
    }

    fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if text == Self::NONE {
            return Ok(Self::Nothing);
        }
        let is_list = || text.split(',').all(|item| Quantity::parse(item).is_ok());
        if text.ends_with(".csv") || (text.contains(',') && is_list()) {
            return Ok(Self::Text(text.into()));
        }
        Ok(Self::Quantity(Quantity::parse(text)?))
    }
}

impl fmt::Display for SetTo {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Quantity(quantity) => quantity.fmt(f),
            Self::Read(figure) => figure.fmt(f),
            Self::Text(text) => f.write_str(text),
            Self::Nothing => f.write_str(Self::NONE),
        }
    }
}

impl Serialize for SetTo {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match (self, serializer.is_human_readable()) {
            (Self::Read(figure), true) => figure.serialize(serializer),
            (Self::Quantity(_) | Self::Text(_) | Self::Nothing, true) => serializer.collect_str(self),
            (Self::Quantity(quantity), false) => {
                Binary { quantity: Some(quantity), ..Binary::NOTHING }.serialize(serializer)
            }
            (Self::Text(text), false) => Binary { text: Some(text), ..Binary::NOTHING }.serialize(serializer),
            (Self::Read(figure), false) => Binary { figure: Some(figure), ..Binary::NOTHING }.serialize(serializer),
            (Self::Nothing, false) => Binary::NOTHING.serialize(serializer),
        }
    }
}

/// What a value is set to, in the binary form: at most one of them.
#[derive(Serialize)]
struct Binary<'s> {
    quantity: Option<&'s Quantity>,
    text: Option<&'s str>,
    figure: Option<&'s Figure>,
}

impl Binary<'_> {
    const NOTHING: Self = Self { quantity: None, text: None, figure: None };
}

impl<'de> Deserialize<'de> for SetTo {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl<'de> Visitor<'de> for Text {
            type Value = SetTo;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(
                    "a quantity such as `0.62 kg`, `none` for a part that is taken out, or `{from: FILE, column: NAME, take: mean}`",
                )
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<SetTo, A::Error> {
                Figure::deserialize(de::value::MapAccessDeserializer::new(map)).map(SetTo::Read)
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<SetTo, E> {
                SetTo::parse(text).map_err(E::custom)
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<SetTo, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<SetTo, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<SetTo, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<SetTo, A::Error> {
                let mut items: Vec<String> = Vec::new();
                while let Some(item) = list.next_element::<Quantity>()? {
                    items.push(item.to_string());
                }
                Ok(SetTo::Text(items.join(", ").into()))
            }
        }
        if deserializer.is_human_readable() {
            return deserializer.deserialize_any(Text);
        }
        Ok(match <(Option<Quantity>, Option<Box<str>>, Option<Figure>)>::deserialize(deserializer)? {
            (Some(quantity), ..) => Self::Quantity(quantity),
            (None, Some(text), _) => Self::Text(text),
            (None, None, Some(figure)) => Self::Read(figure),
            (None, None, None) => Self::Nothing,
        })
    }
}

impl JsonSchema for SetTo {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "SetTo".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (typed, reading) = (typed_schema(generator), generator.subschema_for::<Reading>());
        json_schema!({"anyOf": [typed, reading]})
    }
}

/// The schema of a value that is not read from a file.
fn typed_schema(generator: &mut SchemaGenerator) -> Schema {
    let quantity = generator.subschema_for::<Quantity>();
    json_schema!({"anyOf": [
        quantity.clone(),
        {"const": SetTo::NONE, "description": "The part is taken out of the car."},
        {"type": "string", "pattern": "\\.csv$|,", "description": "A CSV table or a list, for an input of a model."},
        {"type": "array", "items": quantity},
    ]})
}

/// The long form of a value that an alternative sets.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct LongSetting {
    /// The value.
    value: SetTo,
    /// The basis of the value; that of the alternative by default.
    #[serde(default)]
    basis: Option<Id>,
    /// The evidence files, relative to the project root.
    #[serde(default)]
    evidence: Vec<String>,
}

impl Serialize for Setting {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Self { value, basis, evidence } = self.clone();
        LongSetting { value, basis, evidence }.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Setting {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct ShortOrLong;
        impl<'de> Visitor<'de> for ShortOrLong {
            type Value = Setting;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a quantity such as `0.62 kg`, `none` for a part that is taken out, or `{value: 0.62 kg, basis: drawn}`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Setting, E> {
                Ok(SetTo::parse(text).map_err(E::custom)?.into())
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Setting, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Setting, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Setting, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_seq<A: SeqAccess<'de>>(self, list: A) -> Result<Setting, A::Error> {
                Ok(SetTo::deserialize(de::value::SeqAccessDeserializer::new(list))?.into())
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Setting, A::Error> {
                Ok(LongSetting::deserialize(de::value::MapAccessDeserializer::new(map))?.into())
            }
        }
        if deserializer.is_human_readable() {
            return deserializer.deserialize_any(ShortOrLong);
        }
        Ok(LongSetting::deserialize(deserializer)?.into())
    }
}

impl From<SetTo> for Setting {
    fn from(value: SetTo) -> Self {
        Self { value, basis: None, evidence: Vec::new() }
    }
}

impl From<LongSetting> for Setting {
    fn from(long: LongSetting) -> Self {
        Self { value: long.value, basis: long.basis, evidence: long.evidence }
    }
}

impl JsonSchema for Setting {
    fn schema_name() -> Cow<'static, str> {
        "Setting".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let (short, long) = (typed_schema(generator), LongSetting::json_schema(generator));
        json_schema!({"anyOf": [short, long]})
    }
}

impl Setting {
    /// The evidence files that it names, and the one that its number is read from.
    pub fn files(&self) -> impl Iterator<Item = &str> {
        self.evidence.iter().map(String::as_str).chain(self.value.reading().map(|reading| reading.from.as_str()))
    }
}

impl Alternative {
    /// The basis of a value that it sets: its own, otherwise that of the alternative.
    pub fn basis_of<'s>(&'s self, setting: &'s Setting) -> Option<&'s Id> {
        setting.basis.as_ref().or(self.basis.as_ref())
    }

    /// All evidence files that it names.
    pub fn evidence(&self) -> impl Iterator<Item = &str> {
        let of_values = self.sets.iter().flat_map(|(_, setting)| &setting.evidence);
        self.evidence.iter().chain(of_values).map(String::as_str)
    }
}

impl Decision {
    pub(super) fn shape(&self, problems: &mut Vec<ShapeProblem>) {
        let Some(chosen) = &self.chosen else { return };
        if self.alternatives.get(chosen.as_str()).is_none() {
            let names = || self.alternatives.keys().map(Id::as_str);
            let otherwise = if self.alternatives.is_empty() {
                "add `alternatives`".to_owned()
            } else {
                format!("the alternatives are {}", suggest::any_of(names()))
            };
            let help = suggest::did_you_mean(chosen.as_str(), names(), &otherwise);
            problems.push(ShapeProblem::wrong("chosen", format!("`{chosen}` is not one of the alternatives"), &help));
        }
    }
}
