//! Objects that are files of their own and whose compressed text is cut off: libgit2 (1.9) waits for its end for ever.

use std::io::Read;
use std::path::{Path, PathBuf};

use flate2::{Decompress, FlushDecompress, Status};
use walkdir::WalkDir;

use super::error::GitError;
use super::regular;

/// The largest number of files that are looked at.
const MOST_FILES: usize = 200_000;
/// The largest number of bytes that are decompressed of one file: a longer object is not read at all.
const MOST_TEXT: u64 = 256 << 20;
/// The same for all files.
const MOST_TEXT_OF_ALL: u64 = 8 << 30;

/// The error for the first object of a folder that is cut off; behind a link, too, because git follows them.
pub(super) fn cut(objects: &Path) -> Option<GitError> {
    let files = WalkDir::new(objects).follow_links(true).min_depth(2).max_depth(2).into_iter().take(MOST_FILES);
    // `pack` and `info` have other files.
    let is_object = |path: &PathBuf| {
        path.parent().and_then(Path::file_name).is_some_and(|name| name.len() == 2) && path.extension().is_none()
    };
    let mut files = files.flatten().map(walkdir::DirEntry::into_path).filter(is_object);
    let mut left = MOST_TEXT_OF_ALL;
    let found = files.find(|path| {
        let real = path.canonicalize().ok();
        let file = real.and_then(|path| regular::open_up_to(&path, u64::MAX).ok());
        left > 0 && file.is_some_and(|(file, _)| is_cut(file, &mut left))
    })?;
    Some(GitError::Unreadable {
        cause: format!("{} is cut off", found.display()),
        hint: "run `git fsck`, or clone the repository again".to_owned(),
    })
}

/// Whether the text ends before its compressed form says so. What is wrong in another way is an error of every reader.
fn is_cut(mut file: impl Read, left: &mut u64) -> bool {
    let mut state = Decompress::new(true);
    let (mut bytes, mut text) = (vec![0; 1 << 16], vec![0; 1 << 16]);
    loop {
        let mut rest = match file.read(&mut bytes) {
            Ok(read) => &bytes[..read],
            Err(_) => return false,
        };
        let is_end = rest.is_empty();
        loop {
            let before = (state.total_in(), state.total_out());
            match state.decompress(rest, &mut text, FlushDecompress::None) {
                Ok(Status::StreamEnd) | Err(_) => return false,
                Ok(_) => {}
            }
            let read = state.total_in() - before.0;
            let written = state.total_out() - before.1;
            rest = usize::try_from(read).ok().and_then(|read| rest.get(read..)).unwrap_or_default();
            *left = left.saturating_sub(written);
            if state.total_out() > MOST_TEXT || *left == 0 {
                return false;
            }
            if (read, written) == (0, 0) {
                break;
            }
        }
        if is_end {
            return true;
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
        let is_cut = |bytes: &[u8]| is_cut(bytes, &mut 1_000_000);
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
        #[cfg(unix)]
        {
            // Behind links to the file and to its folder.
            let elsewhere = tempfile::tempdir().unwrap();
            std::fs::rename(&object, elsewhere.path().join("object")).unwrap();
            std::os::unix::fs::symlink(elsewhere.path().join("object"), &object).unwrap();
            assert!(cut(folder.path()).is_some());
            std::fs::rename(folder.path().join("ab"), elsewhere.path().join("cd")).unwrap();
            assert!(cut(folder.path()).is_none());
            std::os::unix::fs::symlink(elsewhere.path().join("cd"), folder.path().join("cd")).unwrap();
            assert!(cut(folder.path()).is_some());
        }
    }

    /// What grows without an end is not followed to it.
    #[test]
    fn long_texts_are_not_decompressed_whole() {
        let mut writer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
        writer.write_all(&vec![0; 4 << 20]).unwrap();
        let whole = writer.finish().unwrap();
        let mut left = 1 << 20;
        assert!(!is_cut(&whole[..whole.len() - 4], &mut left));
        assert_eq!(left, 0);
        assert!(is_cut(&whole[..whole.len() - 4], &mut (8 << 20)));
    }
}
