//! Snapshots of a project from the index or from a revision.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::read::Problem;
use schema::settings;

use super::access::{Entry, EntryKind, Index, MOST_CONTENT, MOST_TABLES, within};
use super::error::GitError;
use super::project::Project;
use super::repository::{Repository, roots};
use super::worktree::no_root;
use crate::Error;
use crate::ids::FileId;
use crate::snapshot::{
    Content, File, Filter, Listing, Nested, OtherFile, Repositories, Snapshot, Source, TEMPLATES, text_of,
};

/// The project in the index, which is the content of the next commit.
pub(super) fn index(project: &Project) -> Result<Snapshot, Error> {
    let (repository, start) = open(project)?;
    if repository.bare {
        return Err(GitError::NoIndex.into());
    }
    let Index { entries, unmerged } = repository.index()?;
    if let Some(path) = unmerged.into_iter().next() {
        return Err(GitError::UnfinishedMerge { path }.into());
    }
    let fix = match entries[..] {
        [] => "the index is empty: `git add` the records, or run `git reset` if nothing was checked out yet",
        [..] => "`git add` the settings file, or run without --staged",
    };
    let prefix = root_among(&entries, &start, "the index", fix)?;
    build(repository, entries, prefix, Source::Index, None)
}

/// The project at a revision.
pub(super) fn revision(project: &Project, revision: &str) -> Result<Snapshot, Error> {
    let (repository, start) = open(project)?;
    let (commit, entries) = repository.files_of(revision)?;
    let state = format!("revision {}", schema::words::shorten(revision));
    let prefix = root_among(&entries, &start, &state, "give another revision, or the folder of the project")?;
    let source = Source::Revision { commit: commit.id, day: commit.day };
    build(repository, entries, prefix, source, None)
}

/// The project at an earlier revision, whatever the name of its folder was then.
pub(super) fn before(project: &Project, revision: &str, head: &Snapshot) -> Result<Snapshot, Error> {
    let (repository, _) = open(project)?;
    if revision == "HEAD" && repository.is_unborn()? {
        return Ok(Snapshot::empty(head.settings.clone()));
    }
    let (commit, entries) = repository.files_of(revision)?;
    let same = format!("{}{}", head.prefix, settings::FILE);
    let prefix = if entries.iter().any(|entry| entry.kind == EntryKind::File && entry.path == same) {
        head.prefix.clone()
    } else {
        // A project that exists in both states is another one; the one that is missing now was moved here.
        let mut missing = roots(&entries).map(str::to_owned).collect::<Vec<String>>();
        if !missing.is_empty() {
            let exists = roots_of(repository, head)?;
            missing.retain(|root| !exists(root));
        }
        match &missing[..] {
            [] => return Ok(Snapshot::empty(head.settings.clone())),
            [only] => only.clone(),
            [..] => {
                let revision = schema::words::shorten(revision);
                let list = missing.iter().map(|root| root.trim_end_matches('/')).collect::<Vec<_>>().join(", ");
                let error = Error::new(format!(
                    "more than one project of revision {revision} may be the earlier state of this one"
                ));
                return Err(error
                    .because(list)
                    .help("compare with a revision in which the project is in the same folder"));
            }
        }
    };
    let source = Source::Revision { commit: commit.id, day: commit.day };
    build(repository, entries, prefix, source, Some(head))
}

/// The project of a prefix at a commit of the history of `head`.
pub(super) fn at_commit(
    project: &Project,
    commit: &str,
    prefix: &str,
    head: &Snapshot,
    other: Option<&Snapshot>,
) -> Result<Snapshot, Error> {
    let repository = project.commits(head).repository;
    let repository = repository.ok_or(GitError::NoRepository { hint: "run `git init` and commit the records" })?;
    let (commit, entries) = repository.files_below(commit, prefix)?;
    let source = Source::Revision { commit: commit.id, day: commit.day };
    let mut snapshot = build(repository, entries, prefix.to_owned(), source, other)?;
    snapshot.repository = head.repository;
    Ok(snapshot)
}

/// The path from the top of the repository to the one that was named.
pub(super) fn start(project: &Project) -> Result<String, Error> {
    open(project).map(|(_, start)| start)
}

/// The repository of the path that was named.
pub(super) fn repository(project: &Project) -> Result<Option<&Repository>, GitError> {
    project.repository_of_path(&existing(project).0)
}

/// The folder that exists at or above the path that was named, and the rest of it. The rest may exist in the index or the
/// revision alone.
fn existing(project: &Project) -> (PathBuf, PathBuf) {
    let path = project.path();
    let existing = path.ancestors().find(|up| up.is_dir()).unwrap_or(Path::new("/"));
    let rest = path.strip_prefix(existing).map(PathBuf::from).unwrap_or_default();
    (existing.canonicalize().unwrap_or_else(|_| existing.to_owned()), rest)
}

/// The repository, and the path from its top to where the search for the project begins.
fn open(project: &Project) -> Result<(&Repository, String), Error> {
    let (existing, rest) = existing(project);
    let repository = project.repository_of_path(&existing)?;
    let repository = repository.ok_or_else(|| GitError::NotARepository { folder: project.path().to_owned() })?;
    let below_top = existing.strip_prefix(&repository.top).map(PathBuf::from).unwrap_or_default();
    Ok((repository, text_of(&below_top.join(rest))))
}

/// Returns whether a prefix is a project root in the state of a snapshot.
fn roots_of(repository: &Repository, snapshot: &Snapshot) -> Result<impl Fn(&str) -> bool + use<>, Error> {
    let entries = match &snapshot.source {
        Source::Worktree | Source::Nothing => None,
        Source::Index => Some(repository.index()?.entries),
        Source::Revision { commit, .. } => Some(repository.files_of(commit)?.1),
    };
    let listed = entries.map(|entries| roots(&entries).map(str::to_owned).collect::<HashSet<String>>());
    let top = repository.top.clone();
    Ok(move |root: &str| match &listed {
        Some(listed) => listed.contains(root),
        None => top.join(root).join(settings::FILE).is_file(),
    })
}

/// The nearest project root upward of a folder, otherwise the only one below it: as a prefix that is empty or ends in `/`.
fn root_among(entries: &[Entry], start: &str, state: &str, fix: &str) -> Result<String, Error> {
    let roots: Vec<&str> = roots(entries).collect();
    let start = if start.is_empty() { String::new() } else { format!("{start}/") };
    if let Some(nearest) = roots.iter().filter(|root| start.starts_with(**root)).max_by_key(|root| root.len()) {
        return Ok((*nearest).to_owned());
    }
    let below: Vec<&str> = roots.into_iter().filter(|root| root.starts_with(&start)).collect();
    match below[..] {
        [only] => Ok(only.to_owned()),
        [] => {
            let asked = if start.is_empty() { String::new() } else { format!(" at `{start}`") };
            Err(no_root(&format!("in {state}{asked}")).help(fix))
        }
        [..] => {
            let list = below.iter().map(|root| root.trim_end_matches('/')).collect::<Vec<_>>().join(", ");
            Err(Error::new(format!("{state} has more than one project"))
                .because(list)
                .help("give the folder of one of them"))
        }
    }
}

/// Reads the project of a prefix; contents that another state of it has already read are shared.
fn build(
    repository: &Repository,
    entries: Vec<Entry>,
    prefix: String,
    source: Source,
    other: Option<&Snapshot>,
) -> Result<Snapshot, Error> {
    let mut listing = Listing::default();
    let mut own: Vec<(String, Entry)> = Vec::new();
    for entry in entries {
        let Some(path) = entry.path.strip_prefix(&prefix) else { continue };
        let path = path.to_owned();
        own.push((path, entry));
    }
    own.sort_by(|a, b| a.0.cmp(&b.0));

    let marker = own.iter().position(|(path, _)| path == settings::FILE);
    let marker = marker.map(|position| own.remove(position).1);
    let marker = marker.ok_or_else(|| Error::new("the project no longer has its settings file"))?;
    let settings_content = repository.contents(&[&marker], MOST_CONTENT)?.pop().unwrap_or_else(|| Ok([].into()));
    let (settings, mut settings_problems) = match &settings_content {
        Ok(bytes) => schema::read::settings(bytes),
        Err(_) => Default::default(),
    };
    let filter = Filter::new(&settings, &mut settings_problems);

    let mut files = vec![File { path: settings::FILE.to_owned(), content: settings_content }];
    let mut to_read: Vec<(FileId, &Entry)> = Vec::new();
    let mut templates: Vec<(&str, &Entry)> = Vec::new();
    let nested = Nested::among(own.iter().map(|(path, _)| path.as_str()));
    for (path, entry) in &own {
        let is_record = filter.is_record(path) && !nested.have(path);
        match entry.kind {
            EntryKind::Submodule => {
                listing.submodules.insert(path.clone());
            }
            EntryKind::Symlink if is_record => files.push(File { path: path.clone(), content: Err(symlink()) }),
            EntryKind::Symlink => {
                listing.links.insert(path.clone());
                listing.paths.insert(path.clone());
            }
            EntryKind::File => {
                list(&mut listing, path, entry);
                if is_template(path) {
                    templates.push((path, entry));
                }
                if is_record {
                    to_read.push((FileId::new(files.len()), entry));
                    files.push(File { path: path.clone(), content: Ok([].into()) });
                }
            }
        }
    }
    let objects = to_read.iter().map(|(file, entry)| (entry.id.clone(), *file)).collect();
    to_read.retain(|(file, entry)| match other.and_then(|other| other.object(&entry.id)) {
        Some(content) => {
            files[*file].content = content.clone();
            false
        }
        None => true,
    });
    // A content that is there under many names is read once, and all of them share it.
    let mut contents: HashMap<&str, Content> = HashMap::new();
    let mut known = HashSet::new();
    let blobs: Vec<&Entry> =
        to_read.iter().map(|(_, entry)| *entry).filter(|entry| known.insert(entry.id.as_str())).collect();
    contents.extend(blobs.iter().map(|entry| entry.id.as_str()).zip(repository.contents(&blobs, MOST_CONTENT)?));
    for (file, entry) in &to_read {
        if let Some(content) = contents.get(entry.id.as_str()) {
            files[*file].content = content.clone();
        }
    }
    let mut left = MOST_CONTENT;
    for file in &mut files[1..] {
        let content = std::mem::replace(&mut file.content, Ok([].into()));
        file.content = within(&mut left, content);
    }
    let blobs: Vec<&Entry> = templates.iter().map(|(_, entry)| *entry).collect();
    let contents = repository.contents(&blobs, MOST_TABLES)?;
    let others = templates.iter().zip(contents).map(|((path, entry), content)| {
        ((*path).to_owned(), OtherFile { there: !entry.is_empty(), content: Some(content) })
    });
    let others = others.collect();
    let folder = (!repository.bare).then(|| repository.top.join(&prefix));
    Ok(Snapshot {
        prefix,
        folder,
        listing: Arc::new(listing),
        others,
        objects,
        repository: Repositories::OfPath,
        ..Snapshot::new(source, files, settings, settings_problems)
    })
}

/// Adds a file to a listing; an empty one is not evidence.
pub(super) fn list(listing: &mut Listing, path: &str, entry: &Entry) {
    if entry.is_empty() {
        return;
    }
    listing.paths.insert(path.to_owned());
    if crate::stress::is_stress_file(path) || crate::talk::picture::is_picture(path) {
        listing.tables.insert(path.to_owned(), entry.id.clone());
    }
}

/// Whether this is the path of a template of the team.
pub(super) fn is_template(path: &str) -> bool {
    let name = path.strip_prefix(TEMPLATES).and_then(|rest| rest.strip_prefix('/'));
    name.is_some_and(|name| !name.contains('/') && (name.ends_with(".md") || name.ends_with(".html")))
}

/// The problem of a record file that is a symbolic link, in any state of a project.
pub(super) fn symlink() -> Problem {
    Problem::cannot_open(
        "the file is a symbolic link, and git keeps only the name it points to",
        "put the file itself here, or list the link under `ignore:` in tierod.yaml",
    )
}
