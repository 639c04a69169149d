//! The difference between two states of a project: both are evaluated completely, then compared.
//!
//! - Findings are matched by fingerprint, records by id or `formerly`, values by name.
//! - Lines and files are not compared, so that a moved record or another order of files is no difference.

mod causes;
mod drafts;
mod edits;
mod existing;
mod findings;
mod headlines;
mod limits;
mod merged;
mod records;
mod renames;
mod sources;
mod values;

pub use causes::{AmountChange, Cause, Other, What};
pub use edits::Edit;
pub use existing::ExistingFindings;
pub use headlines::{Headline, HeadlineOf, StatusChange};
pub use limits::ChangedLimit;
pub use records::Renames;
pub use renames::{ALIKE, LikelyRename};
pub use sources::EditedKey;
pub use values::{ChangedNode, ValueChange};

use crate::finding::Finding;
use crate::ids::RecordId;
use crate::study::Study;

/// The difference from base to head.
#[derive(Debug, Default)]
pub struct Delta {
    /// The findings of head that base does not have, the worst first.
    pub new: Vec<Finding>,
    /// The findings of base that head does not have, with the waiver if head accepts them by one.
    pub fixed: Vec<Finding>,
    /// The findings of head that base has too.
    pub unchanged: Vec<Finding>,
    /// The records that only head has.
    pub added: Vec<RecordId>,
    /// The records that only base has.
    pub removed: Vec<RecordId>,
    /// The records whose id changed: in base and in head.
    pub renamed: Vec<(RecordId, RecordId)>,
    /// The records whose fields changed, with the same id: in base and in head.
    pub edited: Vec<(RecordId, RecordId)>,
    /// The keys of renamed and edited records that were edited.
    pub edits: Vec<Edit>,
    /// The removed and added records that seem to be the same under another id.
    pub likely_renames: Vec<LikelyRename>,
    /// The targets whose limit changed.
    pub limits: Vec<ChangedLimit>,
    /// The values of targets, events, goals and amounts that changed.
    pub values: Vec<ValueChange>,
    /// The causes of the changed values, each with its path to the points.
    pub causes: Vec<Cause>,
    /// The change that no cause has.
    pub other: Other,
}

impl Delta {
    /// Compares base with head.
    pub fn new(base: &Study, head: &Study) -> Self {
        let renames = Renames::new(&base.loaded, &head.loaded);
        let mut delta = Self::default();
        findings::compare(&renames, base, head, &mut delta);
        records::compare(&renames, base, head, &mut delta);
        edits::compare(base, head, &mut delta);
        renames::compare(base, head, &mut delta);
        limits::compare(&renames, base, head, &mut delta);
        values::compare(&renames, base, head, &mut delta);
        delta
    }

    /// Compares only the findings of base with those of head.
    pub fn of_findings(base: &Study, head: &Study) -> Self {
        let renames = Renames::new(&base.loaded, &head.loaded);
        let mut delta = Self::default();
        findings::compare(&renames, base, head, &mut delta);
        delta
    }

    /// Whether there is no difference.
    pub fn is_empty(&self) -> bool {
        let records = self.added.is_empty() && self.removed.is_empty() && self.renamed.is_empty();
        let findings = self.new.is_empty() && self.fixed.is_empty();
        records && findings && self.edited.is_empty() && self.limits.is_empty() && self.values.is_empty()
    }

    /// Whether there is a new finding at error level.
    pub fn has_new_errors(&self) -> bool {
        self.new.iter().any(|finding| finding.level == schema::settings::Level::Error)
    }
}
