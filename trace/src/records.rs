//! Access to records by kind.

use std::sync::Arc;

use schema::records::{
    Analysis, Body, Decision, Event, Goal, Part, Requirement, Revision, System, Target, TestResult, Waiver,
};
use schema::{Kind, Record};

use crate::Loaded;
use crate::ids::{FileId, RecordId};

macro_rules! by_kind {
    ($($(#[$doc:meta])* $many:ident $one:ident $kind:ident $type:ident;)*) => {
        impl Loaded {
            $(
                $(#[$doc])*
                pub fn $many(&self) -> impl DoubleEndedIterator<Item = (RecordId, &Record, &$type)> + Clone {
                    self.records().filter_map(|(id, record)| match &record.body {
                        Body::$kind(body) => Some((id, record, &**body)),
                        _ => None,
                    })
                }

                /// The body of a record, if it is of this kind.
                pub fn $one(&self, id: RecordId) -> Option<&$type> {
                    match &self.record(id).body {
                        Body::$kind(body) => Some(body),
                        _ => None,
                    }
                }
            )*
        }
    };
}

by_kind! {
    /// All goals.
    goals goal Goal Goal;
    /// All events.
    events event Event Event;
    /// All systems.
    systems system System System;
    /// All targets.
    targets target Target Target;
    /// All requirements.
    requirements requirement Requirement Requirement;
    /// All parts.
    parts part Part Part;
    /// All analyses.
    analyses analysis Analysis Analysis;
    /// All decisions.
    decisions decision Decision Decision;
    /// All results.
    results result Result TestResult;
    /// All revisions.
    revisions revision Revision Revision;
    /// All waivers.
    waivers waiver Waiver Waiver;
}

impl Loaded {
    /// All records with their ids, file by file.
    pub fn records(&self) -> impl DoubleEndedIterator<Item = (RecordId, &Record)> + ExactSizeIterator + Clone {
        self.entries.iter().enumerate().map(|(position, entry)| (RecordId::new(position), &*entry.record))
    }

    /// The ids of all records, file by file.
    pub fn record_ids(&self) -> impl DoubleEndedIterator<Item = RecordId> + ExactSizeIterator + Clone {
        RecordId::all(self.entries.len())
    }

    /// The kind of a record.
    pub fn kind(&self, id: RecordId) -> Kind {
        self.record(id).kind()
    }

    /// The file of a record.
    pub fn file(&self, id: RecordId) -> FileId {
        self.entries[id].file
    }

    /// The path of a file, relative to the project root.
    pub fn path(&self, file: FileId) -> &str {
        &self.snapshot.files[file].path
    }

    /// Whether two states share a record, because it was decoded once for both.
    pub fn shares(&self, own: RecordId, other: &Self, others: RecordId) -> bool {
        Arc::ptr_eq(&self.entries[own].record, &other.entries[others].record)
    }
}
