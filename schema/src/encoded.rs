//! The records of a file in binary form (`postcard`), for caches.
//!
//! The format follows the types: it has no names and no version, and only kinds are stored by word. So a cache must be keyed
//! by the sources of this crate. Decoded values are checked like text: an id must be valid, and a number finite.

use serde::Deserialize as _;

use crate::read::FileRecords;
use crate::records::{Body, Kind, Record};
use crate::words::Id;

/// The records of a file in binary form; `None` for a file with problems.
pub fn encode(file: &FileRecords) -> Option<Vec<u8>> {
    let is_sound = file.problems.is_empty() && file.damaged.is_empty();
    if is_sound { encode_records(file.records.iter().zip(file.values.iter().copied())) } else { None }
}

/// Records in binary form, each with the number of its values; `None` if they cannot be encoded.
pub fn encode_records<'r>(records: impl ExactSizeIterator<Item = (&'r Record, u32)>) -> Option<Vec<u8>> {
    let mut out = postcard::to_extend(&records.len(), Vec::new()).ok()?;
    for (record, values) in records {
        out = postcard::to_extend(&(values, record.kind().plural(), &record.id, &record.body), out).ok()?;
    }
    Some(out)
}

/// The records that were encoded by [`encode`]; `None` for other bytes.
pub fn decode(bytes: &[u8]) -> Option<FileRecords> {
    let mut source = postcard::Deserializer::from_bytes(bytes);
    let len = usize::deserialize(&mut source).ok()?;
    // A record has several bytes: a wrong length must not allocate much memory.
    let mut records: Vec<Record> = Vec::with_capacity(len.min(bytes.len() / 8));
    let mut values = Vec::with_capacity(records.capacity());
    for _ in 0..len {
        let (count, kind, id) = <(u32, &str, Id)>::deserialize(&mut source).ok()?;
        let body = Body::decode(Kind::from_plural(kind)?, &mut source).ok()?;
        // Those of a file are kind by kind.
        if records.last().is_some_and(|last| last.kind() > body.kind()) {
            return None;
        }
        records.push(Record { id, body });
        values.push(count);
    }
    let rest = source.finalize().ok()?;
    rest.is_empty().then(|| FileRecords { records, values, ..FileRecords::default() })
}

#[cfg(test)]
mod tests;
