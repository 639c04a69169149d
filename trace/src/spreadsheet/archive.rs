//! The zip archive of a workbook: refused before it is decompressed if it would become too large.

use std::collections::HashMap;
use std::io::{self, Cursor, Read as _, Write};

use zip::ZipArchive;

use super::{LARGEST_UNPACKED, damaged};
use crate::Error;

/// The largest ratio of decompressed to compressed bytes of an archive. Worksheets reach 50; deflate itself 1032.
const MOST_TIMES: u64 = 250;

/// Below this size any ratio is harmless.
const SMALL: u64 = 4 * 1024 * 1024;

/// The largest number of elements, with their ends, of all parts.
const MOST_TAGS: usize = 5_000_000;

/// The largest number of parts of a workbook.
const MOST_PARTS: usize = 2_000;

/// An archive whose parts decompress to a bounded size.
pub(super) struct Archive<'b> {
    zip: ZipArchive<Cursor<&'b [u8]>>,
    /// The parts by name; programs differ in case and in the kind of slash.
    names: HashMap<String, usize>,
}

fn folded(name: &str) -> String {
    name.replace('\\', "/").trim_start_matches('/').to_ascii_lowercase()
}

impl<'b> Archive<'b> {
    /// Opens an archive, and decompresses every part once to see its true size: the sizes that it declares can be wrong.
    pub(super) fn open(bytes: &'b [u8]) -> Result<Self, Error> {
        let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
        if zip.len() > MOST_PARTS {
            return Err(damaged(format!("it has {} parts", zip.len())));
        }
        let mut declared: u64 = 0;
        for index in 0..zip.len() {
            let part = zip.by_index_raw(index).map_err(damaged)?;
            declared = declared.saturating_add(part.size());
        }
        let most = LARGEST_UNPACKED.min((bytes.len() as u64).saturating_mul(MOST_TIMES).max(SMALL));
        if declared > most {
            return Err(too_large(bytes.len()));
        }
        let mut left = most;
        let mut tags = Tags(0);
        let mut names = HashMap::new();
        for index in 0..zip.len() {
            let part = zip.by_index(index).map_err(damaged)?;
            if let Ok(name) = part.name() {
                names.entry(folded(&name)).or_insert(index);
            }
            let name = part.name().map_or_else(|_| "a part".to_owned(), |name| schema::words::shorten(&name));
            let read = io::copy(&mut part.take(left + 1), &mut tags);
            let read = read.map_err(|error| damaged(format!("{name}: {error}")))?;
            left = left.checked_sub(read).ok_or_else(|| too_large(bytes.len()))?;
            if tags.0 > MOST_TAGS {
                return Err(damaged(format!("it has more than {MOST_TAGS} elements")));
            }
        }
        Ok(Self { zip, names })
    }

    /// Whether it has a part.
    pub(super) fn has(&self, name: &str) -> bool {
        self.names.contains_key(&folded(name))
    }

    /// A part, decompressed.
    pub(super) fn part(&mut self, name: &str) -> Result<Vec<u8>, Error> {
        let mut out = Vec::new();
        let index = self.names.get(&folded(name)).copied();
        let index = index.ok_or_else(|| damaged(format!("it has no part `{}`", schema::words::shorten(name))))?;
        let part = self.zip.by_index(index).map_err(|error| damaged(format!("{name}: {error}")))?;
        part.take(LARGEST_UNPACKED).read_to_end(&mut out).map_err(|error| damaged(format!("{name}: {error}")))?;
        Ok(out)
    }
}

/// Counts the elements of what is written to it: each can need more memory than bytes.
struct Tags(usize);

impl Write for Tags {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0 += memchr::memchr_iter(b'<', bytes).count();
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn too_large(packed: usize) -> Error {
    let why = format!(
        "its {packed} bytes decompress to more than {} MiB, or to more than {MOST_TIMES} times as many",
        LARGEST_UNPACKED >> 20
    );
    Error::new("the spreadsheet is not read").because(why).help("save only the sheet that is needed as .xlsx or .csv")
}
