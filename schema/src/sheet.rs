//! Score sheets: the scoring formulas of a published rule book, as data.

use serde::Deserialize;

use crate::entries::Entries;
use crate::records::Expression;
use crate::words::Id;

/// The scoring formulas of one edition of a rule book.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Sheet {
    /// The rule book and its edition.
    pub source: String,
    /// The events.
    pub events: Entries<Id, SheetEvent>,
}

/// How one event is scored.
#[derive(Clone, Debug, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct SheetEvent {
    /// The section of the rule book.
    pub rule: String,
    /// The values that an event must read. For the first one the tool calculates the value needed for the plan.
    pub reads: Vec<Id>,
    /// The inputs that the team must set.
    pub given: Vec<Id>,
    /// Constants of the rule book; a team can override them under `given`.
    #[serde(default)]
    pub constants: Entries<Id, Expression>,
    /// The formula, in points.
    pub formula: Expression,
}
