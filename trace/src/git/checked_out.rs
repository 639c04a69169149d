//! Contents of entries of the index, read from the working tree: a file there needs no decompression, and of most entries
//! it has the same bytes.
//!
//! A content is taken only if it has the id of the entry. So it is the content that is committed, whatever the working
//! tree or the times in the index claim. Only regular files are opened, and no link on the way to them is followed.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use schema::read::LARGEST_FILE;

use super::access::Entry;
use super::regular;
use super::worktree::is_real;
use crate::snapshot::inside;
use crate::snapshot::object_id::blob_id;

/// After this number of files in a row that are others, the rest is taken to be converted by git when it is checked out.
const MOST_MISSES: usize = 20;

/// A reader of the files below the top of a working tree.
pub(super) struct CheckedOut {
    top: PathBuf,
    /// The folder that was looked at last, and whether its files may be read: entries are in the order of their paths.
    folder: Option<(String, bool)>,
    misses: usize,
}

impl CheckedOut {
    /// A reader for the working tree of this top.
    pub(super) fn new(top: PathBuf) -> Self {
        Self { top, folder: None, misses: 0 }
    }

    /// The content of an entry of the index; `None` if the working tree has another one. Only the index knows sizes: an entry
    /// of a tree has none, and is not looked for.
    pub(super) fn content(&mut self, entry: &Entry) -> Option<Vec<u8>> {
        let size = u64::from(entry.size);
        if self.misses >= MOST_MISSES || size == 0 || size > LARGEST_FILE || entry.skip_worktree {
            return None;
        }
        // What is opened is asked whether it is a regular file: with one call of the system less, as in the working tree.
        let is_below = self.is_below(&entry.path);
        let bytes = is_below.then(|| regular::read_listed(&self.top.join(&entry.path), size).ok()).flatten();
        let bytes = bytes.filter(|bytes| blob_id(bytes, entry.id.len()) == entry.id);
        self.misses = if bytes.is_some() { 0 } else { self.misses + 1 };
        bytes
    }

    /// Whether a path stays below the top, and none of its folders is a link.
    fn is_below(&mut self, path: &str) -> bool {
        if inside(path).as_deref() != Some(path) {
            return false;
        }
        let folder = path.rsplit_once('/').map_or("", |(folder, _)| folder);
        match &self.folder {
            Some((known, real)) if known == folder => *real,
            _ => {
                let real = is_real(&self.top, Path::new(folder), &mut HashMap::default());
                self.folder = Some((folder.to_owned(), real));
                real
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::access::EntryKind;
    use super::*;

    /// `printf 'hello\n' | git hash-object --stdin`
    const HELLO: &str = "ce013625030ba8dba906f756967f9e9ca394464a";

    fn entry(path: &str, size: u32) -> Entry {
        let (path, id) = (path.to_owned(), HELLO.to_owned());
        Entry { path, id, kind: EntryKind::File, skip_worktree: false, size }
    }

    #[test]
    fn only_the_content_with_the_id_is_taken() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("same.yaml"), "hello\n").unwrap();
        std::fs::write(folder.path().join("other.yaml"), "hullo\n").unwrap();
        std::fs::write(folder.path().join("longer.yaml"), "hello\n\n").unwrap();
        let mut reader = CheckedOut::new(folder.path().to_owned());
        assert_eq!(reader.content(&entry("same.yaml", 6)).unwrap(), b"hello\n");
        for (path, size) in [("other.yaml", 6), ("longer.yaml", 6), ("longer.yaml", 7), ("none.yaml", 6), ("", 6)] {
            assert_eq!(reader.content(&entry(path, size)), None, "{path}");
        }
        assert_eq!(reader.content(&entry("same.yaml", 0)), None, "an entry of a tree");
        assert_eq!(reader.content(&Entry { skip_worktree: true, ..entry("same.yaml", 6) }), None);
        assert!(reader.content(&entry("same.yaml", 6)).is_some());
    }

    #[cfg(unix)]
    #[test]
    fn nothing_behind_a_link_or_outside_is_opened() {
        let folder = tempfile::tempdir().unwrap();
        let top = folder.path().join("top");
        for path in ["top/real", "other"] {
            std::fs::create_dir_all(below(&folder, path)).unwrap();
        }
        for file in ["top/real/same.yaml", "other/same.yaml"] {
            std::fs::write(below(&folder, file), "hello\n").unwrap();
        }
        std::os::unix::fs::symlink("../other", top.join("linked")).unwrap();
        std::os::unix::fs::symlink("real/same.yaml", top.join("link.yaml")).unwrap();
        let mut reader = CheckedOut::new(top);
        let absolute = below(&folder, "other/same.yaml");
        let outside = ["linked/same.yaml", "link.yaml", "../other/same.yaml", absolute.to_str().unwrap()];
        for path in outside {
            assert_eq!(reader.content(&entry(path, 6)), None, "{path}");
        }
        assert!(reader.content(&entry("real/same.yaml", 6)).is_some());
    }

    #[cfg(unix)]
    fn below(folder: &tempfile::TempDir, path: &str) -> PathBuf {
        folder.path().join(path)
    }

    #[test]
    fn after_many_others_the_working_tree_is_not_read() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("same.yaml"), "hello\n").unwrap();
        let mut reader = CheckedOut::new(folder.path().to_owned());
        for _ in 1..MOST_MISSES {
            assert_eq!(reader.content(&entry("none.yaml", 6)), None);
        }
        assert!(reader.content(&entry("same.yaml", 6)).is_some());
        for _ in 0..MOST_MISSES {
            assert_eq!(reader.content(&entry("none.yaml", 6)), None);
        }
        assert_eq!(reader.content(&entry("same.yaml", 6)), None);
    }
}
