//! A finding: the check, the record, the position, the level and a fingerprint that identifies it.

pub(crate) mod chains;
pub(crate) mod encoded;

use std::sync::Arc;

use schema::read::Spot;
use schema::records::Kind;
use schema::settings::Level;
use sha2::{Digest, Sha256};

use crate::checks::Check;
use crate::hex::hex;
use crate::measure::Measure;

/// A finding with its position, ready to be shown.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The check that reports it.
    pub check: &'static Check,
    /// The level at this stage.
    pub level: Level,
    /// The record it is about.
    pub record: Option<String>,
    /// The kind of that record, if it is known.
    pub kind: Option<Kind>,
    /// The keys below the record, joined by dots; items of a list are given by their text.
    pub field: Option<String>,
    /// The file, relative to the project root, with `/`.
    pub path: String,
    /// The position in the file.
    pub spot: Spot,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
    /// The ids from the record up to the goal, its own first.
    pub chain: Arc<[Arc<str>]>,
    /// The waiver that accepts it, if one does.
    pub waiver: Option<String>,
    /// How bad it is, if that is a number.
    pub measure: Option<Measure>,
    /// The id that was not found, if that is what is wrong.
    pub unresolved: Option<String>,
}

impl Finding {
    /// Identifies the finding, with the same text at every commit that has it. The 16 hexadecimal digits are calculated
    /// from the check, the record (the path if there is no record) and the field, never from a line number.
    pub fn fingerprint(&self) -> String {
        let subject = self.record.as_deref().unwrap_or(&self.path);
        fingerprint(self.check.name, subject, self.field.as_deref().unwrap_or(""))
    }

    /// The order of findings in outputs: by level, worst first; then unreadable files, then other
    /// findings of reading, then the rest; then by
    /// position.
    pub fn sort_key(&self) -> impl Ord + '_ {
        let is_reading = self.check.group == crate::checks::Group::Reading;
        let rank = if self.check.name == "unreadable-file" { 0 } else { 2 - u8::from(is_reading) };
        (std::cmp::Reverse(self.level), rank, &self.path, self.spot, self.check.name, &self.field)
    }
}

/// A check that the settings switch off, and what it would report.
#[derive(Clone, Debug)]
pub struct OffCheck {
    /// The check.
    pub check: &'static Check,
    /// The number of findings that no waiver would accept.
    pub findings: usize,
}

/// The findings of all checks.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// The findings that no waiver accepts, worst first.
    pub findings: Vec<Finding>,
    /// The findings that waivers accept.
    pub waived: Vec<Finding>,
    /// The findings that may only follow from a file that cannot be read; they are not reported.
    pub held_back: Vec<Finding>,
}

impl Report {
    /// The number of findings at a level, without those that waivers accept.
    pub fn count(&self, level: Level) -> usize {
        self.findings.iter().filter(|finding| finding.level == level).count()
    }

    /// The numbers of findings at each level: errors, warnings and notes.
    pub fn counts(&self) -> [usize; 3] {
        LEVELS.map(|level| self.count(level))
    }

    /// Whether there is a finding at error level.
    pub fn has_errors(&self) -> bool {
        self.count(Level::Error) > 0
    }
}

/// The levels of findings, worst first.
pub const LEVELS: [Level; 3] = [Level::Error, Level::Warning, Level::Note];

/// The fingerprint of a check, its subject (the id of a record, or a path) and a field.
pub(crate) fn fingerprint(check: &str, subject: &str, field: &str) -> String {
    let mut hash = Sha256::new();
    for part in [check, subject, field] {
        // The lengths make `a`, `bc` different from `ab`, `c`.
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    hex(&hash.finalize()[..8])
}
