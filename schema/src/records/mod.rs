//! The record kinds: one file per kind, with the meaning and unit of each key.
//!
//! Required keys are still optional in the types, because a record without one stays in the graph, so that no other
//! problem is hidden; [`Body::shape`] reports what is missing.

mod analysis;
mod best;
mod decision;
mod entry;
mod event;
mod fields;
mod figure;
mod goal;
mod own_names;
mod part;
mod reading;
mod requirement;
mod result;
mod revision;
pub mod roles;
mod system;
mod target;
mod texts;
mod verify;
mod waiver;

use std::fmt;

use schemars::JsonSchema;
use serde::de::{Deserialize, Deserializer};
use serde::ser::{Serialize, Serializer};

pub use analysis::{Analysis, Finds};
pub use best::Best;
pub use decision::{Alternative, Decision, SetTo, Setting};
pub use entry::Record;
pub use event::{Event, NONE, Score};
pub use figure::{Figure, Found};
pub use goal::{Goal, PastStandings};
pub use part::{Amount, Part};
pub use reading::{Instrument, Instruments, Reading, Take};
pub use requirement::Requirement;
pub use result::{Outcome, TestResult};
pub use revision::Revision;
pub use roles::{ReferenceKey, Tier};
pub use system::{ForParts, System};
pub use target::{LimitStyle, Target, limit_text};
pub use texts::{Expression, PastValue, Reason, Serves};
pub use verify::{Method, Verification, Verify};
pub use waiver::Waiver;

use crate::entries::Entries;
use crate::words::Id;
use roles::{AmountsRule, ChildrenRule, ReferenceKey as Key, Roles, SafetyRule, TierRule, VerificationRule};

/// The keys that every record may have.
pub trait Common {
    /// A short phrase.
    fn title(&self) -> Option<&str>;
    /// The upward links, each with its reason.
    fn serves(&self) -> &Serves;
    /// The role that is responsible for the record.
    fn lead(&self) -> Option<&str>;
    /// Earlier ids.
    fn formerly(&self) -> &[Id];
}

/// Declares the struct of a kind with the keys that all kinds share, and implements [`Common`] for it.
macro_rules! record {
    ($(#[$meta:meta])* pub struct $name:ident { $($(#[$key:meta])* pub $field:ident: $type:ty,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Debug, Default, PartialEq, serde::Deserialize, serde::Serialize, schemars::JsonSchema)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
        pub struct $name {
            /// A short name of the record for people.
            pub title: Option<String>,
            $($(#[$key])* pub $field: $type,)*
            /// The upward links: the id of each record that it serves, with the reason in one sentence.
            pub serves: crate::records::Serves,
            /// The role that is responsible for the record, never a person's name; without it, the lead of the system.
            pub lead: Option<String>,
            /// Any other information; in a result, why it is still valid after a change.
            pub notes: Option<String>,
            /// Earlier ids of this record, so that its history continues after a rename.
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

/// A missing or contradictory key of a record, found after it was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ShapeProblem {
    /// Whether a key is missing; otherwise a value is wrong.
    pub missing: bool,
    /// The keys from the record down to the value.
    pub route: Vec<&'static str>,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
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
    ($dollar:tt $(
        $(#[$doc:meta])*
        $kind:ident $type:ident $field:ident $name:ident $plural:literal $singular:literal
        about($($about:ident)?) verify($($verify:ident)?) safety_critical($($safety:ident)?) evidence($($evidence:ident)?)
        { $($role:ident: $value:expr,)* }
    )*) => {
        /// The kind of a record.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Kind { $($(#[$doc])* $kind,)* }

        impl Kind {
            /// All kinds, from the top of the chain down; those outside the chain are last.
            pub const ALL: &[Self] = &[$(Self::$kind,)*];

            /// The key in a record file: `goals`, `events`, ...
            pub fn plural(self) -> &'static str {
                match self { $(Self::$kind => $plural,)* }
            }

            /// The word in a sentence: `goal`, `event`, ...
            pub fn singular(self) -> &'static str {
                match self { $(Self::$kind => $singular,)* }
            }

            /// The kind of a key in a record file.
            pub fn from_plural(key: &str) -> Option<Self> {
                match key { $($plural => Some(Self::$kind),)* _ => None }
            }

            /// The kind of a word in a sentence.
            pub fn from_singular(word: &str) -> Option<Self> {
                match word { $($singular => Some(Self::$kind),)* _ => None }
            }

            /// What records of the kind may do, and what they need.
            pub fn roles(self) -> &'static Roles {
                match self { $(Self::$kind => const { &Roles { $($role: $value,)* } },)* }
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

            /// What is missing or contradictory in the record.
            pub fn shape(&self) -> Vec<ShapeProblem> {
                let mut problems = Vec::new();
                match self { $(Self::$kind(body) => body.shape(&mut problems),)* }
                problems
            }

            /// Decodes one record of a kind from any serde deserializer.
            ///
            /// # Errors
            /// Those of the deserializer.
            pub fn decode<'de, D: Deserializer<'de>>(kind: Kind, source: D) -> Result<Self, D::Error> {
                Ok(match kind { $(Kind::$kind => Self::$kind(Box::new($type::deserialize(source)?)),)* })
            }

            fn about(&self) -> Option<&Id> {
                match self { $(Self::$kind(_body) => None::<&Id>$(.or(_body.$about.as_ref()))?,)* }
            }

            fn verify(&self) -> Option<&Verify> {
                match self { $(Self::$kind(_body) => None::<&Verify>$(.or(_body.$verify.as_ref()))?,)* }
            }

            fn safety_critical(&self) -> bool {
                match self { $(Self::$kind(_body) => false $(| _body.$safety)?,)* }
            }

            fn evidence(&self) -> &[String] {
                match self { $(Self::$kind(_body) => [$(_body.$evidence.as_slice())?].first().copied().unwrap_or_default(),)* }
            }
        }

        impl Serialize for Body {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                match self { $(Self::$kind(body) => body.serialize(serializer),)* }
            }
        }

        /// Invokes a macro with one line per kind, in the order of the table: the variant of [`Kind`], the type of its
        /// records, the word for many and the word for a single one as names in code, and a semicolon.
        #[macro_export]
        macro_rules! for_each_kind {
            ($dollar callback:ident) => { $dollar callback! { $($kind $type $field $name;)* } };
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

// One row per kind: variant, type, names in code for many and for a single one, key in a record file, word, the keys
// with a meaning across kinds, and the roles.
kinds! { $
    /// What the team wants to reach in the contest: a place, or points.
    Goal Goal goals goal "goals" "goal" about() verify() safety_critical() evidence() {
        article: "a",
        tier: TierRule::Fixed(Tier::Goal),
        parents: &[],
        highest_parent: None,
        may_serve: false,
        children: ChildrenRule::Always("events"),
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: true,
        amounts: AmountsRule::Never,
        named_under: &[Key::Serves, Key::Verified],
    }
    /// A scored part of the contest.
    Event Event events event "events" "event" about() verify() safety_critical() evidence() {
        article: "an",
        tier: TierRule::Fixed(Tier::Event),
        parents: &[Kind::Goal],
        highest_parent: Some(Tier::Goal),
        may_serve: true,
        children: ChildrenRule::Always("car targets"),
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: true,
        amounts: AmountsRule::Never,
        named_under: &[Key::Serves, Key::Verified],
    }
    /// A group of parts with one lead.
    System System systems system "systems" "system" about(r#in) verify() safety_critical() evidence() {
        article: "a",
        tier: TierRule::Fixed(Tier::System),
        parents: &[],
        highest_parent: None,
        may_serve: true,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Total,
        named_under: &[Key::Serves, Key::In, Key::Subject, Key::Verified],
    }
    /// A value that the car, a system or a part must reach.
    Target Target targets target "targets" "target"
    about(of) verify(verify) safety_critical(safety_critical) evidence() {
        article: "a",
        tier: TierRule::OfSubject,
        parents: &[Kind::Event, Kind::Target],
        highest_parent: Some(Tier::Goal),
        may_serve: true,
        children: ChildrenRule::OnCarTier("system targets or parts"),
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::Always,
        verifies_subject: true,
        safety: SafetyRule::ByKey,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: true,
        amounts: AmountsRule::Never,
        named_under: &[Key::Serves, Key::Verified, Key::Revised, Key::ShareOf, Key::Finds, Key::Criteria],
    }
    /// What the car, a system or a part must do or be, as a sentence.
    Requirement Requirement requirements requirement "requirements" "requirement"
    about(of) verify(verify) safety_critical(safety_critical) evidence() {
        article: "a",
        tier: TierRule::OfSubject,
        parents: &[Kind::Event, Kind::Target],
        highest_parent: Some(Tier::Goal),
        may_serve: true,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::Always,
        verifies_subject: true,
        safety: SafetyRule::ByKey,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Never,
        named_under: &[Key::Serves, Key::Verified],
    }
    /// An item of the car that is bought or made.
    Part Part parts part "parts" "part" about(r#in) verify(verify) safety_critical(safety_critical) evidence() {
        article: "a",
        tier: TierRule::Fixed(Tier::Part),
        parents: &[Kind::Target, Kind::Requirement],
        highest_parent: Some(Tier::Car),
        may_serve: true,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::UnlessSubject,
        verifies_subject: false,
        safety: SafetyRule::ByKey,
        makes_subject_critical: true,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Own,
        named_under: &[Key::Serves, Key::Subject, Key::Verified, Key::Informs],
    }
    /// A calculation: with a model, with a formula, or made outside the tool.
    Analysis Analysis analyses analysis "analyses" "analysis" about() verify() safety_critical() evidence(evidence) {
        article: "an",
        tier: TierRule::Outside,
        parents: &[],
        highest_parent: None,
        may_serve: true,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: false,
        needs_lead: false,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Never,
        named_under: &[Key::Supersedes],
    }
    /// A choice between alternatives, with the reason for the choice.
    Decision Decision decisions decision "decisions" "decision" about(of) verify() safety_critical() evidence() {
        article: "a",
        tier: TierRule::Outside,
        parents: &[Kind::Target, Kind::Requirement],
        highest_parent: None,
        may_serve: true,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: false,
        needs_lead: true,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Never,
        named_under: &[Key::Informs],
    }
    /// What was measured, tested or scored.
    Result TestResult results result "results" "result" about(of) verify() safety_critical() evidence(evidence) {
        article: "a",
        tier: TierRule::Outside,
        parents: &[],
        highest_parent: None,
        may_serve: false,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: false,
        needs_lead: false,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: true,
        has_value: false,
        amounts: AmountsRule::Never,
        named_under: &[Key::SupersedesResult],
    }
    /// An agreed change of a target's limit.
    Revision Revision revisions revision "revisions" "revision" about(of) verify() safety_critical() evidence() {
        article: "a",
        tier: TierRule::Outside,
        parents: &[],
        highest_parent: None,
        may_serve: false,
        children: ChildrenRule::Never,
        chain_by_subject: true,
        is_note: true,
        needs_lead: false,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Never,
        named_under: &[],
    }
    /// A finding that is accepted until an end date.
    Waiver Waiver waivers waiver "waivers" "waiver" about() verify() safety_critical() evidence() {
        article: "a",
        tier: TierRule::Outside,
        parents: &[],
        highest_parent: None,
        may_serve: false,
        children: ChildrenRule::Never,
        chain_by_subject: false,
        is_note: true,
        needs_lead: false,
        verification: VerificationRule::Never,
        verifies_subject: false,
        safety: SafetyRule::Never,
        makes_subject_critical: false,
        needs_evidence: false,
        has_value: false,
        amounts: AmountsRule::Never,
        named_under: &[],
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.singular())
    }
}
