//! The difference between two states of a project: both are evaluated completely, then compared.
//!
//! - Findings are matched by fingerprint, records by id or `formerly`, values by name.
//! - Lines and files are not compared, so that a moved record or another order of files is no difference.

mod causes;
mod chances_and_budgets;
mod drafts;
mod edits;
mod existing;
mod findings;
mod headlines;
mod limits;
mod merged;
mod parents;
mod paths;
mod postponed;
mod records;
mod renames;
mod settings;
mod sources;
mod values;

pub use causes::{AmountChange, Cause, Other, What};
pub use chances_and_budgets::{BudgetChange, ChanceChange};
pub use edits::Edit;
pub use existing::ExistingFindings;
pub use headlines::{Headline, HeadlineOf, StatusChange};
pub use limits::ChangedLimit;
pub use parents::{Parent, Parents};
pub use postponed::Postponed;
pub use records::Renames;
pub use renames::{ALIKE, LikelyRename};
pub use settings::RuleChange;
pub use sources::EditedKey;
pub use values::{ChangedNode, ValueChange};

use schema::settings::{Level, StoppedBy, Stops};

use crate::checks::About;
use crate::finding::Finding;
use crate::ids::RecordId;
use crate::measure::Measure;
use crate::study::Study;

/// The difference from base to head.
#[derive(Debug, Default)]
pub struct Delta {
    /// The findings of head that base does not have, the worst first.
    pub new: Vec<Finding>,
    /// For each new finding, whether it is there only because of a new result: bad news that is recorded stops nothing.
    pub by_result: Vec<bool>,
    /// The findings of head that could not be seen in base, because a file or record was unreadable there.
    pub uncovered: Vec<Finding>,
    /// The findings of base that head does not have, with the waiver if head accepts them by one.
    pub fixed: Vec<Finding>,
    /// The findings of head that base has too.
    pub unchanged: Vec<Finding>,
    /// Those of them that are worse than in base.
    pub worse: Vec<MeasureChange>,
    /// Those of them that are better than in base.
    pub better: Vec<MeasureChange>,
    /// The findings that waivers of head accept.
    pub waived: Vec<Finding>,
    /// The findings of head that may only follow from files that cannot be read.
    pub held_back: Vec<Finding>,
    /// The numbers of errors, warnings and notes in base and in head, with the levels of base.
    pub counts: [[usize; 3]; 2],
    /// The open verifications whose due date was moved later.
    pub postponed: Vec<Postponed>,
    /// The rules that changed.
    pub settings: Vec<RuleChange>,
    /// Which new errors stop the change, according to base.
    pub stops: Stops,
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
    /// Whether files of base and of head cannot be read: then the values of that state are not known.
    pub lacks_files: [bool; 2],
}

/// A finding of both states with another measure.
#[derive(Clone, Debug)]
pub struct MeasureChange {
    /// How bad it was in base.
    pub before: Measure,
    /// The finding in head.
    pub finding: Finding,
}

impl Delta {
    /// Compares base with head. The levels of base apply to the findings of both.
    pub fn new(parents: &Parents, head: &Study) -> Self {
        let base = &parents.first.seen;
        let renames = Renames::new(&base.loaded, &head.loaded);
        let mut delta = Self::of_findings(parents, head);
        records::compare(&renames, base, head, &mut delta);
        edits::compare(base, head, &mut delta);
        renames::compare(base, head, &mut delta);
        limits::compare(&renames, base, head, &mut delta);
        // A value that lacks what cannot be read is no value to compare.
        if !delta.lacks_files.contains(&true) {
            values::compare(&renames, base, head, &mut delta);
        }
        delta
    }

    /// Compares only the findings and the rules.
    pub fn of_findings(parents: &Parents, head: &Study) -> Self {
        let lacks_files = [&parents.first.seen, head].map(|study| study.loaded.unreadable().next().is_some());
        let mut delta = Self { lacks_files, ..Self::default() };
        findings::compare(parents, head, &mut delta);
        delta
    }

    /// Whether there is no difference.
    pub fn is_empty(&self) -> bool {
        let records = self.added.is_empty() && self.removed.is_empty() && self.renamed.is_empty();
        let findings = self.new.is_empty() && self.fixed.is_empty() && self.uncovered.is_empty();
        let measures = self.worse.is_empty() && self.better.is_empty();
        let rules = self.settings.is_empty() && self.postponed.is_empty();
        let values = self.edited.is_empty() && self.limits.is_empty() && self.values.is_empty();
        records && findings && measures && rules && values
    }

    /// The new errors that stop the change.
    pub fn stopping(&self, by: StoppedBy) -> impl Iterator<Item = &Finding> {
        let stops = move |(finding, by_result): &(&Finding, &bool)| {
            finding.level == Level::Error
                && match finding.check.about {
                    About::Records => true,
                    About::Car => by == StoppedBy::All && !**by_result,
                }
        };
        self.new.iter().zip(&self.by_result).filter(stops).map(|(finding, _)| finding)
    }
}
