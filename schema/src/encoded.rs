//! The records of a file in binary form (`postcard`), for caches.
//!
//! The form follows the types: it has neither names nor a version, and kinds alone are kept by word. A cache must be keyed by
//! the sources of this crate. What is read is checked like text: an id must be an id, and a number finite.

use serde::Deserialize as _;

use crate::read::FileRecords;
use crate::records::{Body, Kind, Record};
use crate::words::Id;

/// The records of a file in binary form; `None` for a file with problems.
pub fn encode(file: &FileRecords) -> Option<Vec<u8>> {
    let is_sound = file.problems.is_empty() && file.damaged.is_empty();
    if is_sound { encode_records(file.records.iter()) } else { None }
}

/// Records in binary form; `None` if they cannot be encoded.
pub fn encode_records<'r>(records: impl ExactSizeIterator<Item = &'r Record>) -> Option<Vec<u8>> {
    let mut out = postcard::to_extend(&records.len(), Vec::new()).ok()?;
    for record in records {
        out = postcard::to_extend(&(record.kind().plural(), &record.id, &record.body), out).ok()?;
    }
    Some(out)
}

/// The records that [`encode`] was given; `None` for anything else.
pub fn decode(bytes: &[u8]) -> Option<FileRecords> {
    let mut source = postcard::Deserializer::from_bytes(bytes);
    let len = usize::deserialize(&mut source).ok()?;
    // A record has some bytes: a wrong number must not ask for much memory.
    let mut records: Vec<Record> = Vec::with_capacity(len.min(bytes.len() / 8));
    for _ in 0..len {
        let (kind, id) = <(&str, Id)>::deserialize(&mut source).ok()?;
        let body = Body::decode(Kind::from_plural(kind)?, &mut source).ok()?;
        if records.last().is_some_and(|last| last.kind() > body.kind()) {
            return None;
        }
        records.push(Record { id, body });
    }
    let rest = source.finalize().ok()?;
    rest.is_empty().then(|| FileRecords { records, ..FileRecords::default() })
}

#[cfg(test)]
mod tests;
