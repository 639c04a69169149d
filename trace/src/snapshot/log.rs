//! The commits that changed a data root, by git's own plumbing: one `git log --raw`, and one `git cat-file`.

use std::ffi::OsStr;
use std::path::PathBuf;

use super::locate::Locals;
use super::past::{FileChange, Known, Place, Reach, Step, Walk, marker, plain, renamed};
use super::place::EntryKind;
use super::plumbing::{Git, strange};
use crate::Error;

const NEAR: &str = "--max-count=200";

impl Git {
    /// The commit that HEAD names; none before the first.
    pub(super) fn head(&self) -> Result<Option<String>, Error> {
        match self.words(&["rev-parse", "--verify", "-q", "HEAD^{commit}"]) {
            Ok(id) => Ok(Some(id)),
            Err(error) if error.message.is_empty() => Ok(None),
            Err(error) => Err(error),
        }
    }

    /// The folder that all work trees share; none where the environment puts the repository together.
    pub(super) fn common_folder(&self) -> Option<PathBuf> {
        if matches!(self.locals, Locals::Whole(_)) {
            return None;
        }
        Some(self.folder.join(self.words(&["rev-parse", "--git-common-dir"]).ok()?))
    }

    /// A file of git's own for this work tree.
    pub(super) fn own_file(&self, name: &str) -> Result<PathBuf, Error> {
        Ok(self.folder.join(self.words(&["rev-parse", "--git-path", name])?))
    }

    /// Does a commit hold a file of this path?
    pub(super) fn has(&self, commit: &str, path: &str) -> Result<bool, Error> {
        Ok(self.words(&["cat-file", "-e", &format!("{commit}:{path}")]).is_ok())
    }

    /// The data roots of a commit.
    pub(super) fn roots(&self, commit: &str) -> Result<Vec<String>, Error> {
        let (_, entries) = self.tree(commit)?;
        let files = entries.iter().filter(|entry| entry.kind == EntryKind::File);
        let roots = files.filter_map(|entry| entry.path.strip_suffix(schema::settings::FILE));
        Ok(roots.filter(|root| root.is_empty() || root.ends_with('/')).map(str::to_owned).collect())
    }

    /// The commits that changed a data root, back to the first or to one that is known (with its prefix).
    pub(super) fn walk(&self, from: &Place, known: &Known, reach: Reach) -> Result<Walk, Error> {
        let mut walk = Walk { tip: from.commit.clone(), ..Walk::default() };
        if !known.is_empty() {
            let mut list = vec!["--no-replace-objects", "rev-list", "--first-parent", &from.commit];
            list.extend(Some(NEAR).filter(|_| reach == Reach::Near));
            let near = self.words(&list)?;
            walk.met = near.lines().find(|id| known.contains_key(*id)).map(str::to_owned);
        }
        let end = self.log(from, &mut walk)?;
        if walk.met.as_ref().is_some_and(|met| known.get(met) != Some(&end)) {
            // The data root had another name there: all is read anew.
            walk = Walk { tip: from.commit.clone(), ..Walk::default() };
            self.log(from, &mut walk)?;
        }
        walk.passed = walk.steps.len();
        self.name_trees(&mut walk.steps)?;
        walk.steps.reverse();
        if walk.met.is_none() && self.words(&["rev-parse", "--is-shallow-repository"])? == "true" {
            let chain = self.words(&["--no-replace-objects", "rev-list", "--first-parent", &from.commit])?;
            let list = std::fs::read_to_string(self.own_file("shallow")?).ok();
            let cut = |id: &str| list.as_ref().is_none_or(|list| list.lines().any(|line| line.trim() == id));
            walk.shallow = chain.lines().last().is_none_or(cut);
        }
        Ok(walk)
    }

    /// Reads the log from a place, the newest first, and goes on where the data root had another name before;
    /// gives the name that it had at the end.
    fn log(&self, from: &Place, walk: &mut Walk) -> Result<String, Error> {
        let mut at = from.clone();
        loop {
            let mut next = None;
            for step in self.log_of(&at, walk.met.as_deref())? {
                let (step, parent) = step;
                // The settings file appears here: the folder may have had another name.
                let appears = step.changes.iter().any(|c| c.path == schema::settings::FILE && c.old.is_none());
                walk.steps.push(step);
                let Some(parent) = parent.filter(|_| appears) else { continue };
                if walk.met.as_ref() == Some(&walk.steps[walk.steps.len() - 1].commit) {
                    continue;
                }
                let commit = walk.steps[walk.steps.len() - 1].commit.clone();
                let there = |root: &str| self.has(&commit, &marker(root)).unwrap_or(true);
                if let Some(prefix) = renamed(&self.roots(&parent)?, there) {
                    self.across(walk, &parent, &prefix)?;
                    next = Some(Place { commit: parent, prefix });
                    break;
                }
            }
            match next {
                Some(place) if Some(&place.commit) == walk.met.as_ref() => return Ok(place.prefix),
                Some(place) => at = place,
                None => return Ok(at.prefix),
            }
        }
    }

    /// Compares the last step with the folder that the data root was in before, not with nothing.
    fn across(&self, walk: &mut Walk, parent: &str, before: &str) -> Result<(), Error> {
        let Some(step) = walk.steps.last_mut() else { return Ok(()) };
        let old = tree_name(parent, before);
        let new = tree_name(&step.commit, &step.prefix);
        let out = self.run(&["diff-tree", "-r", "-z", "--no-abbrev", "--no-renames", &old, &new].map(OsStr::new))?;
        step.changes.clear();
        let text = String::from_utf8_lossy(&out).into_owned();
        let mut tokens = text.split('\0');
        while let Some(meta) = tokens.next().and_then(|token| token.strip_prefix(':')) {
            raw(meta, tokens.next().unwrap_or(""), &mut step.changes)?;
        }
        Ok(())
    }

    /// The steps of one name of the data root, the newest first, each with its first parent.
    fn log_of(&self, at: &Place, met: Option<&str>) -> Result<Vec<(Step, Option<String>)>, Error> {
        let range = met.map_or_else(|| at.commit.clone(), |met| format!("{met}..{}", at.commit));
        let folder = at.prefix.trim_end_matches('/');
        let mut args = vec![
            "--literal-pathspecs",
            "--no-replace-objects",
            "-c",
            "log.showSignature=false",
            "-c",
            "log.follow=false",
            "log",
            "--first-parent",
            "-m",
            "--raw",
            "-r",
            "-z",
            "--no-abbrev",
            "--no-renames",
            "--no-color",
            "--root",
            "--date=raw",
            "--format=%x01%H%x09%ad%x09%ct%x09%P",
            &range,
            "--",
        ];
        // Paths count from the folder that git is run in.
        let top = format!("{}{folder}", self.up()?);
        if !folder.is_empty() {
            args.push(&top);
        }
        let out = self.run(&args.into_iter().map(OsStr::new).collect::<Vec<_>>())?;
        let text = String::from_utf8_lossy(&out);
        let mut steps: Vec<(Step, Option<String>, bool)> = Vec::new();
        let mut tokens = text.split('\0');
        while let Some(token) = tokens.next() {
            let token = token.trim_start_matches('\n');
            let (head, rest) = match token.strip_prefix('\u{1}') {
                Some(token) => {
                    let (head, rest) = token.split_once('\n').unwrap_or((token, ""));
                    (Some(head), rest.trim_start_matches('\n'))
                }
                None => (None, token),
            };
            if let Some(head) = head {
                let (step, parent) = header(head, &at.prefix).ok_or_else(|| strange("log", head))?;
                steps.push((step, parent, false));
            }
            let Some(meta) = rest.strip_prefix(':') else { continue };
            let path = tokens.next().unwrap_or("");
            let Some((step, _, touched)) = steps.last_mut() else { return Err(strange("log", meta)) };
            if let Some(path) = path.strip_prefix(&at.prefix) {
                *touched = true;
                raw(meta, path, &mut step.changes)?;
            }
        }
        Ok(steps.into_iter().filter(|(.., touched)| *touched).map(|(step, parent, _)| (step, parent)).collect())
    }

    /// The way from the folder that git is run in up to the top, for paths: empty, or ending in `/`.
    fn up(&self) -> Result<String, Error> {
        self.words(&["rev-parse", "--show-cdup"])
    }

    /// Finds the object ids of the data root in every step.
    fn name_trees(&self, steps: &mut [Step]) -> Result<(), Error> {
        let names: Vec<String> = steps.iter().map(|step| tree_name(&step.commit, &step.prefix)).collect();
        if names.iter().any(|name| name.contains('\n')) {
            return Err(Error::new("the name of a folder holds a line break"));
        }
        let mut found = Vec::with_capacity(names.len());
        self.batch("--batch-check", names.iter().map(String::as_str), |header, _| {
            let mut fields = header.split(' ');
            let id = fields.next().unwrap_or("");
            found.push(if fields.next() == Some("tree") { id.to_owned() } else { String::new() });
            Ok(())
        })?;
        for (step, tree) in steps.iter_mut().zip(found) {
            step.tree = tree;
        }
        Ok(())
    }
}

/// A folder of a commit as git names it.
fn tree_name(commit: &str, prefix: &str) -> String {
    match prefix.trim_end_matches('/') {
        "" => format!("{commit}^{{tree}}"),
        folder => format!("{commit}:{folder}"),
    }
}

/// `<commit>\t<author seconds> <zone>\t<committer seconds>\t<parents>`
fn header(line: &str, prefix: &str) -> Option<(Step, Option<String>)> {
    let mut fields = line.split('\t');
    let commit = fields.next()?.to_owned();
    let (author, zone) = fields.next()?.split_once(' ')?;
    let committer_time = fields.next()?.parse().ok()?;
    let mut parents = fields.next()?.split(' ').filter(|id| !id.is_empty()).map(str::to_owned);
    let parent = parents.next();
    let zone: i32 = zone.parse().ok()?;
    let step = Step {
        commit,
        author_time: author.parse().ok()?,
        committer_time,
        zone: zone / 100 * 60 + zone % 100,
        tree: String::new(),
        prefix: prefix.to_owned(),
        changes: Vec::new(),
        others: parents.collect(),
    };
    Some((step, parent))
}

/// `<mode> <mode> <id> <id> <letter>` of a path.
fn raw(meta: &str, path: &str, out: &mut Vec<FileChange>) -> Result<(), Error> {
    let fields: Vec<&str> = meta.split(' ').collect();
    let [old_mode, new_mode, old, new, ..] = fields[..] else { return Err(strange("log", meta)) };
    let file = |mode: &str, id: &str| {
        let mode = u32::from_str_radix(mode, 8).ok().filter(|mode| plain(*mode));
        mode.map(|_| id.to_owned())
    };
    let (old, new) = (file(old_mode, old), file(new_mode, new));
    if old != new {
        out.push(FileChange { path: path.to_owned(), old, new });
    }
    Ok(())
}
