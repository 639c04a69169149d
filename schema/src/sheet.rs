//! Score sheets: the scoring formulas of a published rule book, as data.

use serde::Deserialize;

use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::records::Expression;
use crate::words::Id;

/// The scoring formulas of one edition of a rule book.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Sheet {
    /// The rule book and its edition.
    pub source: String,
    /// The most points of the whole contest, if the sheet has all its events.
    pub total: Option<Quantity>,
    /// The events with a formula.
    pub events: Entries<Id, SheetEvent>,
    /// The events that judges score, without a formula.
    #[serde(default)]
    pub judged: Entries<Id, JudgedEvent>,
}

/// An event that judges score.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct JudgedEvent {
    /// The section of the rule book.
    pub rule: String,
    /// The most points of the event.
    pub most: Quantity,
    /// What the rule book says about it.
    #[serde(default)]
    pub notes: Vec<String>,
}

/// How one event is scored. All texts can use all names of the event, and a team can override each of them under `given`.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct SheetEvent {
    /// The section of the rule book.
    pub rule: String,
    /// The most points of the event; formulas can use it by the name `most`.
    pub most: Expression,
    /// The values of the car that an event reads. For the first one the tool calculates the value needed for the plan.
    pub reads: Entries<Id, SheetInput>,
    /// The inputs that are not values of the car, for example the best time of the others.
    #[serde(default)]
    pub given: Entries<Id, SheetInput>,
    /// Tables that the organizer sets: a team gives the list of the points.
    #[serde(default)]
    pub tables: Entries<Id, SheetTable>,
    /// Constants of the rule book.
    #[serde(default)]
    pub constants: Entries<Id, Expression>,
    /// Values between the inputs and the points, for example a time with penalties.
    #[serde(default)]
    pub steps: Entries<Id, Expression>,
    /// The formula, in points.
    pub formula: Expression,
    /// The points without a valid run or without a finish, which formulas can use by the name `no-finish`; 0 if missing.
    pub no_finish: Option<Expression>,
    /// Where the formula is from, if it is not in the rule book.
    pub inferred: Option<String>,
    /// What the formula does not contain.
    #[serde(default)]
    pub notes: Vec<String>,
}

/// An input of a score sheet.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct SheetInput {
    /// What it is.
    pub is: String,
    /// A unit of its dimension; without one, any dimension is accepted that the formulas accept.
    pub unit: Option<String>,
    /// Its value if it is not set; without one, it must be set.
    pub default: Option<Expression>,
    /// Its value for the word `none`; otherwise, `none` means its default, and without a default the points without a finish.
    pub none: Option<Expression>,
}

/// A table of a score sheet: the points by another input.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct SheetTable {
    /// What it is.
    pub is: String,
    /// The input that selects the entry: 1 for the first one. Between entries, and from 0 before the first one, the points
    /// are interpolated.
    pub by: Id,
}

impl SheetEvent {
    /// An input by its name, under `reads` or `given`.
    pub fn input(&self, name: &str) -> Option<&SheetInput> {
        self.reads.get(name).or_else(|| self.given.get(name))
    }

    /// The inputs, each with the key that it belongs under.
    pub fn inputs(&self) -> impl Iterator<Item = (&'static str, &Id, &SheetInput)> {
        let under = |key| move |(id, input)| (key, id, input);
        self.reads.iter().map(under("reads")).chain(self.given.iter().map(under("given")))
    }

    /// The names with a text in the sheet, apart from `most` and `no-finish`: defaults, constants and steps.
    pub fn texts(&self) -> impl Iterator<Item = (&str, &str)> {
        let defaults = self.inputs().filter_map(|(_, id, input)| Some((id.as_str(), input.default.as_ref()?.text())));
        defaults.chain(self.constants.iter().chain(self.steps.iter()).map(|(id, text)| (id.as_str(), text.text())))
    }

    /// All names of the event that formulas can use.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let inputs = self.inputs().map(|(_, id, _)| id.as_str());
        let texts = self.constants.keys().chain(self.steps.keys()).chain(self.tables.keys());
        inputs.chain(texts.map(Id::as_str)).chain([MOST, NO_FINISH])
    }
}

/// The name of the most points of an event in its formulas.
pub const MOST: &str = "most";
/// The name of the points without a finish in the formulas of an event.
pub const NO_FINISH: &str = "no-finish";
