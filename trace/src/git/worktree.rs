//! Snapshots of a project from the files on disk, in a repository or not.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::read::{LARGEST_FILE, Problem};
use schema::{Settings, settings};
use walkdir::WalkDir;

use super::access::{Entry, EntryKind, Index, MOST_CONTENT, MOST_TABLES, too_much, within};
use super::entries::{is_template, list, symlink};
use super::project::Project;
use super::regular::{self, NotRead};
use crate::Error;
use crate::parallel::{cores, in_parallel};
use crate::snapshot::{
    Content, File, Filter, Listing, Nested, OtherFile, Repositories, Snapshot, Source, TEMPLATES, text_of,
};

/// The project as it is in the working tree.
pub(super) fn take(project: &Project) -> Result<Snapshot, Error> {
    let root = find_root(project.path())?;
    let repository = project.repository_of_root(&root)?.filter(|repository| !repository.bare);
    let prefix = match repository {
        Some(repository) => text_of(root.strip_prefix(&repository.top).unwrap_or(Path::new(""))),
        None => String::new(),
    };
    let prefix = if prefix.is_empty() { prefix } else { prefix + "/" };
    let prepare = || -> Result<Prepared, Error> {
        let tracked = match repository {
            Some(repository) => tracked(repository.index()?, &prefix),
            None => HashMap::new(),
        };
        Ok(Prepared::new(&root, tracked))
    };
    let (prepared, untracked) = match repository {
        Some(repository) => {
            let (untracked, prepared) = repository.untracked_during(&root, prepare);
            (prepared?, untracked?)
        }
        None => (prepare()?, None),
    };
    let Prepared { tracked, marker, settings, settings_problems, filter, contents } = prepared;
    let visible = untracked.map(|untracked| Visible::new(&tracked, &untracked, &prefix));
    let mut files = vec![File { path: settings::FILE.to_owned(), content: marker }];
    files.extend(walk(&root, visible.as_ref(), &filter, contents));

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

/// What is read while git lists the files that it does not track.
struct Prepared {
    tracked: HashMap<String, Option<Entry>>,
    /// The settings file.
    marker: Content,
    settings: Settings,
    settings_problems: Vec<Problem>,
    filter: Filter,
    /// The tracked record files, by path.
    contents: HashMap<String, Content>,
}

impl Prepared {
    fn new(root: &Path, tracked: HashMap<String, Option<Entry>>) -> Self {
        let marker = read(&root.join(settings::FILE));
        let (settings, mut settings_problems) = match &marker {
            Ok(bytes) => schema::read::settings(bytes),
            Err(_) => (Settings::default(), Vec::new()),
        };
        let filter = Filter::new(&settings, &mut settings_problems);
        let is_record = |(path, entry): &(&String, &Option<Entry>)| {
            filter.is_record(path) && entry.as_ref().is_some_and(|entry| entry.kind == EntryKind::File)
        };
        let mut real: HashMap<&Path, bool> = HashMap::new();
        let mut paths: Vec<&str> = Vec::new();
        for (path, _) in tracked.iter().filter(is_record) {
            if Path::new(path).parent().is_none_or(|folder| is_real(root, folder, &mut real)) {
                paths.push(path);
            }
        }
        let contents = read_all(&paths, |path| {
            let path = root.join(path);
            path.symlink_metadata().is_ok_and(|found| found.is_file()).then(|| read(&path))
        });
        let contents = paths.into_iter().zip(contents);
        let contents = contents.filter_map(|(path, content)| Some((path.to_owned(), content?))).collect();
        Self { tracked, marker, settings, settings_problems, filter, contents }
    }
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
fn read_all<T: Sync>(files: &[T], read: impl Fn(&T) -> Option<Content> + Sync) -> Vec<Option<Content>> {
    let size =
        |content: &Option<Content>| content.as_ref().and_then(|it| it.as_ref().ok()).map_or(0, |it| it.len() as u64);
    let sum = AtomicU64::new(0);
    let mut contents = in_parallel(files, if files.len() < FILES_FOR_THREADS { 1 } else { cores() }, |file| {
        if sum.load(Ordering::Relaxed) > MOST_CONTENT {
            return Some(Err(too_much()));
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
            *content = content.take().map(|content| within(&mut left, content));
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
        let is_file = entry.file_type().is_ok_and(|found| found.is_file());
        let content = (is_file && is_template(&path)).then(|| within(&mut left, read(&entry.path())))?;
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
/// The folder cannot be opened, or there is no settings file in it or above it.
pub fn find_root(start: &Path) -> Result<PathBuf, Error> {
    let start = start.canonicalize().map_err(|error| {
        Error::new(format!("cannot open {}", start.display())).because(error).help("give an existing file or folder")
    })?;
    let is_settings = |up: &&Path| up.join(settings::FILE).symlink_metadata().is_ok_and(|found| found.is_file());
    let root = start.ancestors().find(is_settings);
    root.map(Path::to_owned).ok_or_else(|| {
        Error::new(format!("no project root found at {}", start.display()))
            .because(format!("no {} in this folder or above it", settings::FILE))
            .help("run `tierod init` to create one here, or give the folder of your project")
    })
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
}

impl Visible {
    fn new(tracked: &HashMap<String, Option<Entry>>, untracked: &HashSet<String>, prefix: &str) -> Self {
        let untracked = untracked.iter().filter_map(|path| path.strip_prefix(prefix));
        let mut paths: HashSet<String> = HashSet::new();
        for path in tracked.keys().map(String::as_str).chain(untracked) {
            let mut rest = path;
            while paths.insert(rest.to_owned()) {
                let Some((folder, _)) = rest.rsplit_once('/') else { break };
                rest = folder;
            }
        }
        Self { paths }
    }
}

/// From this number of files on, reading them takes much longer than starting a thread.
const FILES_FOR_THREADS: usize = 100;

/// The record files. `contents`: those that were read already.
fn walk(root: &Path, visible: Option<&Visible>, filter: &Filter, mut contents: HashMap<String, Content>) -> Vec<File> {
    let ignored = |path: &str| visible.is_some_and(|visible| !visible.paths.contains(path));
    // A path that is left to read, or what is known of it. Those are read after the walk, several at once.
    let mut files: Vec<(String, Result<PathBuf, Content>)> = Vec::new();
    let mut steps = WalkDir::new(root).follow_links(false).sort_by_file_name().min_depth(1).into_iter();
    while let Some(step) = steps.next() {
        let step = match step {
            Ok(step) => step,
            Err(error) => {
                let path = error.path().and_then(|path| path.strip_prefix(root).ok()).map(text_of).unwrap_or_default();
                let why = error.io_error().map_or_else(|| error.to_string(), ToString::to_string);
                files.push((path, Err(Err(cannot_read(&why)))));
                continue;
            }
        };
        let path = text_of(step.path().strip_prefix(root).unwrap_or(step.path()));
        let hidden = step.file_name().to_string_lossy().starts_with('.');
        let kind = step.file_type();
        if kind.is_dir() {
            // Another repository, or another project, has its own records.
            let other = step.path().join(".git").exists() || step.path().join(settings::FILE).is_file();
            if hidden || other || filter.skips_folder(&path) || ignored(&path) {
                steps.skip_current_dir();
            }
            continue;
        }
        if !filter.is_record(&path) || ignored(&path) {
            continue;
        }
        let content = if kind.is_symlink() {
            Err(Err(symlink()))
        } else if kind.is_file() {
            contents.remove(&path).map_or_else(|| Ok(step.into_path()), Err)
        } else {
            Err(Err(not_regular()))
        };
        files.push((path, content));
    }
    let left: Vec<&PathBuf> = files.iter().filter_map(|(_, found)| found.as_ref().ok()).collect();
    let mut read = read_all(&left, |path| Some(read(path))).into_iter().flatten();
    let file = |(path, found): (String, Result<PathBuf, Content>)| {
        let content = found.err().or_else(|| read.next()).unwrap_or_else(|| Err(cannot_read("it was not read")));
        File { path, content }
    };
    files.into_iter().map(file).collect()
}

fn not_regular() -> Problem {
    Problem::cannot_open("this is not a regular file", "remove it, or list it under `ignore:` in tierod.yaml")
}

fn cannot_read(why: &str) -> Problem {
    Problem::cannot_open(&format!("cannot be read: {why}"), "check that you have permission to read it")
}

pub(super) fn read(path: &Path) -> Content {
    regular::read(path, LARGEST_FILE).map(Into::into).map_err(|error| match error {
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
