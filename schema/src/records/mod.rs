//! The record kinds: one file a kind, each key with its meaning and unit.
//!
//! Keys that a kind cannot do without are still optional in the types, so that a record that lacks one
//! stays in the graph and hides nothing else; [`Body::shape`] tells what is missing.

mod analysis;
mod decision;
mod event;
mod goal;
mod part;
mod requirement;
mod result;
mod revision;
mod system;
mod target;
mod verify;
mod waiver;

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::ser::{Serialize, Serializer};

pub use analysis::{Analysis, Finds};
pub use decision::{Alternative, Decision};
pub use event::{Event, Score};
pub use goal::{Field, Goal};
pub use part::{Amount, Part};
pub use requirement::Requirement;
pub use result::{Outcome, TestResult};
pub use revision::Revision;
pub use system::System;
pub use target::Target;
pub use verify::{Method, Verification, Verify};
pub use waiver::Waiver;

use crate::entries::Entries;
use crate::words::{Id, shorten};

/// Parent id to the reason why, in one sentence; a reason left empty is read, for a check to tell.
pub type Serves = Entries<Id, Reason>;

/// A text that a record may name but leave empty: `serves: {car-mass: }`.
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
        json_schema!({"type": "string", "pattern": "\\S", "description": "Why, in one sentence."})
    }
}

/// A quantity, the name of a value, or a formula with units; formulas are parsed where values are computed.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression(Box<str>);

impl Expression {
    /// The text as written.
    pub fn text(&self) -> &str {
        &self.0
    }
}

impl<'de> Deserialize<'de> for Expression {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl Visitor<'_> for Text {
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
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": ["string", "number"]})
    }
}

/// What every record may have.
pub trait Common {
    /// A short phrase.
    fn title(&self) -> Option<&str>;
    /// The upward links, each with its reason.
    fn serves(&self) -> &Serves;
    /// The role that answers for the record.
    fn lead(&self) -> Option<&str>;
    /// Older ids.
    fn formerly(&self) -> &[Id];
}

/// Declares a kind's struct with the keys that all kinds share, and its place in [`Common`].
macro_rules! record {
    ($(#[$meta:meta])* pub struct $name:ident { $($(#[$key:meta])* pub $field:ident: $type:ty,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Debug, Default, PartialEq, serde::Deserialize, serde::Serialize, schemars::JsonSchema)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
        pub struct $name {
            /// A short phrase that names the record for people.
            pub title: Option<String>,
            $($(#[$key])* pub $field: $type,)*
            /// The upward links: id of what it serves, and the reason why, in one sentence.
            pub serves: crate::records::Serves,
            /// The role that answers for the record, never a person's name; inherited from the system.
            pub lead: Option<String>,
            /// Anything else worth keeping; in a result, why it stands after a change.
            pub notes: Option<String>,
            /// Older ids of this record, so that history follows a rename.
            pub formerly: Vec<crate::words::Id>,
        }
        impl crate::records::Common for $name {
            fn title(&self) -> Option<&str> { self.title.as_deref() }
            fn serves(&self) -> &crate::records::Serves { &self.serves }
            fn lead(&self) -> Option<&str> { self.lead.as_deref() }
            fn formerly(&self) -> &[crate::words::Id] { &self.formerly }
        }
    };
}
use record;

/// What a record lacks or says twice, told after it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShapeProblem {
    /// Is a key missing (else a value is wrong)?
    pub missing: bool,
    /// The keys from the record to the value.
    pub route: Vec<&'static str>,
    /// What is wrong, for a person.
    pub message: String,
    /// What to do.
    pub help: String,
}

impl ShapeProblem {
    fn missing(key: &'static str, help: &str) -> Self {
        Self { missing: true, route: vec![key], message: format!("`{key}` is missing"), help: help.to_owned() }
    }

    fn wrong(key: &'static str, message: impl Into<String>, help: &str) -> Self {
        Self { missing: false, route: vec![key], message: message.into(), help: help.to_owned() }
    }
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $type:ident $field:ident $plural:literal $singular:literal;)*) => {
        /// The kind of a record.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Kind { $($(#[$doc])* $kind,)* }

        impl Kind {
            /// All kinds, in the order in which a chain is told.
            pub const ALL: &[Self] = &[$(Self::$kind,)*];

            /// The key in a record file: `goals`, `events`, ...
            pub fn plural(self) -> &'static str {
                match self { $(Self::$kind => $plural,)* }
            }

            /// For a sentence: `goal`, `event`, ...
            pub fn singular(self) -> &'static str {
                match self { $(Self::$kind => $singular,)* }
            }

            /// The kind of a key in a record file.
            pub fn from_plural(key: &str) -> Option<Self> {
                match key { $($plural => Some(Self::$kind),)* _ => None }
            }
        }

        /// The keys of a record, by kind.
        #[derive(Clone, Debug, PartialEq)]
        #[allow(missing_docs, reason = "each variant holds the kind of its name")]
        pub enum Body { $($kind(Box<$type>),)* }

        impl Body {
            /// The kind of the record.
            pub fn kind(&self) -> Kind {
                match self { $(Self::$kind(_) => Kind::$kind,)* }
            }

            /// The keys that every kind has.
            pub fn common(&self) -> &dyn Common {
                match self { $(Self::$kind(body) => body.as_ref(),)* }
            }

            /// What is missing or said twice in the record.
            pub fn shape(&self) -> Vec<ShapeProblem> {
                let mut problems = Vec::new();
                match self { $(Self::$kind(body) => body.shape(&mut problems),)* }
                problems
            }

            /// Decodes one record of a kind from any source that serde knows.
            ///
            /// # Errors
            /// Those of the source.
            pub fn decode<'de, D: Deserializer<'de>>(kind: Kind, source: D) -> Result<Self, D::Error> {
                Ok(match kind { $(Kind::$kind => Self::$kind(Box::new($type::deserialize(source)?)),)* })
            }
        }

        impl Serialize for Body {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                match self { $(Self::$kind(body) => body.serialize(serializer),)* }
            }
        }

        /// A record file: kind, then id, then record.
        #[derive(Default, serde::Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
        #[schemars(title = "tierod record file")]
        pub struct RecordFile {
            $($(#[$doc])* pub $field: Entries<Id, $type>,)*
        }

        impl RecordFile {
            /// The records of the file, kind by kind.
            pub fn into_records(self) -> Vec<(Id, Body)> {
                let mut records = Vec::with_capacity(0 $(+ self.$field.len())*);
                $(records.extend(self.$field.into_iter().map(|(id, body)| (id, Body::$kind(Box::new(body)))));)*
                records
            }
        }
    };
}

kinds! {
    /// What the team set out to reach: a place, or points.
    Goal Goal goals "goals" "goal";
    /// A scored part of the contest.
    Event Event events "events" "event";
    /// A group of parts that one lead answers for.
    System System systems "systems" "system";
    /// A value that the car, a system or a part must reach.
    Target Target targets "targets" "target";
    /// Something that must be so, told in a sentence.
    Requirement Requirement requirements "requirements" "requirement";
    /// What is bought or made and goes into the car.
    Part Part parts "parts" "part";
    /// A calculation: a model, a formula, or one made elsewhere.
    Analysis Analysis analyses "analyses" "analysis";
    /// A choice between alternatives, and why it fell as it did.
    Decision Decision decisions "decisions" "decision";
    /// What was measured, tested or scored.
    Result TestResult results "results" "result";
    /// An agreed change of a target.
    Revision Revision revisions "revisions" "revision";
    /// A finding that is accepted until a day.
    Waiver Waiver waivers "waivers" "waiver";
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.singular())
    }
}

/// One record: its id and its keys.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The id, unique over all kinds.
    pub id: Id,
    /// The keys.
    pub body: Body,
}

impl Record {
    /// The kind.
    pub fn kind(&self) -> Kind {
        self.body.kind()
    }

    /// The title, or the id where there is none.
    pub fn name(&self) -> &str {
        self.body.common().title().unwrap_or(self.id.as_str())
    }

    /// What it is about: `of` for targets, requirements, decisions, results and revisions; `in` for parts and systems.
    pub fn about(&self) -> Option<&Id> {
        match &self.body {
            Body::Target(b) => b.of.as_ref(),
            Body::Requirement(b) => b.of.as_ref(),
            Body::Decision(b) => b.of.as_ref(),
            Body::Result(b) => b.of.as_ref(),
            Body::Revision(b) => b.of.as_ref(),
            Body::Part(b) => b.r#in.as_ref(),
            Body::System(b) => b.r#in.as_ref(),
            Body::Goal(_) | Body::Event(_) | Body::Analysis(_) | Body::Waiver(_) => None,
        }
    }

    /// How it is to be verified, where the kind has that key.
    pub fn verify(&self) -> Option<&Verify> {
        match &self.body {
            Body::Target(b) => b.verify.as_ref(),
            Body::Requirement(b) => b.verify.as_ref(),
            Body::Part(b) => b.verify.as_ref(),
            _ => None,
        }
    }

    /// Is it marked as one that people's safety depends on?
    pub fn safety_critical(&self) -> bool {
        match &self.body {
            Body::Target(b) => b.safety_critical,
            Body::Requirement(b) => b.safety_critical,
            Body::Part(b) => b.safety_critical,
            _ => false,
        }
    }

    /// The evidence files it names.
    pub fn evidence(&self) -> &[String] {
        match &self.body {
            Body::Result(b) => &b.evidence,
            Body::Analysis(b) => &b.evidence,
            _ => &[],
        }
    }
}
