//! Access to records by kind.

use std::sync::Arc;

use schema::records::Body;
use schema::{Kind, Record};

use crate::Loaded;
use crate::ids::{FileId, RecordId};

macro_rules! by_kind {
    ($($kind:ident $type:ident $many:ident $one:ident;)*) => {
        impl Loaded {
            $(
                #[doc = concat!("All ", stringify!($many), ".")]
                pub fn $many(&self) -> impl DoubleEndedIterator<Item = (RecordId, &Record, &schema::records::$type)> + Clone {
                    self.records().filter_map(|(id, record)| match &record.body {
                        Body::$kind(body) => Some((id, record, &**body)),
                        _ => None,
                    })
                }

                /// The body of a record, if it is of this kind.
                pub fn $one(&self, id: RecordId) -> Option<&schema::records::$type> {
                    match &self.record(id).body {
                        Body::$kind(body) => Some(body),
                        _ => None,
                    }
                }
            )*
        }
    };
}

schema::for_each_kind!(by_kind);

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
