//! Contents of blobs that are files of their own, read without libgit2: it takes more calls of the system for each, and
//! the system's zlib.
//!
//! Only what is as expected is read here. Everything else (packed, missing, damaged, large, no blob) is left to libgit2,
//! which says what is wrong.

use std::path::PathBuf;

use flate2::{Decompress, FlushDecompress, Status};
use schema::read::LARGEST_FILE;

use super::regular;

/// After this number of blobs in a row that are not there, the others are taken to be packed too.
const MOST_MISSES: usize = 20;
/// The length of the longest header, `blob 8388608` and a zero.
const LONGEST_HEADER: usize = 13;
const START: &[u8] = b"blob ";

/// A reader of the blobs below one folder of objects.
pub(super) struct LooseBlobs {
    folder: PathBuf,
    state: Decompress,
    /// The object that was decompressed last, with its header.
    text: Vec<u8>,
    misses: usize,
}

impl LooseBlobs {
    /// A reader for the folder `objects` of a repository.
    pub(super) fn new(folder: PathBuf) -> Self {
        Self { folder, state: Decompress::new(true), text: Vec::new(), misses: 0 }
    }

    /// The content of a blob of about `size` bytes; `None` leaves it to libgit2. `id` is 40 hexadecimal digits.
    pub(super) fn content(&mut self, id: &str, size: usize) -> Option<&[u8]> {
        if self.misses >= MOST_MISSES {
            return None;
        }
        let (start, rest) = id.split_at_checked(2)?;
        let mut path = self.folder.join(start);
        path.push(rest);
        // What git compressed is hardly longer than its text.
        let Ok(bytes) = regular::read_listed(&path, LARGEST_FILE + (1 << 16)) else {
            self.misses += 1;
            return None;
        };
        self.misses = 0;
        self.decompress(&bytes, size)
    }

    fn decompress(&mut self, mut bytes: &[u8], size: usize) -> Option<&[u8]> {
        let Self { state, text, .. } = self;
        state.reset(true);
        text.clear();
        // A size that is too small costs another round, and a large one no more than the largest file.
        text.reserve(size.min(1 << 23) + LONGEST_HEADER + 1);
        loop {
            let before = state.total_in();
            let status = state.decompress_vec(bytes, text, FlushDecompress::None).ok()?;
            let read = usize::try_from(state.total_in() - before).ok()?;
            bytes = bytes.get(read..)?;
            match status {
                Status::StreamEnd => break,
                _ if text.len() < text.capacity() => return None,
                _ if text.len() as u64 > LARGEST_FILE + LONGEST_HEADER as u64 => return None,
                _ => text.reserve(text.len().max(1 << 10)),
            }
        }
        let end = text.iter().take(LONGEST_HEADER).position(|byte| *byte == 0)?;
        let length = text[..end].strip_prefix(START)?;
        let content = &text[end + 1..];
        let is_whole = length == content.len().to_string().as_bytes() && content.len() as u64 <= LARGEST_FILE;
        (is_whole && bytes.is_empty()).then_some(content)
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::io::Write as _;

    use super::*;

    fn compressed(object: &[u8]) -> Vec<u8> {
        let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
        writer.write_all(object).unwrap();
        writer.finish().unwrap()
    }

    fn blob(content: &[u8]) -> Vec<u8> {
        let mut object = format!("blob {}\0", content.len()).into_bytes();
        object.extend(content);
        object
    }

    #[test]
    fn only_whole_blobs_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let id = "ab".repeat(20);
        let path = folder.path().join("ab").join(&id[2..]);
        fs::create_dir(folder.path().join("ab")).unwrap();
        let mut reader = LooseBlobs::new(folder.path().to_owned());
        let long = b"parts: {hub: {in: suspension}}\n".repeat(3_000);
        for (content, size) in
            [(&b""[..], 0), (b"a", 1), (&long, long.len()), (&long, 0), (&long, 7), (&long, usize::MAX)]
        {
            fs::write(&path, compressed(&blob(content))).unwrap();
            assert_eq!(reader.content(&id, size), Some(content), "{size}");
        }
        let mut too_large = b"blob 8388609\0".to_vec();
        too_large.resize(too_large.len() + (8 << 20) + 1, b'x');
        let whole = compressed(&blob(&long));
        let mut damaged = whole.clone();
        *damaged.last_mut().unwrap() ^= 1;
        let wrong = [
            compressed(b"tree 1\0a"),
            compressed(b"blob 2\0a"),
            compressed(b"blob 01\0a"),
            compressed(b"blob 1"),
            compressed(&too_large),
            [&whole[..], b"more"].concat(),
            whole[..whole.len() - 1].to_vec(),
            damaged,
            b"no zlib".to_vec(),
            Vec::new(),
        ];
        for (number, bytes) in wrong.iter().enumerate() {
            fs::write(&path, bytes).unwrap();
            assert_eq!(reader.content(&id, 10), None, "{number}");
        }
        fs::write(&path, &whole).unwrap();
        assert_eq!(reader.content(&id, 10), Some(&long[..]), "after what is wrong");
        assert_eq!(reader.content("a", 1), None);
    }

    /// In a fresh clone all are packed: they are not looked for one by one.
    #[test]
    fn packed_blobs_are_not_looked_for_for_ever() {
        let folder = tempfile::tempdir().unwrap();
        let mut reader = LooseBlobs::new(folder.path().to_owned());
        let id = "cd".repeat(20);
        for _ in 0..MOST_MISSES {
            assert_eq!(reader.content(&id, 1), None);
        }
        fs::create_dir(folder.path().join("cd")).unwrap();
        fs::write(folder.path().join("cd").join(&id[2..]), compressed(&blob(b"late"))).unwrap();
        assert_eq!(reader.content(&id, 4), None);
        let mut reader = LooseBlobs::new(folder.path().to_owned());
        assert_eq!(reader.content(&id, 4), Some(&b"late"[..]));
    }
}
