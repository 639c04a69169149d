//! Where a number of a record is read: a column of an evidence file, and what is taken of its rows.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::ser::{Serialize, Serializer};

use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::shorten;

/// A number that is read from a column of a CSV file. The file counts as evidence.
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Reading {
    /// The CSV file, relative to the project root.
    pub from: String,
    /// The column with the readings, by its name in the first line, without a unit in brackets; not needed for `take:
    /// count`.
    #[serde(default)]
    pub column: Option<String>,
    /// The unit of the readings, for example `s`; `1` for plain numbers. Not needed if the first line has it in brackets, as
    /// in `time [s]`.
    #[serde(default)]
    pub unit: Option<String>,
    /// What is taken of the readings: `lowest`, `highest`, `mean`, `median`, `last`, `count`, or a percentile such as
    /// `95 %`. Not needed if there is one reading.
    #[serde(default)]
    pub take: Option<Take>,
    /// Only the rows that have these texts or numbers in these columns, for example `{run: valid}`.
    #[serde(default)]
    pub r#where: Entries<String, String>,
    /// The uncertainty of the instrument: a standard uncertainty such as `0.01 s`, limits such as `{within: 0.01 s}` (a data
    /// sheet), an expanded uncertainty with k = 2 such as `{expanded: 0.02 s}` (a certificate), or a list of them.
    #[serde(default)]
    pub instrument: Instruments,
    /// The number as it was typed by hand. It is used in place of the one that is read, and compared with it.
    #[serde(default)]
    pub typed: Option<Quantity>,
}

/// What is taken of the readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Take {
    /// The smallest number.
    Lowest,
    /// The largest number.
    Highest,
    /// The arithmetic mean, with its uncertainty.
    Mean,
    /// The number in the middle, or the mean of the two in the middle.
    Median,
    /// The number of the last row.
    Last,
    /// The number of rows.
    Count,
    /// A percentile, from 0 to 1.
    Percentile(f64),
}

impl Take {
    /// The words, except the percentiles.
    pub const WORDS: [(&str, Self); 6] = [
        ("lowest", Self::Lowest),
        ("highest", Self::Highest),
        ("mean", Self::Mean),
        ("median", Self::Median),
        ("last", Self::Last),
        ("count", Self::Count),
    ];

    fn parse(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Some((_, take)) = Self::WORDS.iter().find(|(word, _)| *word == text) {
            return Ok(*take);
        }
        let share = Quantity::parse(text).ok().filter(|share| text.ends_with('%') && share.uncertainty().is_none());
        match share.map(|share| share.si()) {
            Some(share) if (0.0..=1.0).contains(&share) => Ok(Self::Percentile(share)),
            Some(_) => Err(format!("the percentile `{}` is not from 0 % to 100 %", shorten(text))),
            None => Err(format!(
                "`{}` cannot be taken: use lowest, highest, mean, median, last, count, or a percentile such as `95 %`",
                shorten(text)
            )),
        }
    }
}

impl fmt::Display for Take {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Percentile(share) => write!(f, "{} %", crate::number::precise(share * 100.0)),
            _ => f.write_str(Self::WORDS.iter().find(|(_, take)| take == self).map_or("", |(word, _)| word)),
        }
    }
}

impl Serialize for Take {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Take {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = <Cow<'de, str>>::deserialize(deserializer)?;
        Self::parse(&text).map_err(de::Error::custom)
    }
}

impl JsonSchema for Take {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Take".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let words: Vec<&str> = Self::WORDS.iter().map(|(word, _)| *word).collect();
        json_schema!({"anyOf": [{"enum": words}, {"type": "string", "pattern": "^[0-9.]+ ?%$"}]})
    }
}

/// What is known of the uncertainty of an instrument (JCGM 100:2008, 4.3).
#[derive(Clone, Debug, PartialEq, serde::Deserialize, serde::Serialize)]
pub enum Instrument {
    /// A standard uncertainty.
    Standard(Quantity),
    /// Limits between which any deviation is equally probable: half of the width (4.3.7).
    Within(Quantity),
    /// An expanded uncertainty with k = 2 (4.3.3).
    Expanded(Quantity),
}

impl Instrument {
    /// The text of the number.
    pub fn quantity(&self) -> &Quantity {
        match self {
            Self::Standard(quantity) | Self::Within(quantity) | Self::Expanded(quantity) => quantity,
        }
    }

    /// The standard uncertainty in SI.
    pub fn standard(&self) -> f64 {
        let size = self.quantity().value() * self.quantity().unit().factor();
        match self {
            Self::Standard(_) => size,
            Self::Within(_) => size / 3.0_f64.sqrt(),
            Self::Expanded(_) => size / 2.0,
        }
    }
}

/// The parts of the uncertainty of an instrument: resolution, calibration and the like, which are independent.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Instruments(pub Vec<Instrument>);

#[derive(serde::Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Long {
    within: Option<Quantity>,
    expanded: Option<Quantity>,
}

impl TryFrom<Long> for Instrument {
    type Error = &'static str;
    fn try_from(long: Long) -> Result<Self, &'static str> {
        match (long.within, long.expanded) {
            (Some(within), None) => Ok(Self::Within(within)),
            (None, Some(expanded)) => Ok(Self::Expanded(expanded)),
            _ => Err("use `within` (limits) or `expanded` (k = 2), for example `{within: 0.01 s}`"),
        }
    }
}

/// One part: a quantity, or a map.
struct Part(Instrument);

/// Refuses what is not an uncertainty.
fn checked<E: de::Error>(part: Instrument) -> Result<Instrument, E> {
    let quantity = part.quantity();
    if quantity.value() < 0.0 || quantity.uncertainty().is_some() {
        return Err(E::custom(format!("`{quantity}` is not an uncertainty: use a number of 0 or more, with its unit")));
    }
    Ok(part)
}

impl<'de> Deserialize<'de> for Part {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct TextOrMap;
        impl<'de> Visitor<'de> for TextOrMap {
            type Value = Part;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an uncertainty such as `0.01 s`, or `{within: 0.01 s}`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Part, E> {
                let quantity = Quantity::parse(text).map_err(E::custom)?;
                checked(Instrument::Standard(quantity)).map(Part)
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Part, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Part, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Part, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Part, A::Error> {
                let long = Long::deserialize(de::value::MapAccessDeserializer::new(map))?;
                checked(Instrument::try_from(long).map_err(de::Error::custom)?).map(Part)
            }
        }
        deserializer.deserialize_any(TextOrMap)
    }
}

impl<'de> Deserialize<'de> for Instruments {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneOrList;
        impl<'de> Visitor<'de> for OneOrList {
            type Value = Instruments;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an uncertainty such as `0.01 s`, `{within: 0.01 s}`, or a list of them")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Instruments, E> {
                let part = Part::deserialize(de::value::StrDeserializer::<E>::new(text))?;
                Ok(Instruments(vec![part.0]))
            }
            fn visit_f64<E: de::Error>(self, number: f64) -> Result<Instruments, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_i64<E: de::Error>(self, number: i64) -> Result<Instruments, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_u64<E: de::Error>(self, number: u64) -> Result<Instruments, E> {
                self.visit_str(&number.to_string())
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Instruments, A::Error> {
                let long = Long::deserialize(de::value::MapAccessDeserializer::new(map))?;
                let part = checked(Instrument::try_from(long).map_err(de::Error::custom)?)?;
                Ok(Instruments(vec![part]))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Instruments, A::Error> {
                let mut all = Vec::new();
                while let Some(part) = list.next_element::<Part>()? {
                    all.push(part.0);
                }
                Ok(Instruments(all))
            }
        }
        if !deserializer.is_human_readable() {
            return Vec::deserialize(deserializer).map(Self);
        }
        deserializer.deserialize_any(OneOrList)
    }
}

impl Serialize for Instruments {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if !serializer.is_human_readable() {
            return self.0.serialize(serializer);
        }
        let part = |part: &Instrument| match part {
            Instrument::Standard(quantity) => serde_json::json!(quantity),
            Instrument::Within(quantity) => serde_json::json!({"within": quantity}),
            Instrument::Expanded(quantity) => serde_json::json!({"expanded": quantity}),
        };
        match &self.0[..] {
            [] => serializer.serialize_none(),
            [only] => part(only).serialize(serializer),
            all => serializer.collect_seq(all.iter().map(part)),
        }
    }
}

impl JsonSchema for Instruments {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Instruments".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let quantity = generator.subschema_for::<Quantity>();
        let map = |key: &str, text: &str| {
            let mut own = quantity.clone();
            own.insert("description".to_owned(), text.into());
            json_schema!({
                "type": "object",
                "properties": {key: own},
                "required": [key],
                "additionalProperties": false
            })
        };
        let one = json_schema!({"anyOf": [
            quantity.clone(),
            map("within", "Limits between which any deviation is equally probable: half of the width."),
            map("expanded", "An expanded uncertainty with k = 2, as in a certificate.")
        ]});
        json_schema!({"anyOf": [one.clone(), {"type": "array", "items": one}]})
    }
}
