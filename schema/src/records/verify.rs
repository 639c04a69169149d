//! `verify`: how a target, requirement or part will be verified.

use schemars::JsonSchema;
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::fmt;

use crate::words::Day;

/// The four methods of verification (NASA Systems Engineering Handbook; ISO/IEC/IEEE 29148).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Method {
    /// Operation under controlled conditions, measured.
    Test,
    /// Calculation or simulation.
    Analysis,
    /// Examination without operation: looking, measuring, weighing, reading a document.
    Inspection,
    /// Operation that shows that it works, without special instruments.
    Demonstration,
}

impl Method {
    /// The word in a record.
    pub fn word(self) -> &'static str {
        match self {
            Self::Test => "test",
            Self::Analysis => "analysis",
            Self::Inspection => "inspection",
            Self::Demonstration => "demonstration",
        }
    }
}

/// One planned verification.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Verification {
    /// The method: test, analysis, inspection or demonstration.
    pub by: Method,
    /// The test rig, instrument or location.
    pub with: Option<String>,
    /// The date by which it must be done.
    pub due: Option<Day>,
    /// The role that is responsible for it.
    pub lead: Option<String>,
}

/// The largest number of planned verifications of a record: each part of a group has all of its list.
const MOST_PLANNED: usize = 100;

/// One verification, or a list of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(transparent)]
pub struct Verify(pub Vec<Verification>);

impl Verify {
    /// Whether analysis is the only method.
    pub fn only_analysis(&self) -> bool {
        self.0.iter().all(|v| v.by == Method::Analysis)
    }

    /// The methods in the order of the record, each once.
    pub fn methods(&self) -> Vec<Method> {
        let mut methods = Vec::with_capacity(self.0.len());
        for planned in &self.0 {
            if !methods.contains(&planned.by) {
                methods.push(planned.by);
            }
        }
        methods
    }

    /// The earliest due date.
    pub fn due(&self) -> Option<Day> {
        self.0.iter().filter_map(|v| v.due).min()
    }
}

impl<'de> Deserialize<'de> for Verify {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneOrMore;
        impl<'de> Visitor<'de> for OneOrMore {
            type Value = Verify;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a map with `by`, or a list of such maps")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Verify, A::Error> {
                Verification::deserialize(de::value::MapAccessDeserializer::new(map))
                    .map(|planned| Verify(vec![planned]))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Verify, A::Error> {
                let mut all = Vec::new();
                while let Some(planned) = list.next_element()? {
                    if all.len() == MOST_PLANNED {
                        return Err(de::Error::custom(format!("the list has more than {MOST_PLANNED} verifications")));
                    }
                    all.push(planned);
                }
                if all.is_empty() {
                    return Err(de::Error::custom("the list of verifications is empty"));
                }
                Ok(Verify(all))
            }
        }
        if deserializer.is_human_readable() {
            deserializer.deserialize_any(OneOrMore)
        } else {
            deserializer.deserialize_seq(OneOrMore)
        }
    }
}

impl JsonSchema for Verify {
    fn schema_name() -> Cow<'static, str> {
        "Verify".into()
    }
    fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
        let single = generator.subschema_for::<Verification>();
        schemars::json_schema!({"oneOf": [single, {"type": "array", "minItems": 1, "items": single}]})
    }
}
