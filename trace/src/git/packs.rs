//! Packs that libgit2 cannot read: it follows objects that are made of each other in a circle without an end, and looks behind
//! the end of a pack where an index has such a place.
//!
//! The formats are those of `gitformat-pack` in git's documentation: an index of version 1 or 2, one of several packs, and entries
//! that begin with their kind.

use std::fs::File;
use std::ops::Range;
use std::path::{Path, PathBuf};

use foldhash::{HashMap, HashMapExt as _};

use super::error::GitError;
use super::regular;

/// The kind of an entry that is the difference to an object with a given name.
const BY_NAME: u8 = 7;
/// The kind of an entry that is the difference to an entry a number of bytes before it.
const BY_DISTANCE: u8 = 6;
/// The largest index that is looked at: some ten million objects.
const LARGEST_INDEX: u64 = 512 << 20;

/// The error for the first pack of a folder that has a circle.
pub(super) fn circle(folder: &Path) -> Option<GitError> {
    let found =
        indexes(folder).into_iter().find(|index| has_circle(index, &index.with_extension("pack")).unwrap_or(false))?;
    Some(GitError::Unreadable {
        cause: format!("objects in {} are made of each other", found.with_extension("pack").display()),
        hint: "the repository is damaged, or made to keep a reader busy: clone it again".to_owned(),
    })
}

/// The indexes of the packs of a folder.
fn indexes(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    let mut indexes: Vec<_> = entries.filter(|path| path.extension().is_some_and(|end| end == "idx")).collect();
    indexes.sort();
    indexes
}

/// The error for the first index of a folder that leads behind the end of its pack.
pub(super) fn leads_out(folder: &Path) -> Option<GitError> {
    let indexes = indexes(folder);
    let of_all = folder.join("multi-pack-index");
    let own = |index: &PathBuf| !is_inside(index).unwrap_or(true);
    let found = indexes.into_iter().find(own).or_else(|| (!are_inside(&of_all, folder)).then_some(of_all))?;
    Some(GitError::Unreadable {
        cause: format!("{} leads behind the end of a pack", found.display()),
        hint: "run `git fsck`, or clone the repository again".to_owned(),
    })
}

/// Whether all objects of an index begin within its pack; `None` if it cannot be read as one. Only the places are read, as the names
/// of the objects take most of an index.
fn is_inside(index: &Path) -> Option<bool> {
    let size = index.with_extension("pack").metadata().ok()?.len();
    let (file, length) = regular::open_up_to(&index.canonicalize().ok()?, LARGEST_INDEX).ok()?;
    let length = usize::try_from(length).ok()?;
    let layout = Layout::new(&read_range(&file, 0..Layout::HEAD.min(length))?, length)?;
    let (table, large) = (read_range(&file, layout.offsets.clone())?, read_range(&file, layout.large..length)?);
    let is_inside = |row: &[u8]| place(number(&row[..4]), &large).is_some_and(|place| place < size);
    Some(table.chunks_exact(layout.row).all(is_inside))
}

/// The same for an index of all packs of a folder; one that is not there leads nowhere.
fn are_inside(index: &Path, folder: &Path) -> bool {
    let file = index.canonicalize().ok().and_then(|index| regular::open_up_to(&index, LARGEST_INDEX).ok());
    file.is_none_or(|(file, _)| all_inside(&file, folder).unwrap_or(false))
}

/// `None` if the index cannot be read as one.
fn all_inside(index: &File, folder: &Path) -> Option<bool> {
    const HEAD: usize = 12;
    const ROW: usize = 12;
    let chunks = usize::from(*read_range(index, 0..HEAD)?.get(6)?);
    // A name and a start; the last row has only a start.
    let rows = read_range(index, HEAD..HEAD + (chunks + 1) * ROW)?;
    let start = |chunk: usize| usize::try_from(number(&rows[chunk * ROW + 4..(chunk + 1) * ROW])).ok();
    let chunk = |name: &[u8]| {
        let found = (0..chunks).find(|chunk| rows[chunk * ROW..].starts_with(name))?;
        read_range(index, start(found)?..start(found + 1)?)
    };
    let names = chunk(b"PNAM")?;
    let size = |name: &[u8]| {
        let path = folder.join(std::str::from_utf8(name).ok()?).with_extension("pack");
        Some(path.metadata().ok()?.len())
    };
    let names = names.split(|byte| *byte == 0).filter(|name| !name.is_empty());
    let sizes: Vec<u64> = names.map(|name| size(name).unwrap_or(0)).collect();
    let large = chunk(b"LOFF").unwrap_or_default();
    let is_inside = |object: &[u8; 8]| {
        let size = sizes.get(usize::try_from(number(&object[..4])).ok()?)?;
        // A pack that is not there any more is not read.
        Some(*size == 0 || place(number(&object[4..]), &large)? < *size)
    };
    let objects = chunk(b"OOFF")?;
    let (objects, rest) = objects.as_chunks::<8>();
    Some(rest.is_empty() && objects.iter().all(|object| is_inside(object).unwrap_or(false)))
}

/// A part of a file; `None` if it ends before it begins, if the file ends before it, or if it is larger than any index.
fn read_range(file: &File, range: Range<usize>) -> Option<Vec<u8>> {
    let length = range.end.checked_sub(range.start)?;
    if length as u64 > LARGEST_INDEX || range.end as u64 > file.metadata().ok()?.len() {
        return None;
    }
    let mut bytes = vec![0; length];
    let mut read = 0;
    while read < length {
        match read_at(file, &mut bytes[read..], (range.start + read) as u64)? {
            0 => return None,
            more => read += more,
        }
    }
    Some(bytes)
}

/// The place in a pack for a number in its index: the place itself, or a row of the table of large ones.
fn place(number_in_index: u64, large: &[u8]) -> Option<u64> {
    const IS_LARGE: u64 = 1 << 31;
    if number_in_index & IS_LARGE == 0 || large.is_empty() {
        return Some(number_in_index);
    }
    let row = usize::try_from(number_in_index & !IS_LARGE).ok()?.checked_mul(8)?;
    Some(number(large.get(row..row.checked_add(8)?)?))
}

/// Whether a pack has a circle; `None` if it cannot be read as one. An entry that cannot be read is the base of nothing.
fn has_circle(index: &Path, pack: &Path) -> Option<bool> {
    let index = regular::read(&index.canonicalize().ok()?, LARGEST_INDEX).ok()?;
    let (pack, _) = regular::open_up_to(&pack.canonicalize().ok()?, u64::MAX).ok()?;
    let objects = Objects::new(&index)?;
    // Where each entry that has a base begins, and where that base begins. Distances lead back, and close no circle alone.
    let mut bases: HashMap<u64, u64> = HashMap::new();
    let mut by_name = false;
    for number in 0..objects.count() {
        let mut next = objects.offset(number);
        // A base may be an entry that the index does not have.
        while let Some(start) = next.filter(|start| !bases.contains_key(start)) {
            let Some(base) = base(&pack, &objects, start) else { break };
            by_name |= base.by_name;
            bases.insert(start, base.start);
            next = Some(base.start);
        }
    }
    Some(by_name && closes(&bases))
}

/// The base of an entry.
struct Base {
    start: u64,
    /// Whether the entry names it; otherwise it has the distance.
    by_name: bool,
}

/// The base of the entry that begins here; `None` if it has none, or cannot be read.
fn base(pack: &File, objects: &Objects<'_>, start: u64) -> Option<Base> {
    let mut head = [0; 64];
    let read = read_at(pack, &mut head, start)?;
    let head = &head[..read];
    let kind = (head.first()? >> 4) & 7;
    let rest = head.get(1 + head.iter().take_while(|byte| **byte & 0x80 != 0).count()..)?;
    match kind {
        BY_NAME => Some(Base { start: objects.find(rest.get(..objects.layout.id_length)?)?, by_name: true }),
        BY_DISTANCE => Some(Base { start: start.checked_sub(distance(rest)?)?, by_name: false }),
        _ => None,
    }
}

/// Whether some chain of bases comes back to itself.
fn closes(bases: &HashMap<u64, u64>) -> bool {
    // The number of the search that came to an entry first: one that the same search meets again is in a circle.
    let mut seen: HashMap<u64, usize> = HashMap::new();
    bases.keys().enumerate().any(|(search, start)| {
        let mut at = *start;
        loop {
            match seen.get(&at) {
                Some(earlier) => return *earlier == search,
                None => seen.insert(at, search),
            };
            match bases.get(&at) {
                Some(base) => at = *base,
                None => return false,
            }
        }
    })
}

/// The number of bytes back to a base: seven bits a byte, and one is added for each further byte.
fn distance(bytes: &[u8]) -> Option<u64> {
    let (first, rest) = bytes.split_first()?;
    let mut distance = u64::from(first & 0x7f);
    let mut more = first & 0x80 != 0;
    for byte in rest {
        if !more {
            break;
        }
        distance = distance.checked_add(1)?.checked_mul(128)?.checked_add(u64::from(byte & 0x7f))?;
        more = byte & 0x80 != 0;
    }
    Some(distance)
}

/// Where the parts of an index are.
struct Layout {
    /// For each first byte of a name, how many names begin with it or with a lower one.
    counts: Range<usize>,
    count: usize,
    id_length: usize,
    /// The names, each at the end of a row.
    names: Range<usize>,
    /// The rows of the table of places, each with a place at its start.
    offsets: Range<usize>,
    /// The size of a row of both.
    name_row: usize,
    row: usize,
    /// The start of the table of large places, which goes on to the checksums.
    large: usize,
}

impl Layout {
    const COUNTS: usize = 4 * 256;
    const START: usize = 8;
    /// The bytes at the start of an index that say where the rest is.
    const HEAD: usize = Self::START + Self::COUNTS;

    /// From these bytes and the length of the whole index; `None` if it is not one.
    fn new(head: &[u8], length: usize) -> Option<Self> {
        let is_second = match head.get(..Self::START)? {
            b"\xfftOc\0\0\0\x02" => true,
            [0xff, b't', b'O', b'c', ..] => return None,
            _ => false,
        };
        let start = if is_second { Self::START } else { 0 };
        let counts = start..start + Self::COUNTS;
        let count = usize::try_from(number(head.get(counts.end - 4..counts.end)?)).ok()?;
        if !is_second {
            // Version 1 has no beginning of its own: rows of an offset and a name follow the counts.
            const ID: usize = 20;
            let rows = counts.end..counts.end.checked_add(count.checked_mul(4 + ID)?)?;
            let whole = rows.end <= length;
            let (names, row) = (rows.clone(), 4 + ID);
            let layout = Self { counts, count, id_length: ID, names, offsets: rows, name_row: row, row, large: length };
            return whole.then_some(layout);
        }
        // The end has two checksums as long as a name: so the size says which names there are.
        let sizes = |id_length: usize| count.checked_mul(id_length + 8)?.checked_add(counts.end + 2 * id_length);
        let large = |id_length| Some(length.checked_sub(sizes(id_length)?)? % 8 == 0);
        let fits =
            |id_length: usize| length >= sizes(id_length).unwrap_or(usize::MAX) && large(id_length) == Some(true);
        let id_length = if fits(32) && !fits(20) { 32 } else { 20 };
        let names = counts.end..counts.end + count.checked_mul(id_length)?;
        let offsets = names.end.checked_add(count.checked_mul(4)?)?;
        let large = offsets.checked_add(count.checked_mul(4)?)?;
        let (offsets, name_row, row) = (offsets..large, id_length, 4);
        (large <= length).then_some(Self { counts, count, id_length, names, offsets, name_row, row, large })
    }
}

/// The objects of an index, in the order of their names.
struct Objects<'i> {
    index: &'i [u8],
    layout: Layout,
}

impl<'i> Objects<'i> {
    fn new(index: &'i [u8]) -> Option<Self> {
        Some(Self { index, layout: Layout::new(index, index.len())? })
    }

    fn count(&self) -> usize {
        self.layout.count
    }

    fn offset(&self, object: usize) -> Option<u64> {
        let table = self.index.get(self.layout.offsets.clone())?;
        let row = object * self.layout.row;
        place(number(table.get(row..row + 4)?), self.index.get(self.layout.large..)?)
    }

    fn name(&self, object: usize) -> Option<&'i [u8]> {
        let end = (object + 1) * self.layout.name_row;
        self.index.get(self.layout.names.clone())?.get(end - self.layout.id_length..end)
    }

    /// The offset of an object by its name, found as libgit2 finds it: between the counts of its first byte.
    fn find(&self, name: &[u8]) -> Option<u64> {
        let counts = self.index.get(self.layout.counts.clone())?;
        let count = |byte: usize| usize::try_from(number(counts.get(4 * byte..4 * byte + 4)?)).ok();
        let first = usize::from(*name.first()?);
        let mut low = if first == 0 { 0 } else { count(first - 1)? };
        let mut high = count(first)?.min(self.count());
        while low < high {
            let middle = low + (high - low) / 2;
            match self.name(middle)?.cmp(name) {
                std::cmp::Ordering::Equal => return self.offset(middle),
                std::cmp::Ordering::Less => low = middle + 1,
                std::cmp::Ordering::Greater => high = middle,
            }
        }
        None
    }
}

/// A number with its highest byte first.
fn number(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0, |number, byte| number << 8 | u64::from(*byte))
}

#[cfg(unix)]
fn read_at(file: &File, into: &mut [u8], offset: u64) -> Option<usize> {
    std::os::unix::fs::FileExt::read_at(file, into, offset).ok()
}

#[cfg(not(unix))]
fn read_at(mut file: &File, into: &mut [u8], offset: u64) -> Option<usize> {
    use std::io::{Read as _, Seek as _};
    file.seek(std::io::SeekFrom::Start(offset)).ok()?;
    file.read(into).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chain_that_comes_back_is_a_circle() {
        let bases = |pairs: &[(u64, u64)]| closes(&pairs.iter().copied().collect());
        assert!(!bases(&[]));
        assert!(!bases(&[(9, 5), (5, 1), (7, 5), (3, 1)]));
        assert!(bases(&[(5, 5)]));
        assert!(bases(&[(1, 5), (5, 9), (9, 1), (20, 1)]));
        assert!(bases(&[(30, 20), (20, 1), (1, 20)]));
    }

    #[test]
    #[expect(clippy::reversed_empty_ranges, reason = "a file can say it")]
    fn a_part_that_ends_before_it_begins_is_none() {
        let file = tempfile::tempfile().unwrap();
        file.set_len(100).unwrap();
        assert_eq!(read_range(&file, 20..24), Some(vec![0; 4]));
        assert_eq!(read_range(&file, 24..20), None);
        assert_eq!(read_range(&file, 98..102), None);
    }

    /// An index and a pack of objects whose names are one byte again and again, each made of another one, or whole.
    fn pack(folder: &Path, objects: &[(u8, Option<u8>)]) -> PathBuf {
        let mut pack = b"PACK\0\0\0\x02\0\0\0\0".to_vec();
        let mut offsets = Vec::new();
        for (_, base) in objects {
            offsets.extend(u32::try_from(pack.len()).unwrap().to_be_bytes());
            match base {
                // A size of two bytes, as those of most objects.
                Some(base) => pack.extend([&[BY_NAME << 4 | 0x80, 1][..], &[*base; 20]].concat()),
                None => pack.extend([0x3a, 1, 2, 3]),
            }
            pack.extend([0; 8]);
        }
        let below = |byte: u8| objects.iter().filter(|(name, _)| *name <= byte).count();
        let counts = (0..=255).flat_map(|byte| u32::try_from(below(byte)).unwrap().to_be_bytes());
        let mut index = b"\xfftOc\0\0\0\x02".to_vec();
        index.extend(counts);
        index.extend(objects.iter().flat_map(|(name, _)| [*name; 20]));
        index.extend(vec![0; objects.len() * 4]);
        index.extend(offsets);
        index.extend([0; 40]);
        std::fs::write(folder.join("p.pack"), pack).unwrap();
        std::fs::write(folder.join("p.idx"), index).unwrap();
        folder.join("p.idx")
    }

    #[test]
    fn a_circle_in_a_pack_is_found() {
        let folder = tempfile::tempdir().unwrap();
        let found = |objects: &[(u8, Option<u8>)]| {
            let index = pack(folder.path(), objects);
            assert_eq!(circle(folder.path()).is_some(), has_circle(&index, &index.with_extension("pack")).unwrap());
            circle(folder.path()).is_some()
        };
        assert!(found(&[(1, Some(2)), (2, Some(1))]));
        assert!(found(&[(1, Some(1))]));
        assert!(found(&[(1, None), (2, Some(3)), (3, Some(4)), (4, Some(2))]));
        assert!(!found(&[(1, None), (2, Some(1)), (3, Some(2)), (4, Some(2))]));
        assert!(!found(&[(1, Some(9)), (2, None)]), "a base elsewhere");
        for length in [0, 4, 1000, 1040, 1080] {
            let index = pack(folder.path(), &[(1, Some(2)), (2, Some(1))]);
            let bytes = std::fs::read(&index).unwrap();
            std::fs::write(&index, &bytes[..length]).unwrap();
            assert!(circle(folder.path()).is_none(), "a cut index");
        }
    }

    /// The other layout of an index, and entries with a base that cannot be: none of them hides a circle.
    #[test]
    fn a_circle_is_found_next_to_what_cannot_be_read() {
        let circle_of_two = [&[BY_NAME << 4][..], &[2; 20], &[BY_NAME << 4], &[1; 20]].concat();
        let write = |body: &[u8], objects: &[(u8, u32)]| {
            let folder = tempfile::tempdir().unwrap();
            std::fs::write(folder.path().join("p.pack"), body).unwrap();
            let below = |byte: u8| objects.iter().filter(|(name, _)| *name <= byte).count();
            let counts = (0..=255).flat_map(|byte| u32::try_from(below(byte)).unwrap().to_be_bytes());
            let rows = objects.iter().flat_map(|(name, at)| [&at.to_be_bytes()[..], &[*name; 20]].concat());
            std::fs::write(folder.path().join("p.idx"), counts.chain(rows).chain([0; 40]).collect::<Vec<u8>>())
                .unwrap();
            circle(folder.path()).is_some()
        };
        assert!(write(&circle_of_two, &[(1, 0), (2, 21)]), "an index of version 1");
        assert!(!write(&circle_of_two, &[(1, 0), (3, 21)]), "the second one is named otherwise");
        // A distance of 127 leads before the pack; an offset is behind its end.
        let more = [&circle_of_two[..], &[BY_DISTANCE << 4, 0x7f]].concat();
        assert!(write(&more, &[(0, 42), (1, 0), (2, 21), (3, 999)]));
        // A circle through an entry that the index does not have: the second entry, by its distance.
        let hidden = [&[BY_NAME << 4][..], &[2; 20], &[BY_NAME << 4], &[3; 20], &[BY_DISTANCE << 4, 42, 0, 0]].concat();
        assert!(write(&hidden, &[(2, 42), (3, 42)]));
    }

    #[test]
    fn large_places_are_in_a_table_of_their_own() {
        let table = [[0; 8], [0, 0, 0, 1, 0, 0, 0, 2]].concat();
        assert_eq!(place(7, &table), Some(7));
        assert_eq!(place(1 << 31 | 1, &table), Some((1 << 32) + 2));
        assert_eq!(place(1 << 31 | 2, &table), None);
        assert_eq!(place(1 << 31 | 2, &[]), Some((1 << 31) + 2), "version 1 has no such table");
    }

    #[test]
    fn distances_are_those_of_git() {
        // 128 is the first number with two bytes, 16512 the first with three.
        for (bytes, expected) in [(&[0x01][..], 1), (&[0x7f], 127), (&[0x80, 0x00], 128), (&[0x80, 0x80, 0x00], 16512)]
        {
            assert_eq!(distance(bytes), Some(expected));
        }
    }
}
