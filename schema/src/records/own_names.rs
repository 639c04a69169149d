//! The names that a record gives to inputs of its own formula.

use super::{Body, Expression};
use crate::{Entries, Id};

impl Body {
    /// The maps of these names, each with the keys that lead to it: `given` of a target or an analysis, `reads` and
    /// `score.given` of an event.
    pub fn own_names(&self) -> Vec<(&'static [&'static str], &Entries<Id, Expression>)> {
        match self {
            Self::Target(target) => vec![(&["given"], &target.given)],
            Self::Analysis(analysis) => vec![(&["given"], &analysis.given)],
            Self::Event(event) => {
                let score = event.score.iter().map(|score| (&["score", "given"][..], &score.given));
                std::iter::once((&["reads"][..], &event.reads)).chain(score).collect()
            }
            Self::Goal(_)
            | Self::System(_)
            | Self::Requirement(_)
            | Self::Part(_)
            | Self::Decision(_)
            | Self::Result(_)
            | Self::Revision(_)
            | Self::Waiver(_) => Vec::new(),
        }
    }
}
