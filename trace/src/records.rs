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
                    self.of_kind(Kind::$kind).iter().filter_map(|&id| {
                        let record = self.record(id);
                        match &record.body {
                            Body::$kind(body) => Some((id, record, &**body)),
                            _ => None,
                        }
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

#[cfg(test)]
mod tests {
    use schema::records::Kind;

    use super::*;
    use crate::load::names_files;
    use crate::snapshot::{File, Snapshot};

    const FIRST: &str = "
parts: {hub: {in: suspension}, nut: {in: suspension, amounts: {mass: {value: {from: scale.csv, column: nut, take: mean}}}}}
systems: {suspension: {in: car}}
goals: {goal: {place: 3}}
";
    const SECOND: &str = "
parts: {nut: {in: suspension, amounts: {mass: {value: {from: other.csv, column: nut, take: mean}}}}, pin: {in: suspension}}
results: {rig: {of: hub, date: 2027-05-21, outcome: pass, evidence: [rig.csv]}}
";

    fn loaded() -> Loaded {
        let file = |(path, text): (&str, &str)| File { path: path.to_owned(), content: Ok(text.as_bytes().into()) };
        Loaded::from_snapshot(Snapshot::in_memory([("a.yaml", FIRST), ("b.yaml", SECOND)].map(file).into()))
    }

    #[track_caller]
    fn assert_complete(loaded: &Loaded) {
        for kind in Kind::ALL {
            let all: Vec<RecordId> = loaded.record_ids().filter(|id| loaded.kind(*id) == *kind).collect();
            assert_eq!(loaded.of_kind(*kind), all, "{kind:?}");
        }
        let naming = loaded.records().filter(|(_, record)| names_files(record));
        let naming: Vec<&str> = naming.map(|(_, record)| record.id.as_str()).collect();
        let kept: Vec<&str> = loaded.naming().map(|record| record.id.as_str()).collect();
        assert_eq!(kept, naming);
    }

    #[test]
    fn records_by_kind_are_all_of_them_and_in_order() {
        let loaded = loaded();
        assert_complete(&loaded);
        assert_eq!(loaded.doubles.len(), 1);
        let parts = loaded.parts().map(|(_, record, _)| record.id.as_str()).collect::<Vec<_>>();
        assert_eq!(parts, ["hub", "nut", "pin"]);
        let naming: Vec<&str> = loaded.naming().map(|record| record.id.as_str()).collect();
        assert_eq!(naming, ["nut", "rig"], "{:?}", loaded.problems);
        // A state that is made of another one.
        let without = loaded.without(&[loaded.find("nut").unwrap()].into_iter().collect());
        assert_complete(&without);
        assert_eq!(without.parts().count(), 2);
    }
}
