//! Objects that are files of their own and whose compressed text is cut off: libgit2 (1.9) waits for its end for ever.

use std::path::{Path, PathBuf};

use flate2::{Decompress, FlushDecompress, Status};
use walkdir::WalkDir;

use super::error::GitError;
use super::regular;

/// The largest number of files that are looked at.
const MOST_FILES: usize = 50_000;
/// The largest file that is looked at, in bytes.
const LARGEST: u64 = 64 << 20;
/// The largest number of bytes that are decompressed of one file.
const MOST_TEXT: u64 = 512 << 20;

/// The error for the first object of a folder that is cut off.
pub(super) fn cut(objects: &Path) -> Option<GitError> {
    let files = WalkDir::new(objects).min_depth(2).max_depth(2).into_iter().take(MOST_FILES).flatten();
    // `pack` and `info` have other files.
    let is_object = |path: &PathBuf| {
        path.parent().and_then(Path::file_name).is_some_and(|name| name.len() == 2) && path.extension().is_none()
    };
    let mut files = files.map(walkdir::DirEntry::into_path).filter(is_object);
    let found = files.find(|path| regular::read(path, LARGEST).is_ok_and(|bytes| is_cut(&bytes)))?;
    Some(GitError::Unreadable {
        cause: format!("{} is cut off", found.display()),
        hint: "run `git fsck`, or clone the repository again".to_owned(),
    })
}

/// Whether the text ends before its compressed form says so. What is wrong in another way is an error of every reader.
fn is_cut(bytes: &[u8]) -> bool {
    let mut state = Decompress::new(true);
    let mut text = vec![0; 1 << 16];
    loop {
        let before = (state.total_in(), state.total_out());
        let rest = usize::try_from(before.0).ok().and_then(|read| bytes.get(read..)).unwrap_or_default();
        match state.decompress(rest, &mut text, FlushDecompress::None) {
            Ok(Status::StreamEnd) | Err(_) => return false,
            Ok(_) if before == (state.total_in(), state.total_out()) => return true,
            Ok(_) if state.total_out() > MOST_TEXT => return false,
            Ok(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write as _;

    use super::*;

    #[test]
    fn every_cut_is_found_and_nothing_else() {
        let text: Vec<u8> = (0..3_000_u32).flat_map(|number| (number * number).to_le_bytes()).collect();
        let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
        writer.write_all(&text).unwrap();
        let whole = writer.finish().unwrap();
        assert!(!is_cut(&whole));
        for length in (0..whole.len()).step_by(7) {
            assert!(is_cut(&whole[..length]), "{length}");
        }
        let mut damaged = whole.clone();
        damaged[0] ^= 0xff;
        assert!(!is_cut(&damaged), "no zlib at all");
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join("ab")).unwrap();
        let object = folder.path().join("ab").join("0".repeat(38));
        std::fs::write(&object, &whole).unwrap();
        assert!(cut(folder.path()).is_none());
        std::fs::write(&object, &whole[..whole.len() - 10]).unwrap();
        assert!(cut(folder.path()).is_some());
    }
}
