//! Commits and trees as git stores them, parsed in the same way for both readers.

use std::cmp::Ordering;
use std::sync::Arc;

use schema::Day;

use super::access::{Entry, EntryKind, ObjectKind};
use super::commits_read::count_commit;
use super::error::GitError;
use super::repository::Repository;
use super::walk::{FileChange, day_of};
use crate::hex::hex;

/// A commit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Commit {
    /// The id of its tree.
    pub(super) tree: String,
    /// The ids of its parents, also if the history is cut off here.
    pub(super) parents: Vec<String>,
    /// The time of the change, in seconds since 1970.
    pub(super) author_time: i64,
    /// The time zone of the author, in minutes.
    pub(super) zone: i32,
    /// The time of the commit, in seconds since 1970.
    pub(super) committer_time: i64,
    /// The time zone of the committer, in minutes.
    committer_zone: i32,
}

impl Commit {
    /// Reads the lines up to the first empty one; `None` for a commit that git would not write. Its tree and its parents
    /// are ids: git's commands would look for any other name.
    pub(super) fn parse(bytes: &[u8]) -> Option<Self> {
        let mut commit = Self::default();
        for line in bytes.split(|b| *b == b'\n').take_while(|line| !line.is_empty()) {
            let line = String::from_utf8_lossy(line);
            let Some((key, value)) = line.split_once(' ') else { continue };
            match key {
                "tree" if commit.tree.is_empty() => value.clone_into(&mut commit.tree),
                "parent" => commit.parents.push(value.to_owned()),
                "author" => (commit.author_time, commit.zone) = time_of(value),
                "committer" => (commit.committer_time, commit.committer_zone) = time_of(value),
                _ => {}
            }
        }
        let ids = std::iter::once(&commit.tree).chain(&commit.parents);
        ids.into_iter().all(|id| is_object_id(id)).then_some(commit)
    }

    /// The day on which it was committed, in the time zone of the committer.
    pub(super) fn day(&self) -> Option<Day> {
        day_of(self.committer_time.saturating_add(i64::from(self.committer_zone) * 60))
    }
}

/// Whether a text is the whole id of an object, under SHA-1 or SHA-256.
pub(super) fn is_object_id(text: &str) -> bool {
    matches!(text.len(), 40 | 64) && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// Finds a commit that is its own ancestor while its ancestors are read one by one. Only an object whose content does
/// not fit its id can be one, and git does not compare them whenever it reads.
#[derive(Default)]
pub(super) struct Circle {
    mark: String,
    read: usize,
}

impl Circle {
    /// Notes the next ancestor.
    ///
    /// # Errors
    /// It was noted before. This is known after at most three times as many commits as there are (Brent's method).
    pub(super) fn next(&mut self, id: &str) -> Result<(), GitError> {
        if id == self.mark {
            return Err(GitError::DamagedObject { object: id.to_owned() });
        }
        self.read += 1;
        if self.read.is_power_of_two() {
            id.clone_into(&mut self.mark);
        }
        Ok(())
    }
}

/// The time of `Name <address> 1234567890 +0100`, in seconds, and its zone, in minutes; 0 for what is malformed.
fn time_of(signature: &str) -> (i64, i32) {
    let mut fields = signature.rsplit('>').next().unwrap_or("").split_ascii_whitespace();
    let seconds = fields.next().and_then(|text| text.parse().ok()).unwrap_or(0);
    let zone: i32 = fields.next().and_then(|text| text.parse().ok()).unwrap_or(0);
    let (hours, minutes) = (zone / 100, zone % 100);
    let usual = hours.abs() <= 14 && minutes.abs() < 60;
    (seconds, if usual { hours * 60 + minutes } else { 0 })
}

/// A tree: the entries of one folder.
#[derive(Debug)]
pub(super) struct Tree {
    bytes: Vec<u8>,
    /// The length of an id in bytes: 20 under SHA-1, 32 under SHA-256.
    id_length: usize,
}

/// One entry of a tree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct TreeEntry<'t> {
    mode: u32,
    name: &'t [u8],
    id: &'t [u8],
}

impl TreeEntry<'_> {
    fn is_folder(&self) -> bool {
        self.mode & 0o170_000 == 0o040_000
    }

    fn is_file(&self) -> bool {
        EntryKind::from_mode(self.mode) == Some(EntryKind::File)
    }

    fn hex(&self) -> String {
        hex(self.id)
    }

    /// The bytes of its name in the order of a tree, in which a folder sorts as if its name ended in `/`.
    fn sorted_name(&self) -> impl Iterator<Item = u8> + '_ {
        self.name.iter().copied().chain(self.is_folder().then_some(b'/'))
    }
}

impl Tree {
    /// `None` if these are not the bytes of a tree. A name that comes twice is not one file.
    fn new(bytes: Vec<u8>, id_length: usize) -> Option<Self> {
        let tree = Self { bytes, id_length };
        let used: usize = tree.entries().map(|entry| entry.length).sum();
        let in_order = tree.iter().is_sorted_by(|a, b| a.sorted_name().lt(b.sorted_name()));
        (used == tree.bytes.len() && in_order).then_some(tree)
    }

    fn entries(&self) -> Entries<'_> {
        Entries { rest: &self.bytes, id_length: self.id_length }
    }

    fn iter(&self) -> impl Iterator<Item = TreeEntry<'_>> {
        self.entries().map(|sized| sized.entry)
    }

    fn find(&self, name: &str) -> Option<TreeEntry<'_>> {
        self.iter().find(|entry| entry.name == name.as_bytes())
    }
}

struct Entries<'t> {
    rest: &'t [u8],
    id_length: usize,
}

struct SizedEntry<'t> {
    entry: TreeEntry<'t>,
    length: usize,
}

impl<'t> Iterator for Entries<'t> {
    type Item = SizedEntry<'t>;

    /// `<mode in octal digits> <name>\0<id>`
    fn next(&mut self) -> Option<SizedEntry<'t>> {
        let space = position_of(b' ', self.rest)?;
        let mode = self.rest[..space].iter().try_fold(0_u32, |mode, digit| match digit {
            b'0'..=b'7' => mode.checked_mul(8)?.checked_add(u32::from(digit - b'0')),
            _ => None,
        })?;
        let end = space + 1 + position_of(0, &self.rest[space + 1..])?;
        let length = end + 1 + self.id_length;
        let id = self.rest.get(end + 1..length)?;
        let entry = TreeEntry { mode, name: &self.rest[space + 1..end], id };
        self.rest = &self.rest[length..];
        Some(SizedEntry { entry, length })
    }
}

fn position_of(byte: u8, bytes: &[u8]) -> Option<usize> {
    bytes.iter().position(|b| *b == byte)
}

/// The ids of the trees from the top of a commit down to a folder.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Trail {
    prefix: String,
    ids: Vec<String>,
}

impl Trail {
    /// The id of the folder's own tree; `None` if the commit does not have the folder.
    pub(super) fn folder(&self) -> Option<&str> {
        let depth = folders(&self.prefix).count();
        self.ids.get(depth).map(String::as_str)
    }
}

/// The folders of a prefix, from the top.
fn folders(prefix: &str) -> impl Iterator<Item = &str> {
    prefix.split('/').filter(|step| !step.is_empty())
}

impl Repository {
    /// A commit by its id.
    pub(super) fn commit(&self, id: &str) -> Result<Commit, GitError> {
        count_commit(id);
        let object = self.object(id)?;
        let commit = if object.kind == ObjectKind::Commit { Commit::parse(&object.bytes) } else { None };
        commit.ok_or_else(|| GitError::DamagedObject { object: id.to_owned() })
    }

    /// A tree by its id. The last ones are kept, because a walk reads each several times.
    pub(super) fn tree(&self, id: &str) -> Result<Arc<Tree>, GitError> {
        const KEPT: usize = 256;
        const MOST_KEPT: usize = 32 << 20;
        if let Some(known) = self.trees.borrow().get(id) {
            return Ok(Arc::clone(known));
        }
        let object = self.object(id)?;
        let tree = if object.kind == ObjectKind::Tree { Tree::new(object.bytes, id.len() / 2) } else { None };
        let tree = Arc::new(tree.ok_or_else(|| GitError::DamagedObject { object: id.to_owned() })?);
        let mut trees = self.trees.borrow_mut();
        let kept: usize = trees.values().map(|tree| tree.bytes.len()).sum();
        if trees.len() >= KEPT || kept + tree.bytes.len() > MOST_KEPT {
            trees.clear();
        }
        trees.insert(id.to_owned(), Arc::clone(&tree));
        Ok(tree)
    }

    /// The trees from the top tree of a commit to the folder of a prefix. Below a tree that a nearby commit also has, its
    /// trees are reused.
    pub(super) fn trail(&self, top: &str, prefix: &str, nearby: &Trail) -> Result<Trail, GitError> {
        let mut ids = vec![top.to_owned()];
        for (depth, name) in folders(prefix).enumerate() {
            if nearby.prefix == prefix && nearby.ids.get(depth) == ids.get(depth) {
                ids.truncate(depth);
                ids.extend(nearby.ids[depth..].iter().cloned());
                break;
            }
            match self.tree(&ids[depth])?.find(name) {
                Some(entry) if entry.is_folder() => ids.push(entry.hex()),
                _ => break,
            }
        }
        Ok(Trail { prefix: prefix.to_owned(), ids })
    }

    /// Whether a tree has a file of this path.
    pub(super) fn holds(&self, tree: &str, path: &str) -> Result<bool, GitError> {
        let (folder, name) = path.rsplit_once('/').unwrap_or(("", path));
        let trail = self.trail(tree, folder, &Trail::default())?;
        let Some(folder) = trail.folder() else { return Ok(false) };
        Ok(self.tree(folder)?.find(name).is_some_and(|entry| entry.is_file()))
    }

    /// The object id of a file directly in a tree, by its name.
    pub(super) fn file_in(&self, tree: &str, name: &str) -> Result<Option<String>, GitError> {
        Ok(self.tree(tree)?.find(name).filter(TreeEntry::is_file).map(|entry| entry.hex()))
    }

    /// All files below a tree, whose folder has this prefix.
    pub(super) fn list_below(
        &self,
        tree: &str,
        prefix: &str,
        most: &mut Most,
        out: &mut Vec<Entry>,
    ) -> Result<(), GitError> {
        most.check_depth(prefix, tree)?;
        for entry in self.tree(tree)?.iter() {
            let path = format!("{prefix}{}", String::from_utf8_lossy(entry.name));
            most.take(&path, tree)?;
            if entry.is_folder() {
                self.list_below(&entry.hex(), &format!("{path}/"), most, out)?;
            } else if let Some(kind) = EntryKind::from_mode(entry.mode) {
                out.push(Entry { path, kind, ..Entry::of_object(&entry.hex()) });
            }
        }
        Ok(())
    }

    /// The files in which two trees differ; equal subtrees are skipped by their ids.
    pub(super) fn differences(
        &self,
        old: Option<&str>,
        new: Option<&str>,
        folder: &str,
        most: &mut Most,
        out: &mut Vec<FileChange>,
    ) -> Result<(), GitError> {
        let whole = old.or(new).unwrap_or_default();
        most.check_depth(folder, whole)?;
        let (old, new) = (old.map(|id| self.tree(id)).transpose()?, new.map(|id| self.tree(id)).transpose()?);
        let mut before = old.iter().flat_map(|tree| tree.iter()).peekable();
        let mut after = new.iter().flat_map(|tree| tree.iter()).peekable();
        loop {
            let order = match (before.peek(), after.peek()) {
                (None, None) => return Ok(()),
                (Some(_), None) => Ordering::Less,
                (None, Some(_)) => Ordering::Greater,
                (Some(a), Some(b)) => a.sorted_name().cmp(b.sorted_name()),
            };
            let a = if order.is_le() { before.next() } else { None };
            let b = if order.is_ge() { after.next() } else { None };
            if a.map(|a| (a.id, a.mode)) == b.map(|b| (b.id, b.mode)) {
                continue;
            }
            let Some(name) = a.or(b).map(|entry| entry.name) else { return Ok(()) };
            let path = format!("{folder}{}", String::from_utf8_lossy(name));
            most.take(&path, whole)?;
            if a.or(b).is_some_and(|entry| entry.is_folder()) {
                let id = |entry: Option<TreeEntry<'_>>| entry.map(|entry| entry.hex());
                self.differences(id(a).as_deref(), id(b).as_deref(), &format!("{path}/"), most, out)?;
                continue;
            }
            let file = |entry: Option<TreeEntry<'_>>| entry.filter(TreeEntry::is_file).map(|entry| entry.hex());
            let (old, new) = (file(a), file(b));
            if old != new {
                out.push(FileChange { path, old, new });
            }
        }
    }
}

/// The files and folders that differ at a commit, and the bytes of their paths.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Listed {
    pub(crate) entries: usize,
    pub(crate) bytes: usize,
}

/// What is left of the files and folders that a listing or a walk may have. A few small trees that contain each other
/// again and again can expand to millions of files.
#[derive(Clone, Copy, Debug)]
pub(super) struct Most {
    entries: usize,
    /// The bytes of their paths.
    bytes: usize,
}

impl Most {
    /// For the files of one commit.
    pub(super) fn of_commit() -> Self {
        Self { entries: 500_000, bytes: 100_000_000 }
    }

    /// For the changes of a whole walk.
    pub(super) fn of_walk() -> Self {
        Self { entries: 1_000_000, bytes: 200_000_000 }
    }

    /// What was taken since it was this.
    pub(super) fn taken_since(self, before: Self) -> Listed {
        Listed { entries: before.entries - self.entries, bytes: before.bytes - self.bytes }
    }

    /// Whether a walk may have all of these together.
    pub(super) fn has_room_for(mut self, all: impl IntoIterator<Item = Listed>) -> bool {
        all.into_iter().all(|listed| {
            let left = self.entries.checked_sub(listed.entries).zip(self.bytes.checked_sub(listed.bytes));
            left.map(|(entries, bytes)| self = Self { entries, bytes }).is_some()
        })
    }

    fn take(&mut self, path: &str, tree: &str) -> Result<(), GitError> {
        match (self.entries.checked_sub(1), self.bytes.checked_sub(path.len())) {
            (Some(entries), Some(bytes)) => {
                *self = Self { entries, bytes };
                Ok(())
            }
            _ => Err(GitError::TooManyFiles { tree: tree.to_owned() }),
        }
    }

    /// Stops at a tree that contains itself, which only a damaged repository can have.
    fn check_depth(&self, folder: &str, tree: &str) -> Result<(), GitError> {
        const DEEPEST: usize = 100;
        let depth = folder.bytes().filter(|b| *b == b'/').count();
        if depth > DEEPEST { Err(GitError::TooManyFiles { tree: tree.to_owned() }) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_commit_is_read_from_its_lines() {
        let [tree, first, second] = ["a", "b", "c"].map(|digit| digit.repeat(40));
        let text = format!(
            "tree {tree}\nparent {first}\nparent {second}\nauthor A > B <a@b> 86400 -0330\ncommitter C <c> 90000 +0100\n\
             gpgsig -----BEGIN\n tree cc\n\ntree dd\n"
        );
        let commit = Commit::parse(text.as_bytes()).unwrap();
        assert_eq!((&commit.tree, &commit.parents[..]), (&tree, &[first.clone(), second][..]));
        assert_eq!((commit.author_time, commit.zone, commit.committer_time), (86400, -210, 90000));
        assert_eq!(commit.day().unwrap().to_string(), "1970-01-02");
        let late = format!("parent {first}\n\ntree {tree}\n");
        assert_eq!(Commit::parse(late.as_bytes()), None, "the message is not part of it");
        for wrong in ["HEAD", ":/x", "", &first[1..], &first.to_uppercase()] {
            assert_eq!(Commit::parse(format!("tree {tree}\nparent {wrong}\n").as_bytes()), None, "{wrong}");
            assert_eq!(Commit::parse(format!("tree {wrong}\n").as_bytes()), None, "{wrong}");
        }
        assert_eq!(time_of("nothing"), (0, 0));
        assert_eq!(time_of("A <a> 5 +9999"), (5, 0));
    }

    #[test]
    fn a_tree_has_each_name_once() {
        let tree = |entries: &[(&str, &str)]| {
            let one = |(mode, name): &(&str, &str)| [format!("{mode} {name}\0").as_bytes(), &[7; 20]].concat();
            Tree::new(entries.iter().flat_map(one).collect(), 20)
        };
        let [file, folder] = ["100644", "40000"];
        assert!(tree(&[(file, "a"), (file, "a-b"), (folder, "a"), (file, "b")]).is_some(), "a folder sorts as `a/`");
        for wrong in
            [&[(file, "a"), (file, "a")][..], &[(file, "a"), (file, "b"), (file, "a")], &[(file, "b"), (file, "a")]]
        {
            assert!(tree(wrong).is_none(), "{wrong:?}");
        }
    }

    #[test]
    fn what_differs_in_a_history_is_added_up() {
        let listed = |entries: usize, bytes: usize| Listed { entries, bytes };
        assert!(Most::of_walk().has_room_for([listed(600_000, 5), listed(400_000, 5)]));
        assert!(!Most::of_walk().has_room_for([listed(600_000, 5), listed(400_001, 5)]));
        assert!(!Most::of_walk().has_room_for([listed(1, 150_000_000), listed(1, 50_000_001)]));
        let (mut most, before) = (Most::of_walk(), Most::of_walk());
        most.take("a/b", "").unwrap();
        assert_eq!(most.taken_since(before), listed(1, 3));
    }

    #[test]
    fn an_ancestor_that_comes_again_is_found() {
        for (before, circle) in [(0, 1), (1, 1), (0, 2), (5, 3), (100, 1), (3, 100)] {
            let mut noted = Circle::default();
            let ids = (0..before + circle).chain((before..before + circle).cycle());
            let read = ids.take_while(|number| noted.next(&number.to_string()).is_ok()).count();
            assert!(read >= before + circle && read <= 3 * (before + circle), "{before} {circle} {read}");
        }
        let mut noted = Circle::default();
        assert!((0..10_000).all(|number| noted.next(&number.to_string()).is_ok()));
    }

    #[test]
    fn a_tree_is_read_to_its_end_or_not_at_all() {
        let bytes = [&b"100644 a.yaml\0"[..], &[1; 20], b"40000 b\0", &[2; 20]].concat();
        for length in 0..bytes.len() {
            let whole = Tree::new(bytes[..length].to_vec(), 20);
            assert_eq!(whole.is_some(), length == 0 || length == 34, "{length}");
        }
        let tree = Tree::new(bytes, 20).unwrap();
        let (file, folder) = (tree.find("a.yaml").unwrap(), tree.find("b").unwrap());
        assert!(file.is_file() && !file.is_folder() && folder.is_folder() && !folder.is_file());
        assert_eq!(folder.hex(), "02".repeat(20));
        assert!(folder.sorted_name().eq(*b"b/"));
    }
}
