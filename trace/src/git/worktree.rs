//! Snapshots of a project from the files on disk, in a repository or not.

use std::fs::FileType;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::read::{LARGEST_FILE, Problem};
use schema::{Settings, settings};
use walkdir::WalkDir;

use super::access::{Entry, EntryKind, Index, MOST_CONTENT, MOST_TABLES, too_much, within};
use super::entries::{is_template, list, symlink};
use super::link_out::refuse_project_behind_link;
use super::project::Project;
use super::regular::{self, NotRead};
use super::repository::Repository;
use crate::Error;
use crate::parallel::{cores, in_parallel};
use crate::snapshot::{
    Content, File, Filter, Listing, Nested, OtherFile, Repositories, Snapshot, Source, TEMPLATES, text_of,
};

/// The project as it is in the working tree.
pub(super) fn take(project: &Project) -> Result<Snapshot, Error> {
    let root = find_root(project.path())?;
    let repository = project.repository_of_root(&root)?.filter(|repository| !repository.bare);
    let prefix = repository.map(|repository| prefix(&root, repository)).unwrap_or_default();
    let tracked = match repository {
        Some(repository) => tracked(repository.index()?, &prefix),
        None => HashMap::new(),
    };
    let marker = read(&root.join(settings::FILE));
    let (settings, mut settings_problems) = match &marker {
        Ok(bytes) => schema::read::settings(bytes),
        Err(_) => (Settings::default(), Vec::new()),
    };
    let filter = Filter::new(&settings, &mut settings_problems);
    let mut visible = repository.map(|_| Visible::tracked(&tracked));
    let mut walk = Walk { root: &root, filter: &filter, found: Vec::new(), unknown: Vec::new() };
    walk.folder(&root, visible.as_ref());
    let mut files = vec![File { path: settings::FILE.to_owned(), content: marker }];
    let (known, unknown) = (std::mem::take(&mut walk.found), std::mem::take(&mut walk.unknown));
    match repository.filter(|_| !unknown.is_empty()) {
        // Git is asked for the files that it does not track only if there are any.
        Some(repository) => {
            let (untracked, contents) = repository.untracked_during(&root, || read_found(known));
            files.extend(contents);
            match (untracked?, &mut visible) {
                (Some(untracked), Some(visible)) => visible.add(&untracked, &prefix),
                _ => visible = None,
            }
            for unknown in unknown {
                walk.resolve(unknown, visible.as_ref());
            }
            files.extend(read_found(walk.found));
        }
        None => files.extend(read_found(known)),
    }

    let mut listing = Listing::default();
    let mut left_out: Vec<(String, &Entry)> = Vec::new();
    let nested = Nested::among(tracked.keys().map(String::as_str));
    for (path, entry) in &tracked {
        let Some(entry) = entry else { continue };
        if entry.skip_worktree && entry.kind == EntryKind::File && !root.join(path).exists() {
            list(&mut listing, path, entry);
            if filter.is_record(path) && !nested.have(path) {
                left_out.push((path.clone(), entry));
            }
        }
    }
    if let (Some(repository), false) = (repository, left_out.is_empty()) {
        let entries: Vec<&Entry> = left_out.iter().map(|(_, entry)| *entry).collect();
        for ((path, _), content) in left_out.iter().zip(repository.contents(&entries, MOST_CONTENT)?) {
            files.push(File { path: path.clone(), content });
        }
    }
    files[1..].sort_by(|a, b| a.path.cmp(&b.path));
    Ok(Snapshot {
        prefix,
        listing: Arc::new(listing),
        others: templates(&root),
        repository: if repository.is_some() { Repositories::OfRoot } else { Repositories::None },
        folder: Some(root),
        ..Snapshot::new(Source::Worktree, files, settings, settings_problems)
    })
}

/// The path of a root from the top of its repository: empty, or ending in `/`.
pub(super) fn prefix(root: &Path, repository: &Repository) -> String {
    let prefix = text_of(root.strip_prefix(&repository.top).unwrap_or(Path::new("")));
    if prefix.is_empty() { prefix } else { prefix + "/" }
}

/// Whether a folder below the root, and every folder between them, is a folder and no link.
pub(super) fn is_real<'p>(root: &Path, folder: &'p Path, known: &mut HashMap<&'p Path, bool>) -> bool {
    if folder.as_os_str().is_empty() {
        return true;
    }
    if let Some(known) = known.get(folder) {
        return *known;
    }
    let own = || root.join(folder).symlink_metadata().is_ok_and(|found| found.is_dir());
    let real = folder.parent().is_none_or(|outer| is_real(root, outer, known)) && own();
    known.insert(folder, real);
    real
}

/// Reads files, on several threads if there are many; no more than [`MOST_CONTENT`] of them in their order.
fn read_all<T: Sync>(files: &[T], read: impl Fn(&T) -> Content + Sync) -> Vec<Content> {
    let size = |content: &Content| content.as_ref().map_or(0, |it| it.len() as u64);
    let sum = AtomicU64::new(0);
    let mut contents = in_parallel(files, if files.len() < FILES_FOR_THREADS { 1 } else { cores() }, |file| {
        if sum.load(Ordering::Relaxed) > MOST_CONTENT {
            return Err(too_much());
        }
        let content = read(file);
        sum.fetch_add(size(&content), Ordering::Relaxed);
        content
    });
    if sum.into_inner() > MOST_CONTENT {
        // Which files were read before the limit depends on the threads; the answer must not.
        let mut left = MOST_CONTENT;
        for (file, content) in files.iter().zip(&mut contents) {
            if left > 0 && size(content) == 0 {
                *content = read(file);
            }
            if left < size(content) {
                left = 0;
            }
            let own = std::mem::replace(content, Err(too_much()));
            *content = within(&mut left, own);
        }
    }
    contents
}

/// The templates of the team. A link is not followed: it could lead a report to any file of the machine.
fn templates(root: &Path) -> HashMap<String, OtherFile> {
    let folder = root.join(TEMPLATES);
    let is_folder = folder.symlink_metadata().is_ok_and(|found| found.is_dir());
    let entries = is_folder.then(|| std::fs::read_dir(&folder).ok()).flatten();
    let mut entries: Vec<_> = entries.into_iter().flatten().flatten().collect();
    entries.sort_by_key(std::fs::DirEntry::file_name);
    let mut left = MOST_TABLES;
    let files = entries.into_iter().filter_map(|entry| {
        let path = format!("{TEMPLATES}/{}", entry.file_name().to_str()?);
        // A pipe or a device is an error there: it is not waited for.
        let is_read = entry.file_type().is_ok_and(|found| !found.is_symlink() && !found.is_dir());
        let content = (is_read && is_template(&path)).then(|| within(&mut left, read(&entry.path())))?;
        let there = content.as_ref().map_or(true, |bytes| !bytes.is_empty());
        Some((path, OtherFile { there, content: Some(content) }))
    });
    files.collect()
}

/// Whether this path below a root is a file or a folder that is not empty. A link counts as it is, like in git, and what is behind
/// one in its path does not count.
pub(super) fn has(root: &Path, path: &str) -> bool {
    let full = root.join(path);
    match found(root, path) {
        Some(found) if found.is_symlink() => true,
        Some(found) if found.is_dir() => std::fs::read_dir(full).is_ok_and(|mut entries| entries.next().is_some()),
        Some(found) => found.len() > 0,
        None => false,
    }
}

/// What is at a path below a root: nothing behind a link.
pub(super) fn found(root: &Path, path: &str) -> Option<std::fs::Metadata> {
    let below = Path::new(path);
    let real = below.parent().is_none_or(|folder| is_real(root, folder, &mut HashMap::new()));
    if real { root.join(below).symlink_metadata().ok() } else { None }
}

/// The project root of a folder: the nearest one upward that has a settings file.
///
/// # Errors
/// The folder cannot be opened, a link of a repository leads out of it there, or there is no settings file in it or above it.
pub fn find_root(start: &Path) -> Result<PathBuf, Error> {
    refuse_project_behind_link(start)?;
    let start = start.canonicalize().map_err(|error| {
        Error::new(format!("cannot open {}", start.display())).because(error).help("give an existing file or folder")
    })?;
    let is_settings = |up: &&Path| up.join(settings::FILE).symlink_metadata().is_ok_and(|found| found.is_file());
    let root = start.ancestors().find(is_settings);
    root.map(Path::to_owned).ok_or_else(|| {
        let fix = "run `tierod init` to create one here, or give the folder of your project";
        no_root(&format!("at {}", start.display())).help(fix)
    })
}

/// The error where there is no project root.
pub(super) fn no_root(place: &str) -> Error {
    Error::new(format!("no project root found {place}"))
        .because(format!("no {} in this folder or above it", settings::FILE))
}

/// The entries of the index below the project root, by path relative to it; an unmerged path has no single entry.
fn tracked(index: Index, prefix: &str) -> HashMap<String, Option<Entry>> {
    let merged = index.entries.into_iter().map(|entry| (entry.path.clone(), Some(entry)));
    let all = merged.chain(index.unmerged.into_iter().map(|path| (path, None)));
    all.filter_map(|(path, entry)| Some((path.strip_prefix(prefix)?.to_owned(), entry))).collect()
}

/// The files that git tracks or would add: all files except those that its rules ignore, and the folders above them.
///
/// The rules do not apply to tracked files. There is no such list outside of a repository, or for a project root that is
/// itself ignored: that one is read anyway.
struct Visible {
    paths: HashSet<String>,
    /// Whether the untracked files are among them.
    is_complete: bool,
}

impl Visible {
    /// The tracked ones.
    fn tracked(tracked: &HashMap<String, Option<Entry>>) -> Self {
        let mut visible = Self { paths: HashSet::with_capacity(tracked.len()), is_complete: false };
        tracked.keys().for_each(|path| visible.insert(path));
        visible
    }

    /// Adds all others, which are given from the top of the repository.
    fn add(&mut self, untracked: &HashSet<String>, prefix: &str) {
        untracked.iter().filter_map(|path| path.strip_prefix(prefix)).for_each(|path| self.insert(path));
        self.is_complete = true;
    }

    fn insert(&mut self, path: &str) {
        let mut rest = path;
        while !self.paths.contains(rest) {
            self.paths.insert(rest.to_owned());
            let Some((folder, _)) = rest.rsplit_once('/') else { break };
            rest = folder;
        }
    }
}

/// From this number of files on, reading them takes much longer than starting a thread.
const FILES_FOR_THREADS: usize = 100;

/// A search for record files.
struct Walk<'p> {
    root: &'p Path,
    filter: &'p Filter,
    /// The record files: where each is, or why it is not read. Those are read after the walk, several at once.
    found: Vec<(String, Result<PathBuf, Problem>)>,
    /// What may be ignored: files, and folders that were not searched.
    unknown: Vec<Unknown>,
}

/// A file or a folder that git does not track.
struct Unknown {
    path: String,
    full: PathBuf,
    kind: FileType,
}

impl Walk<'_> {
    /// Searches a folder. Without a list nothing is ignored.
    fn folder(&mut self, folder: &Path, visible: Option<&Visible>) {
        let steps = WalkDir::new(folder).follow_links(false).follow_root_links(false).sort_by_file_name().min_depth(1);
        let mut steps = steps.into_iter();
        while let Some(step) = steps.next() {
            let step = match step {
                Ok(step) => step,
                Err(error) => {
                    let path = error.path().and_then(|path| path.strip_prefix(self.root).ok()).map(text_of);
                    let why = error.io_error().map_or_else(|| error.to_string(), ToString::to_string);
                    self.found.push((path.unwrap_or_default(), Err(cannot_read(&why))));
                    continue;
                }
            };
            let path = text_of(step.path().strip_prefix(self.root).unwrap_or(step.path()));
            let hidden = step.file_name().to_string_lossy().starts_with('.');
            let kind = step.file_type();
            let has_records = match kind.is_dir() {
                true => !hidden && !self.filter.skips_folder(&path),
                false => self.filter.is_record(&path),
            };
            let is_visible = visible.is_none_or(|visible| visible.paths.contains(&path));
            // Another repository, or another project, has its own records.
            let other = || step.path().join(".git").exists() || step.path().join(settings::FILE).is_file();
            let is_searched = has_records && is_visible && !(kind.is_dir() && other());
            if kind.is_dir() && !is_searched {
                steps.skip_current_dir();
            }
            if has_records && !is_visible && visible.is_some_and(|visible| !visible.is_complete) {
                self.unknown.push(Unknown { path, full: step.into_path(), kind });
            } else if is_searched && !kind.is_dir() {
                self.file(path, step.into_path(), kind);
            }
        }
    }

    fn file(&mut self, path: String, full: PathBuf, kind: FileType) {
        let found = if kind.is_symlink() {
            Err(symlink())
        } else if kind.is_file() {
            Ok(full)
        } else {
            Err(not_regular())
        };
        self.found.push((path, found));
    }

    /// Takes in what was unknown, unless it is ignored.
    fn resolve(&mut self, unknown: Unknown, visible: Option<&Visible>) {
        let Unknown { path, full, kind } = unknown;
        if visible.is_some_and(|visible| !visible.paths.contains(&path)) {
            return;
        }
        if !kind.is_dir() {
            self.file(path, full, kind);
        } else if !full.join(".git").exists() && !full.join(settings::FILE).is_file() {
            self.folder(&full, visible);
        }
    }
}

/// Reads what was found.
fn read_found(found: Vec<(String, Result<PathBuf, Problem>)>) -> Vec<File> {
    let left: Vec<&PathBuf> = found.iter().filter_map(|(_, found)| found.as_ref().ok()).collect();
    let mut read = read_all(&left, |path| content_of(regular::read_listed(path, LARGEST_FILE))).into_iter();
    let file = |(path, found): (String, Result<PathBuf, Problem>)| {
        let content = match found {
            Ok(_) => read.next().unwrap_or_else(|| Err(cannot_read("it was not read"))),
            Err(problem) => Err(problem),
        };
        File { path, content }
    };
    found.into_iter().map(file).collect()
}

fn not_regular() -> Problem {
    Problem::cannot_open("this is not a regular file", "remove it, or list it under `ignore:` in tierod.yaml")
}

fn cannot_read(why: &str) -> Problem {
    Problem::cannot_open(&format!("cannot be read: {why}"), "check that you have permission to read it")
}

pub(super) fn read(path: &Path) -> Content {
    content_of(regular::read(path, LARGEST_FILE))
}

fn content_of(read: Result<Vec<u8>, NotRead>) -> Content {
    read.map(Into::into).map_err(|error| match error {
        NotRead::TooLarge(size) => Problem::too_large(size),
        other => problem_of(&other, LARGEST_FILE),
    })
}

/// A file with a limit of its own, read without a copy.
pub(super) fn read_large(path: &Path, most: u64) -> Content {
    regular::read_shared(path, most).map_err(|error| problem_of(&error, most))
}

fn problem_of(error: &NotRead, most: u64) -> Problem {
    match error {
        NotRead::Link => symlink(),
        NotRead::NotRegular => not_regular(),
        NotRead::TooLarge(size) => Problem::above_limit(*size, most),
        NotRead::Failed(error) => cannot_read(&error.to_string()),
    }
}
