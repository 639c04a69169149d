//! What a check reports: about which record, where, on what level, and by which identity.

use std::fmt;

use schema::read::Spot;
use schema::records::Kind;
use schema::settings::Level;
use sha2::{Digest, Sha256};

use crate::checks::Check;

/// A finding with its place, ready to be shown.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The check that reports it.
    pub check: &'static Check,
    /// How much it weighs at this stage.
    pub level: Level,
    /// The record it is about.
    pub record: Option<String>,
    /// The kind of that record, where the place tells it.
    pub kind: Option<Kind>,
    /// The keys below the record, joined by dots; items of a list by their text.
    pub field: Option<String>,
    /// The file, relative to the data root, with `/`.
    pub path: String,
    /// The place in it.
    pub spot: Spot,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
    /// The ids from the record up to the goal, itself first.
    pub chain: Vec<String>,
    /// The waiver that accepts it, if one does.
    pub waiver: Option<String>,
}

impl Finding {
    /// The identity of the finding, the same in every revision that has it: made of check, record and
    /// field (of the path where there is no record), never of a line number. 16 hexadecimal digits.
    pub fn fingerprint(&self) -> String {
        let subject = self.record.as_deref().unwrap_or(&self.path);
        fingerprint(self.check.name, subject, self.field.as_deref().unwrap_or(""))
    }

    /// The order in which findings are told: worst first, of these what could not be read, then by place.
    pub fn sort_key(&self) -> impl Ord + '_ {
        let what_follows = self.check.group != crate::checks::Group::Reading;
        (std::cmp::Reverse(self.level), what_follows, &self.path, self.spot, self.check.name, &self.field)
    }
}

/// What the checks found.
#[derive(Clone, Debug)]
pub struct Report {
    /// The findings that stand, worst first.
    pub findings: Vec<Finding>,
    /// The findings that waivers accept.
    pub waived: Vec<Finding>,
}

impl Report {
    /// How many findings stand at a level.
    pub fn count(&self, level: Level) -> usize {
        self.findings.iter().filter(|finding| finding.level == level).count()
    }

    /// How many findings stand at each level: errors, warnings and notes.
    pub fn counts(&self) -> [usize; 3] {
        LEVELS.map(|level| self.count(level))
    }

    /// Is there a finding at error level?
    pub fn has_errors(&self) -> bool {
        self.count(Level::Error) > 0
    }
}

/// The levels of findings, worst first.
pub const LEVELS: [Level; 3] = [Level::Error, Level::Warning, Level::Note];

/// The fingerprint of a check, its subject (a record, or a path) and a field.
pub(crate) fn fingerprint(check: &str, subject: &str, field: &str) -> String {
    let mut hash = Sha256::new();
    for part in [check, subject, field] {
        // Lengths keep `a` + `bc` apart from `ab` + `c`.
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    let mut text = String::with_capacity(16);
    for byte in hash.finalize().iter().take(8) {
        let _ = fmt::Write::write_fmt(&mut text, format_args!("{byte:02x}"));
    }
    text
}
