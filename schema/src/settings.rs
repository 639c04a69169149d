//! `tierod.yaml`: the settings of a project. All of them are optional.

pub mod deck;
pub mod imports;

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{self, Deserializer, MapAccess, Visitor};
use std::fmt;

use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::{Code, Day, Id};

/// The name of the settings file; the folder that contains it is the project root.
pub const FILE: &str = "tierod.yaml";

/// The settings of a project.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
#[schemars(title = "tierod settings")]
pub struct Settings {
    /// The year of the contest.
    pub season: Option<u16>,
    /// The name of the team, for pages: never that of a person.
    pub team: Option<String>,
    /// The name of the car, for pages.
    pub car: Option<String>,
    /// The team's currency, an ISO 4217 code.
    pub currency: Option<String>,
    /// The date to use as today: for a finished season, or a demonstration.
    pub as_of: Option<Day>,
    /// Exchange rates: the value of one unit of another currency in the team's currency, for example `USD: 0.92 EUR`, or
    /// in one that has a rate itself. Each is more than zero.
    pub rates: Entries<Code, Quantity>,
    /// The last day of each stage; checks become stricter from stage to stage.
    pub stages: Stages,
    /// The growth allowance of each amount by the basis of its estimate, from `0 %` to `100 %`; the first basis is the
    /// default.
    pub growth: Entries<Id, Entries<Id, Quantity>>,
    /// The lowest probability of reaching the goal that is enough, in `%`; below it `points-short` reports. The default is 50 %.
    pub confidence: Confidence,
    /// The level of each check, for all stages or by stage.
    pub levels: Entries<Id, LevelSetting>,
    /// Glob patterns, relative to the project root, of YAML files that are not record files.
    pub ignore: Vec<String>,
    /// Which new errors stop a commit, and which stop a request.
    pub stops: Stops,
    /// Whether the history checks run: `on`, `off`, or `{since: 2027-01-15}`. With a date they start after that day: they
    /// report nothing from before, for example because the records were imported then. Use `off` if the
    /// commits never show when the records were written, for example because the records are inside another project.
    pub history: HistorySetting,
    /// Spreadsheets that parts come from, by name: `tierod import NAME` reads one. `tierod import FILE` proposes an entry.
    pub imports: Entries<Id, imports::Import>,
    /// The talk that `tierod deck` writes: other words, another order, slides of your own.
    pub deck: deck::Deck,
}

/// The lowest probability of reaching the goal that is enough.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Confidence(pub f64);

impl Default for Confidence {
    fn default() -> Self {
        Self(0.5)
    }
}

impl<'de> Deserialize<'de> for Confidence {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let quantity = Quantity::deserialize(deserializer)?;
        let is_share = quantity.unit().dimension().is_one() && (0.01..=0.99).contains(&quantity.si());
        if !is_share {
            let message =
                format!("`{quantity}` is not a probability from 1 % to 99 %: write it with `%`, as in `80 %`");
            return Err(de::Error::custom(message));
        }
        Ok(Self(quantity.si()))
    }
}

impl JsonSchema for Confidence {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Confidence".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        schemars::json_schema!({"type": "string", "pattern": "^[0-9.]+ ?%$"})
    }
}

/// Which new errors stop a change. Errors about the car that a new result brings stop nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
#[schemars(inline)]
pub struct Stops {
    /// A commit: `check --staged`, which the hook runs. The default is `records`.
    pub commit: StoppedBy,
    /// A request: `delta`, which CI runs. The default is `all`.
    pub request: StoppedBy,
}

impl Default for Stops {
    fn default() -> Self {
        Self { commit: StoppedBy::Records, request: StoppedBy::All }
    }
}

/// The errors that stop a change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum StoppedBy {
    /// All new errors.
    All,
    /// New errors about the records: they are broken, incomplete or contradict each other.
    Records,
}

/// Whether the history checks run, and from when on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum HistorySetting {
    /// They run over the whole history.
    #[default]
    On,
    /// They are skipped.
    Off,
    /// They start after this day.
    Since(Day),
}

impl HistorySetting {
    /// The day after which the history checks start.
    pub fn since(self) -> Option<Day> {
        match self {
            Self::Since(day) => Some(day),
            Self::On | Self::Off => None,
        }
    }
}

impl<'de> Deserialize<'de> for HistorySetting {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields)]
        struct Map {
            since: Day,
        }
        struct WordOrMap;
        impl<'de> Visitor<'de> for WordOrMap {
            type Value = HistorySetting;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("on, off, or a map with the key `since`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<HistorySetting, E> {
                match text {
                    "on" => Ok(HistorySetting::On),
                    "off" => Ok(HistorySetting::Off),
                    _ => Err(E::invalid_value(de::Unexpected::Str(text), &self)),
                }
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<HistorySetting, A::Error> {
                let map = Map::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(HistorySetting::Since(map.since))
            }
        }
        deserializer.deserialize_any(WordOrMap)
    }
}

impl JsonSchema for HistorySetting {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "HistorySetting".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut day = generator.subschema_for::<Day>();
        day.insert("description".to_owned(), "The last day whose records are taken as they are.".into());
        let map = json_schema!({
            "type": "object", "properties": {"since": day}, "required": ["since"], "additionalProperties": false,
        });
        json_schema!({"oneOf": [{"enum": ["on", "off"]}, map]})
    }
}

/// The stages of a season, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    /// The concept is chosen.
    Concept,
    /// The parts are designed.
    Design,
    /// The car is built.
    Build,
    /// The car is tested.
    Test,
    /// The contest takes place.
    Contest,
}

impl Stage {
    /// All stages, in order.
    pub const ALL: [Self; 5] = [Self::Concept, Self::Design, Self::Build, Self::Test, Self::Contest];

    /// The word in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Concept => "concept",
            Self::Design => "design",
            Self::Build => "build",
            Self::Test => "test",
            Self::Contest => "contest",
        }
    }
}

/// The last day of each stage.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
#[schemars(inline)]
pub struct Stages {
    /// The last day of the concept stage.
    pub concept: Option<Day>,
    /// The last day of the design stage.
    pub design: Option<Day>,
    /// The last day of the build stage.
    pub build: Option<Day>,
    /// The last day of the test stage.
    pub test: Option<Day>,
    /// The last day of the contest.
    pub contest: Option<Day>,
}

impl Stages {
    /// The last day of a stage.
    pub fn last_day(&self, stage: Stage) -> Option<Day> {
        match stage {
            Stage::Concept => self.concept,
            Stage::Design => self.design,
            Stage::Build => self.build,
            Stage::Test => self.test,
            Stage::Contest => self.contest,
        }
    }

    /// The stage on a date: the first that has not ended, or the contest if all have ended.
    ///
    /// Without any date in the settings it is the design stage, in which incomplete records are reported but do not stop
    /// a commit.
    pub fn stage_on(&self, day: Day) -> Stage {
        let dated = |stage: &Stage| self.last_day(*stage).is_some();
        if !Stage::ALL.iter().any(dated) {
            return Stage::Design;
        }
        Stage::ALL
            .into_iter()
            .find(|stage| self.last_day(*stage).is_some_and(|end| day <= end))
            .unwrap_or(Stage::Contest)
    }
}

/// The severity of a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Level {
    /// Not reported.
    Off,
    /// For information.
    Note,
    /// Should be fixed.
    Warning,
    /// Must be fixed; a new one can stop a commit or a request.
    Error,
}

impl Level {
    /// The word in settings and outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Error => "error",
        }
    }
}

/// The level of a check, for all stages or by stage.
#[derive(Clone, Debug)]
pub enum LevelSetting {
    /// One level for all stages.
    Always(Level),
    /// A level for each named stage; other stages keep the default of the check.
    ByStage(Entries<StageName, Level>),
}

impl LevelSetting {
    /// The level set for a stage, if there is one.
    pub fn for_stage(&self, stage: Stage) -> Option<Level> {
        match self {
            Self::Always(level) => Some(*level),
            Self::ByStage(levels) => levels.iter().find(|(name, _)| name.0 == stage).map(|(_, level)| *level),
        }
    }
}

/// A stage as a key of a map.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct StageName(pub Stage);

impl fmt::Display for StageName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.word())
    }
}

impl<'de> Deserialize<'de> for StageName {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl Visitor<'_> for Text {
            type Value = StageName;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a stage")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<StageName, E> {
                const WORDS: &[&str] = &["concept", "design", "build", "test", "contest"];
                let stage = Stage::ALL.into_iter().find(|stage| stage.word() == text);
                stage.map(StageName).ok_or_else(|| E::unknown_variant(text, WORDS))
            }
        }
        deserializer.deserialize_str(Text)
    }
}

impl JsonSchema for StageName {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Stage".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"enum": ["concept", "design", "build", "test", "contest"]})
    }
}

impl<'de> Deserialize<'de> for LevelSetting {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct WordOrMap;
        impl<'de> Visitor<'de> for WordOrMap {
            type Value = LevelSetting;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("off, note, warning or error, or a map of stage to level")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<LevelSetting, E> {
                Level::deserialize(de::value::StrDeserializer::new(text)).map(LevelSetting::Always)
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<LevelSetting, A::Error> {
                Entries::deserialize(de::value::MapAccessDeserializer::new(map)).map(LevelSetting::ByStage)
            }
        }
        deserializer.deserialize_any(WordOrMap)
    }
}

impl JsonSchema for LevelSetting {
    fn schema_name() -> Cow<'static, str> {
        "LevelSetting".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let level = generator.subschema_for::<Level>();
        let stage = generator.subschema_for::<StageName>();
        json_schema!({"oneOf": [level, {"type": "object", "propertyNames": stage, "additionalProperties": level}]})
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stage_is_the_first_that_has_not_ended() {
        let day = |text| Day::parse(text).unwrap();
        let stages = Stages { design: Some(day("2027-01-31")), build: Some(day("2027-04-30")), ..Stages::default() };
        assert_eq!(stages.stage_on(day("2026-01-01")), Stage::Design);
        assert_eq!(stages.stage_on(day("2027-01-31")), Stage::Design, "the last day belongs to the stage");
        assert_eq!(stages.stage_on(day("2027-02-01")), Stage::Build);
        assert_eq!(stages.stage_on(day("2027-05-01")), Stage::Contest, "all stages have ended");
        assert_eq!(Stages::default().stage_on(day("2027-05-01")), Stage::Design, "no stage has a date");
    }
}
