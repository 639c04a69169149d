//! One record of any kind.

use foldhash::HashSet;

use super::roles::SafetyRule;
use super::{Body, Kind, Verify};
use crate::words::Id;

/// One record: its id and its keys.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The id, unique over all kinds.
    pub id: Id,
    /// The keys.
    pub body: Body,
}

impl Record {
    /// The kind.
    pub fn kind(&self) -> Kind {
        self.body.kind()
    }

    /// The title, or the id if there is no title.
    pub fn name(&self) -> &str {
        self.body.common().title().unwrap_or(self.id.as_str())
    }

    /// Its subject: `of` for targets, requirements, decisions, results and revisions; `in` for parts and systems.
    pub fn about(&self) -> Option<&Id> {
        self.body.about()
    }

    /// Its planned verification, if the kind has that key.
    pub fn verify(&self) -> Option<&Verify> {
        self.body.verify()
    }

    /// Whether it is critical for people's safety, by its kind or as it is marked.
    pub fn safety_critical(&self) -> bool {
        match self.kind().roles().safety {
            SafetyRule::Always => true,
            SafetyRule::ByKey => self.body.safety_critical(),
            SafetyRule::Never => false,
        }
    }

    /// The evidence files that it names.
    pub fn evidence(&self) -> &[String] {
        self.body.evidence()
    }

    /// The evidence files that it names, and those that its numbers are read from; each once.
    pub fn all_evidence(&self) -> Vec<&str> {
        let mut all: Vec<&str> = self.evidence().iter().map(String::as_str).collect();
        let readings = self.body.readings();
        if readings.is_empty() {
            return all;
        }
        let mut seen: HashSet<&str> = all.iter().copied().collect();
        let files = readings.into_iter().filter_map(|(_, figure)| figure.reading()).map(|reading| &*reading.from);
        all.extend(files.filter(|file| seen.insert(file)));
        all
    }
}
