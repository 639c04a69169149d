//! The data root as the index or a revision has it.

use std::path::{Path, PathBuf};

use schema::read::Problem;
use schema::settings;

use super::place::{Entry, EntryKind, Index, Repository};
use super::{Beside, File, Filter, Request, Snapshot, Source, nested_root, text_of};
use crate::Error;

/// The data root as the next commit will hold it.
pub(super) fn index(request: &Request) -> Result<Snapshot, Error> {
    let (repository, start) = open(request)?;
    if repository.bare {
        return Err(Error::new("a bare repository has no index").help("name a revision: `--rev main`"));
    }
    let Index { entries, unmerged } = repository.index()?;
    if let Some(path) = unmerged.first() {
        return Err(Error::new("a merge is not finished: the index has unmerged entries")
            .because(path)
            .help("resolve the conflicts and `git add` the files, then check again"));
    }
    let cure = match entries[..] {
        [] => "the index is empty: `git add` the records, or run `git reset` where nothing was checked out yet",
        [..] => "`git add` the settings file, or run without --staged",
    };
    let prefix = find_root(&entries, &start, "the index", cure)?;
    build(repository, entries, prefix, Source::Index, None)
}

/// The data root at a revision.
pub(super) fn revision(request: &Request, revision: &str) -> Result<Snapshot, Error> {
    let (repository, start) = open(request)?;
    let (commit, entries) = repository.tree(revision)?;
    let place = format!("revision {}", schema::words::shorten(revision));
    let prefix = find_root(&entries, &start, &place, "name another revision, or the folder of the data root")?;
    let source = Source::Revision { commit: commit.id, day: commit.day };
    build(repository, entries, prefix, source, None)
}

/// The data root at an earlier revision, whatever its folder was called then.
pub(super) fn before(request: &Request, revision: &str, head: &Snapshot) -> Result<Snapshot, Error> {
    let (repository, _) = open(request)?;
    if revision == "HEAD" && repository.unborn()? {
        return Ok(Snapshot::empty(head.settings.clone()));
    }
    let (commit, entries) = repository.tree(revision)?;
    let same = format!("{}{}", head.prefix, settings::FILE);
    let prefix = if entries.iter().any(|entry| entry.kind == EntryKind::File && entry.path == same) {
        head.prefix.clone()
    } else {
        // A root that both have is another one; the one that is gone was moved here.
        let mut gone = roots(&entries).map(str::to_owned).collect::<Vec<String>>();
        if !gone.is_empty() {
            let still = roots_of(&repository, head)?;
            gone.retain(|root| !still(root));
        }
        match &gone[..] {
            [] => return Ok(Snapshot::empty(head.settings.clone())),
            [only] => only.clone(),
            [..] => {
                let place = format!("revision {}", schema::words::shorten(revision));
                let list = gone.iter().map(|root| root.trim_end_matches('/')).collect::<Vec<_>>().join(", ");
                let error = Error::new(format!("more than one data root of {place} may have become this one"));
                return Err(error
                    .because(list)
                    .help("compare with a revision in which the data root is in the same folder"));
            }
        }
    };
    let source = Source::Revision { commit: commit.id, day: commit.day };
    build(repository, entries, prefix, source, Some(head))
}

/// The data root of a prefix as a commit has it.
pub(super) fn at(
    repository: Repository,
    commit: &str,
    prefix: &str,
    other: Option<&Snapshot>,
) -> Result<Snapshot, Error> {
    let (commit, entries) = repository.tree(commit)?;
    build(repository, entries, prefix.to_owned(), Source::Revision { commit: commit.id, day: commit.day }, other)
}

/// The repository, and the path from its top to where the search for the data root begins.
fn open(request: &Request) -> Result<(Repository, String), Error> {
    let path = match &request.path {
        Some(path) => request.cwd.join(path),
        None => request.cwd.clone(),
    };
    // The folder may exist in the index or the revision alone.
    let there = path.ancestors().find(|up| up.is_dir()).unwrap_or(Path::new("/"));
    let rest = path.strip_prefix(there).map(PathBuf::from).unwrap_or_default();
    let there = there.canonicalize().unwrap_or_else(|_| there.to_owned());
    let repository = Repository::of(&there, &request.cwd)?.ok_or_else(|| {
        let error = Error::new(format!("{} is in no git repository", path.display()));
        error.help("run `git init` and commit the records, or check the files as they are, without --staged or --rev")
    })?;
    let below_top = there.strip_prefix(&repository.top).map(PathBuf::from).unwrap_or_default();
    Ok((repository, text_of(&below_top.join(rest))))
}

/// The data roots among entries, as prefixes.
fn roots(entries: &[Entry]) -> impl Iterator<Item = &str> {
    let files = entries.iter().filter(|entry| entry.kind == EntryKind::File);
    let prefixes = files.filter_map(|entry| entry.path.strip_suffix(settings::FILE));
    prefixes.filter(|prefix| prefix.is_empty() || prefix.ends_with('/'))
}

/// Tells whether a prefix is a data root where a snapshot was taken.
fn roots_of(repository: &Repository, snapshot: &Snapshot) -> Result<impl Fn(&str) -> bool, Error> {
    let entries = match &snapshot.source {
        Source::Worktree | Source::Nothing => None,
        Source::Index => Some(repository.index()?.entries),
        Source::Revision { commit, .. } => Some(repository.tree(commit)?.1),
    };
    let listed = entries.map(|entries| roots(&entries).map(str::to_owned).collect::<Vec<String>>());
    let top = repository.top.clone();
    Ok(move |root: &str| match &listed {
        Some(listed) => listed.iter().any(|other| other == root),
        None => top.join(root).join(settings::FILE).is_file(),
    })
}

/// The nearest data root upward of a folder, else the only one below it: as a prefix that is empty or ends in `/`.
fn find_root(entries: &[Entry], start: &str, place: &str, cure: &str) -> Result<String, Error> {
    let roots: Vec<&str> = roots(entries).collect();
    let start = if start.is_empty() { String::new() } else { format!("{start}/") };
    if let Some(nearest) = roots.iter().filter(|root| start.starts_with(**root)).max_by_key(|root| root.len()) {
        return Ok((*nearest).to_owned());
    }
    let below: Vec<&str> = roots.into_iter().filter(|root| root.starts_with(&start)).collect();
    match below[..] {
        [only] => Ok(only.to_owned()),
        [] => {
            let asked = if start.is_empty() { "the repository".to_owned() } else { format!("`{start}`") };
            let error = Error::new(format!("there is no data root in {asked} in {place}"));
            Err(error.because(format!("no {} in it or above it", settings::FILE)).help(cure))
        }
        [..] => {
            let list = below.iter().map(|root| root.trim_end_matches('/')).collect::<Vec<_>>().join(", ");
            Err(Error::new(format!("there is more than one data root in {place}"))
                .because(list)
                .help("name one of them"))
        }
    }
}

/// Reads the data root at a prefix; what another state of it has read already is shared with it.
fn build(
    repository: Repository,
    entries: Vec<Entry>,
    prefix: String,
    source: Source,
    other: Option<&Snapshot>,
) -> Result<Snapshot, Error> {
    let mut beside = Beside::default();
    let mut own: Vec<(String, Entry)> = Vec::new();
    let mut nested: Vec<String> = Vec::new();
    for entry in entries {
        let Some(path) = entry.path.strip_prefix(&prefix) else { continue };
        let path = path.to_owned();
        nested.extend(nested_root(&path).map(str::to_owned));
        own.push((path, entry));
    }
    own.sort_by(|a, b| a.0.cmp(&b.0));

    let marker = own.iter().position(|(path, _)| path == settings::FILE);
    let marker = marker.map(|at| own.remove(at).1);
    let marker = marker.ok_or_else(|| Error::new("the data root has lost its settings file"))?;
    let settings_content = repository.contents(&[&marker])?.pop().unwrap_or_else(|| Ok([].into()));
    let (settings, mut settings_problems) = match &settings_content {
        Ok(bytes) => schema::read::settings(bytes),
        Err(_) => Default::default(),
    };
    let filter = Filter::new(&settings, &mut settings_problems);

    let mut files = vec![File { path: settings::FILE.to_owned(), content: settings_content }];
    let mut wanted: Vec<(usize, &Entry)> = Vec::new();
    for (path, entry) in &own {
        let in_nested = nested.iter().any(|folder| path.starts_with(folder.as_str()));
        let is_record = filter.is_record(path) && !in_nested;
        match entry.kind {
            EntryKind::Submodule => beside.submodules.push(path.clone()),
            EntryKind::Symlink if is_record => files.push(File { path: path.clone(), content: Err(symlink()) }),
            EntryKind::Symlink => drop(beside.paths.insert(path.clone())),
            EntryKind::File => {
                if !entry.is_empty() {
                    beside.note(path, entry);
                }
                if is_record {
                    wanted.push((files.len(), entry));
                    files.push(File { path: path.clone(), content: Ok([].into()) });
                }
            }
        }
    }
    beside.blobs = wanted.iter().map(|(at, entry)| (entry.id.clone(), *at)).collect();
    wanted.retain(|(at, entry)| match other.and_then(|other| other.blob(&entry.id)) {
        Some(content) => {
            files[*at].content = content.clone();
            false
        }
        None => true,
    });
    let blobs: Vec<&Entry> = wanted.iter().map(|(_, entry)| *entry).collect();
    for ((at, _), content) in wanted.iter().zip(repository.contents(&blobs)?) {
        files[*at].content = content;
    }
    let folder = (!repository.bare).then(|| repository.top.join(&prefix));
    beside.repository = Some(repository);
    Ok(Snapshot { source, prefix, folder, files, settings, settings_problems, beside })
}

/// A record file that is a symbolic link, in any state of the data root.
pub(super) fn symlink() -> Problem {
    Problem::cannot_open(
        "the file is a symbolic link, and git keeps only the name it points to",
        "put the file itself here, or list the link under `ignore:` in tierod.yaml",
    )
}
