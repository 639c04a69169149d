//! The roles of a kind: what its records may name, what may name them, and what they need.
//!
//! Each kind has one [`Roles`] value, in its row of the table in `mod.rs`. Checks, links and reports ask the
//! methods of [`Kind`] here, so that no other file keeps a list of kinds.

use super::Kind;
use crate::suggest;

/// The tier of a record in the chain, from the top down.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tier {
    /// A goal.
    Goal,
    /// An event.
    Event,
    /// A target or requirement of the car.
    Car,
    /// A system, or a target or requirement of one.
    System,
    /// A part, or a target or requirement of one.
    Part,
}

impl Tier {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Goal => "goal",
            Self::Event => "event",
            Self::Car => "car",
            Self::System => "system",
            Self::Part => "part",
        }
    }
}

/// How the tier of a record follows from its kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TierRule {
    /// All records of the kind have this tier.
    Fixed(Tier),
    /// The tier of the subject: the car, or the system or part under `of`.
    OfSubject,
    /// Records of the kind are linked to the chain but are not in it.
    Outside,
}

/// Whether a record of a kind needs records that serve it, and which.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChildrenRule {
    /// Always; the phrase names what should serve it.
    Always(&'static str),
    /// Only on the car tier; the phrase names what should serve it.
    OnCarTier(&'static str),
    /// Never.
    Never,
}

/// Whether a record of a kind needs a planned verification.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VerificationRule {
    /// Always.
    Always,
    /// Only if no record of a kind that [verifies its subject](Roles::verifies_subject) is about it.
    UnlessSubject,
    /// Never; the kind has no key `verify`.
    Never,
}

/// Whether records of a kind are critical for people's safety.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SafetyRule {
    /// Always.
    Always,
    /// If their key `safety-critical` is true.
    ByKey,
    /// Never; the kind has no key `safety-critical`.
    Never,
}

/// Whether a record of a kind has amounts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AmountsRule {
    /// Its own, under `amounts`.
    Own,
    /// The totals of the parts in it.
    Total,
    /// Never; the kind has no key `amounts`.
    Never,
}

/// A key under which a record names other records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ReferenceKey {
    /// `serves` of any record.
    Serves,
    /// `in` of a system or part.
    In,
    /// `of` of a target, requirement or decision: its subject.
    Subject,
    /// `of` of a result.
    Verified,
    /// `of` of a revision.
    Revised,
    /// `share-of` of a target.
    ShareOf,
    /// `finds` of an analysis.
    Finds,
    /// `informs` of an analysis.
    Informs,
    /// `supersedes` of an analysis.
    Supersedes,
    /// `supersedes` of a result.
    SupersedesResult,
    /// The targets that judge the alternatives of a decision.
    Criteria,
}

/// The roles of a kind.
#[derive(Clone, Copy, Debug)]
pub struct Roles {
    /// The article before the word in a sentence: `a` or `an`.
    pub article: &'static str,
    /// How the tier of a record follows from the kind.
    pub tier: TierRule,
    /// The kinds that a record is expected to serve; empty if it does not need a parent.
    pub parents: &'static [Kind],
    /// The highest tier that a record may serve; `None` if the tiers of its parents are not checked.
    pub highest_parent: Option<Tier>,
    /// Whether it may have the key `serves`.
    pub may_serve: bool,
    /// Whether it needs records that serve it.
    pub children: ChildrenRule,
    /// Whether its chain to a goal continues at its subject if it serves nothing.
    pub chain_by_subject: bool,
    /// Whether it is a note on another record: pictures of the chain do not show it as a record of its own.
    pub is_note: bool,
    /// Whether it needs a lead, its own or that of its system.
    pub needs_lead: bool,
    /// Whether it needs a planned verification.
    pub verification: VerificationRule,
    /// Whether its verification covers its subject too, so that the subject may have none of its own.
    pub verifies_subject: bool,
    /// Whether it is critical for people's safety.
    pub safety: SafetyRule,
    /// Whether what it is about, or in, is critical for people's safety if it is.
    pub makes_subject_critical: bool,
    /// Whether it needs at least one evidence file.
    pub needs_evidence: bool,
    /// Whether formulas can name its value: the record's id is then the name of a value.
    pub has_value: bool,
    /// Whether it has amounts: `id.amount` is then the name of a value.
    pub amounts: AmountsRule,
    /// The keys of other records that may name it.
    pub named_under: &'static [ReferenceKey],
}

impl Kind {
    /// The kind with its article, for a sentence: `a goal`, `an event`.
    pub fn with_article(self) -> String {
        format!("{} {}", self.roles().article, self.singular())
    }

    /// Whether a record of the kind must serve another one.
    pub fn needs_parent(self) -> bool {
        !self.roles().parents.is_empty()
    }

    /// What a record of the kind is expected to serve, in words: `event or target`.
    pub fn expected_parents(self) -> String {
        suggest::any_of(self.roles().parents.iter().map(|kind| kind.singular()))
    }

    /// Whether a record of the kind must be in a chain to a goal: it has a tier and needs a parent.
    pub fn must_reach_goal(self) -> bool {
        self.needs_parent() && self.roles().tier != TierRule::Outside
    }

    /// What should serve a record of the kind on a tier, in words; `None` if it needs no children.
    pub fn expected_children(self, tier: Option<Tier>) -> Option<&'static str> {
        match self.roles().children {
            ChildrenRule::Always(what) => Some(what),
            ChildrenRule::OnCarTier(what) => (tier == Some(Tier::Car)).then_some(what),
            ChildrenRule::Never => None,
        }
    }

    /// Whether a record of the kind needs a planned verification. `is_subject`: whether a record of a kind that
    /// [verifies its subject](Roles::verifies_subject) is about it.
    pub fn needs_verification(self, is_subject: bool) -> bool {
        match self.roles().verification {
            VerificationRule::Always => true,
            VerificationRule::UnlessSubject => !is_subject,
            VerificationRule::Never => false,
        }
    }

    /// Whether a record of the kind has amounts, so that `id.amount` is the name of a value.
    pub fn has_amounts(self) -> bool {
        self.roles().amounts != AmountsRule::Never
    }

    /// Whether a key may name a record of the kind.
    pub fn may_be_named_under(self, key: ReferenceKey) -> bool {
        self.roles().named_under.contains(&key)
    }

    /// The kinds that a key may name, in the order of the table.
    pub fn named_under(key: ReferenceKey) -> impl Iterator<Item = Self> {
        Self::ALL.iter().copied().filter(move |kind| kind.may_be_named_under(key))
    }
}

/// Kinds in a row for a message, with the article of the first: `an event, target or part`.
pub fn any_kind_of(kinds: impl IntoIterator<Item = Kind>) -> String {
    let kinds: Vec<Kind> = kinds.into_iter().collect();
    let names = suggest::any_of(kinds.iter().map(|kind| kind.singular()));
    match kinds.first() {
        Some(first) => format!("{} {names}", first.roles().article),
        None => names,
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;
    use crate::records::{Body, Record};
    use crate::words::Id;

    fn kinds(which: impl Fn(Kind) -> bool) -> Vec<&'static str> {
        Kind::ALL.iter().filter(|kind| which(**kind)).map(|kind| kind.singular()).collect()
    }

    #[test]
    fn the_chain() {
        assert_eq!(
            kinds(|kind| kind.may_be_named_under(ReferenceKey::Serves)),
            ["goal", "event", "system", "target", "requirement", "part"]
        );
        assert_eq!(kinds(Kind::needs_parent), ["event", "target", "requirement", "part", "decision"]);
        assert_eq!(kinds(Kind::must_reach_goal), ["event", "target", "requirement", "part"]);
        assert_eq!(kinds(|kind| kind.roles().highest_parent.is_some()), kinds(Kind::must_reach_goal));
        assert_eq!(Kind::Part.expected_parents(), "target or requirement");
        assert_eq!(Kind::Target.expected_children(Some(Tier::Car)), Some("system targets or parts"));
        assert_eq!(Kind::Target.expected_children(Some(Tier::System)), None);
        assert_eq!(kinds(|kind| kind.expected_children(None).is_some()), ["goal", "event"]);
    }

    #[test]
    fn values_and_needs() {
        assert_eq!(kinds(|kind| kind.roles().has_value), ["goal", "event", "target"]);
        assert_eq!(kinds(Kind::has_amounts), ["system", "part"]);
        assert_eq!(
            kinds(|kind| kind.roles().needs_lead),
            ["goal", "event", "system", "target", "requirement", "part", "decision"]
        );
        assert_eq!(kinds(|kind| kind.roles().verifies_subject), ["target", "requirement"]);
        assert_eq!(kinds(|kind| kind.roles().makes_subject_critical), ["part"]);
        assert_eq!(kinds(|kind| kind.roles().chain_by_subject), ["revision"]);
        assert_eq!(kinds(|kind| kind.roles().is_note), ["revision", "waiver"]);
        assert_eq!(kinds(|kind| kind.needs_verification(false)), ["target", "requirement", "part"]);
        assert_eq!(kinds(|kind| kind.needs_verification(true)), ["target", "requirement"]);
    }

    /// Only a kind with the key of a role has that role, and what [`Record`] returns for a key is what the record has.
    #[test]
    fn roles_agree_with_the_keys() {
        let schema = crate::json_schema::records();
        for &kind in Kind::ALL {
            let path = schema["properties"][kind.plural()]["additionalProperties"]["$ref"].as_str().unwrap();
            let keys = schema.pointer(path.trim_start_matches('#')).unwrap()["properties"].as_object().unwrap();
            let has = |key: &str| keys.contains_key(key);
            let with = |key: &str, value: Value| {
                let body = Body::decode(kind, json!({key: value})).unwrap();
                Record { id: Id::new("own").unwrap(), body }
            };
            let roles = kind.roles();
            assert_eq!(has("verify"), roles.verification != VerificationRule::Never, "{kind}");
            assert_eq!(has("safety-critical"), roles.safety == SafetyRule::ByKey, "{kind}");
            assert_eq!(has("amounts"), roles.amounts == AmountsRule::Own, "{kind}");
            assert!(!roles.needs_evidence || has("evidence"), "{kind}");
            assert!(roles.tier != TierRule::OfSubject || has("of"), "{kind}");
            let has_subject = ["of", "in"].into_iter().any(|key| has(key) && with(key, json!("car")).about().is_some());
            // A waiver is about a finding, not about the record of the finding.
            assert_eq!(has_subject, (has("of") || has("in")) && kind != Kind::Waiver, "{kind}");
            for role in [roles.verifies_subject, roles.makes_subject_critical, roles.chain_by_subject] {
                assert!(!role || has_subject, "{kind}");
            }
            if has("verify") {
                assert!(with("verify", json!({"by": "test"})).verify().is_some(), "{kind}");
            }
            if has("evidence") {
                assert_eq!(with("evidence", json!(["tests/a.csv"])).evidence(), ["tests/a.csv"], "{kind}");
            }
            if has("safety-critical") {
                assert!(with("safety-critical", json!(true)).safety_critical(), "{kind}");
            }
            let vowel = kind.singular().starts_with(['a', 'e', 'i', 'o', 'u']);
            assert_eq!(roles.article, if vowel { "an" } else { "a" }, "{kind}");
        }
    }

    #[test]
    fn kinds_in_a_row() {
        assert_eq!(
            any_kind_of(Kind::named_under(ReferenceKey::Verified)),
            "a goal, event, system, target, requirement or part"
        );
        assert_eq!(any_kind_of(Kind::named_under(ReferenceKey::In)), "a system");
        assert_eq!(Kind::Analysis.with_article(), "an analysis");
    }
}
