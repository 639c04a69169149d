//! Reading stress files and pictures: larger ones than tables, and up to a limit for all of a state.

use std::cell::Cell;

use foldhash::{HashSet, HashSetExt as _};
use models::stress::limits::{LARGEST_FILE, MOST_BYTES};
use schema::read::Problem;

use super::Project;
use super::error::GitError;
use super::worktree;
use crate::snapshot::{Content, Snapshot, inside};
use crate::talk::picture;

impl Project {
    /// Reads stress files, which may be larger than tables; each once, up to a limit for all of them.
    pub fn fetch_stress_files(&self, snapshot: &mut Snapshot, paths: &[String]) {
        self.fetch_large(snapshot, paths, LARGEST_FILE, MOST_BYTES, &too_much_stress);
    }

    /// Reads the pictures of a talk. A link is not followed, and what is not a regular file is not read.
    pub fn fetch_pictures(&self, snapshot: &mut Snapshot, paths: &[String]) {
        self.fetch_large(snapshot, paths, picture::LARGEST, picture::MOST_BYTES as u64, &too_many_pictures);
    }

    /// Reads files with a limit of their own, and one for all of them.
    fn fetch_large(
        &self,
        snapshot: &mut Snapshot,
        paths: &[String],
        most: u64,
        together: u64,
        too_much: &dyn Fn() -> Problem,
    ) {
        let mut seen = HashSet::new();
        let paths: Vec<String> = paths.iter().filter_map(|path| inside(path)).collect();
        let paths: Vec<String> = paths.into_iter().filter(|path| seen.insert(path.clone())).collect();
        let left = Cell::new(together);
        for path in &paths {
            let known = snapshot.others.get(path).and_then(|file| file.content.as_ref()?.as_ref().ok());
            left.set(left.get().saturating_sub(known.map_or(0, |bytes| bytes.len() as u64)));
        }
        let read = |read: &dyn Fn() -> Content| -> Content {
            let content = if left.get() > 0 { read() } else { Err(too_much()) }?;
            let rest = left.get().checked_sub(content.len() as u64);
            left.set(rest.unwrap_or(0));
            rest.map(|_| content).ok_or_else(too_much)
        };
        let objects = self.read_others(snapshot, paths, &|path| read(&|| worktree::read_large(path, most)));
        for (path, entry) in objects {
            let content = read(&|| {
                let content = match self.commits(snapshot).repository {
                    Some(repository) => repository.large_content(&entry.id, most),
                    None => Err(GitError::NoRepository { hint: "" }),
                };
                content.unwrap_or_else(|error| {
                    Err(Problem::cannot_open(&error.message(), &error.hint().unwrap_or_default()))
                })
            });
            snapshot.others.entry(path).or_default().content = Some(content);
        }
    }
}

fn too_much_stress() -> Problem {
    let message = format!("the stress files are more than {} MiB together, and this one is not read", MOST_BYTES >> 20);
    Problem::cannot_open(&message, "use coarser meshes, export only the stress, or compress the files with zlib")
}

fn too_many_pictures() -> Problem {
    let message =
        format!("the pictures are more than {} MiB together, and this one is not read", picture::MOST_BYTES >> 20);
    Problem::cannot_open(&message, "show fewer or smaller pictures")
}
