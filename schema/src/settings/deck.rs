//! `deck`: the wording, the order and the team's own slides of the talk that `tierod deck` writes.

use schemars::JsonSchema;
use serde::Deserialize;

use crate::entries::Entries;
use crate::words::Id;

/// The largest number of slides in the settings, and of ids in a list of them.
pub const MOST_SLIDES: usize = 60;
/// The largest number of characters of a phrase.
pub const LONGEST_PHRASE: usize = 200;
/// The largest number of characters of the notes of a slide.
pub const LONGEST_NOTES: usize = 6_000;
/// The largest number of characters of the text for people who do not see a picture.
pub const LONGEST_ALT: usize = 500;

/// The slides that every project has, in no order. A decision, and a target that is a budget, is a slide with the id of its
/// record.
pub const SLIDES: [&str; 13] = [
    "goal",
    "scored",
    "chain",
    "plan",
    "car",
    "levers",
    "budgets",
    "money",
    "decisions",
    "traded",
    "verification",
    "risk",
    "learned",
];

/// The talk that `tierod deck` writes.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
#[schemars(inline)]
pub struct Deck {
    /// The first slides, in this order; the others come after them in their usual order. `goal`, `scored`, `chain`, `plan`,
    /// `car`, `levers`, `budgets`, `money`, `decisions`, `traded`, `verification`, `risk` and `learned`, the id of a
    /// decision or of a budget, or the name of a slide under `slides`.
    pub order: Vec<Id>,
    /// Slides that are not shown.
    pub drop: Vec<Id>,
    /// Slides by name: other words for one that `tierod deck` has, or a slide of your own with at least a `phrase`. A slide
    /// has the keys `phrase`, `notes`, `for` (the audiences), `picture` (a `.png`, `.jpg` or `.jpeg` file) and `alt` (what the
    /// picture shows; required with `picture`).
    pub slides: Entries<Id, DeckSlide>,
    /// Abbreviations with what they mean, as in `CG: centre of gravity`: shown on the first slide that has one.
    pub abbreviations: Entries<String, String>,
}

/// The wording of a slide.
#[derive(Clone, Debug, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
#[schemars(inline)]
pub struct DeckSlide {
    /// The only sentence on the slide, of at most twelve words.
    pub phrase: Option<String>,
    /// What you say; an empty line begins a new paragraph.
    pub notes: Option<String>,
    /// A picture of the repository, relative to the project root: `.png`, `.jpg` or `.jpeg`. The whole file is in the page,
    /// with the place and the time if the camera wrote them into it.
    pub picture: Option<String>,
    /// What the picture shows, for people who do not see it.
    pub alt: Option<String>,
    /// The audiences that see it, as `--for` names them; everyone by default.
    pub r#for: Vec<Audience>,
}

/// The people that a talk is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Audience {
    /// Judges of the design: reasons, verification, and what was traded.
    Judges,
    /// Sponsors: what money buys.
    Sponsors,
    /// People who are new: what the words mean, and how a car is scored.
    Newcomers,
}

impl Audience {
    /// The word in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Judges => "judges",
            Self::Sponsors => "sponsors",
            Self::Newcomers => "newcomers",
        }
    }
}
