//! What lies between two states of a data root: both are evaluated whole, then subtracted.
//!
//! Findings are subtracted by fingerprint, records by id (a rename through `formerly` is no loss), values by name.
//! Nothing is told by line or file, so that a move or another order of files is no difference.

mod existing;
mod findings;
mod headlines;
mod limits;
mod records;
mod values;

pub use existing::ExistingFindings;
pub use headlines::{Headline, HeadlineOf, StatusChange};
pub use limits::ChangedLimit;
pub use records::Renames;
pub use values::{Cause, ChangedNode, ValueChange};

use crate::finding::Finding;
use crate::ids::RecordId;
use crate::study::Study;

/// The difference from base to head.
#[derive(Debug, Default)]
pub struct Delta {
    /// The findings of head that base does not have, worst first.
    pub new: Vec<Finding>,
    /// The findings of base that head does not have; with a waiver where head accepts it by one.
    pub fixed: Vec<Finding>,
    /// The findings of head that base has too.
    pub unchanged: Vec<Finding>,
    /// The records that head alone has, by their index there.
    pub added: Vec<RecordId>,
    /// The records that base alone has, by their index there.
    pub removed: Vec<RecordId>,
    /// The records that have another id: their index in base and in head.
    pub renamed: Vec<(RecordId, RecordId)>,
    /// The records that say something else: their index in base and in head.
    pub edited: Vec<(RecordId, RecordId)>,
    /// The targets whose limit moved.
    pub limits: Vec<ChangedLimit>,
    /// The values of targets, events, goals and amounts that changed.
    pub values: Vec<ValueChange>,
    /// Where the changes of values begin, each with its way up to the points.
    pub causes: Vec<Cause>,
}

impl Delta {
    /// Subtracts base from head.
    pub fn new(base: &Study, head: &Study) -> Self {
        let renames = Renames::new(&base.loaded, &head.loaded);
        let mut delta = Self::default();
        findings::subtract(base, head, &renames, &mut delta);
        records::subtract(&renames, base, head, &mut delta);
        limits::subtract(&renames, base, head, &mut delta);
        values::subtract(&renames, base, head, &mut delta);
        delta
    }

    /// The findings alone: what a commit brings.
    pub fn findings(base: &Study, head: &Study) -> Self {
        let renames = Renames::new(&base.loaded, &head.loaded);
        let mut delta = Self::default();
        findings::subtract(base, head, &renames, &mut delta);
        delta
    }

    /// Is there nothing to tell?
    pub fn is_empty(&self) -> bool {
        let records = self.added.is_empty() && self.removed.is_empty() && self.renamed.is_empty();
        let findings = self.new.is_empty() && self.fixed.is_empty();
        records && findings && self.edited.is_empty() && self.limits.is_empty() && self.values.is_empty()
    }

    /// Is there a new finding at error level?
    pub fn has_new_errors(&self) -> bool {
        self.new.iter().any(|finding| finding.level == schema::settings::Level::Error)
    }
}
