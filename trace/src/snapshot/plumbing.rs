//! Git's own plumbing, for the repositories that libgit2 does not read: reftable, SHA-256, split and
//! sparse indexes, and whatever comes next.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use foldhash::HashSet;
use schema::Day;
use schema::read::{LARGEST_FILE, Problem};

use super::locate::Locals;
use super::place::{Commit, Content, Entry, EntryKind, Index};
use crate::Error;

/// What is said where there is no git.
pub(super) const NO_GIT: &str = "git could not be started";

/// A file that is empty on every system git runs on.
const NOWHERE: &str = "/dev/null";

/// Git, run in a folder.
pub(super) struct Git {
    pub(super) folder: PathBuf,
    pub(super) locals: Locals,
}

/// The day of a time given in seconds since 1970, in its own time zone.
pub(super) fn day_of(seconds: i64) -> Option<Day> {
    let time = jiff::Timestamp::from_second(seconds).ok()?;
    Some(jiff::tz::Offset::UTC.to_datetime(time).date().into())
}

impl Git {
    pub(super) fn new(folder: &Path, locals: &Locals) -> Self {
        Self { folder: folder.to_owned(), locals: locals.clone() }
    }

    fn command(&self) -> Command {
        let mut command = self.locals.git(&self.folder);
        command.arg("--no-pager");
        // No lock for refreshing the index, nothing fetched, no question asked.
        command.env("GIT_OPTIONAL_LOCKS", "0").env("GIT_NO_LAZY_FETCH", "1").env("GIT_TERMINAL_PROMPT", "0");
        command.env("LC_ALL", "C").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// Runs git heedless of what the user has configured and of what the environment says, and feeds it.
    pub(super) fn apart(folder: &Path, args: &[&str], input: Vec<u8>) -> Result<(), Error> {
        let mut command = Self::new(folder, &Locals::Another).command();
        for (name, _) in std::env::vars_os() {
            let text = name.to_string_lossy();
            if text.starts_with("GIT_") && text != "GIT_EXEC_PATH" {
                command.env_remove(&name);
            }
        }
        command.env("GIT_CONFIG_GLOBAL", NOWHERE).env("GIT_CONFIG_NOSYSTEM", "1").env("GIT_ATTR_NOSYSTEM", "1");
        // Attributes and hooks are looked up beside the configuration too.
        command.args(["-c", &format!("core.attributesFile={NOWHERE}"), "-c", &format!("core.hooksPath={NOWHERE}")]);
        command.args(["-c", "core.autocrlf=false"]).args(args).stdin(Stdio::piped());
        let start = |error| {
            let error = Error::new(NO_GIT).because(error);
            error.help("install git, and see that it is on the PATH")
        };
        let mut child = command.spawn().map_err(start)?;
        let mut stdin = child.stdin.take();
        // A thread of its own, so that neither side waits for the other with a full pipe.
        let writer = std::thread::spawn(move || stdin.as_mut().map_or(Ok(()), |stdin| stdin.write_all(&input)));
        let output =
            child.wait_with_output().map_err(|error| Error::new("git stopped in the middle").because(error))?;
        let _ = writer.join();
        if output.status.success() {
            return Ok(());
        }
        Err(Error::new(String::from_utf8_lossy(&output.stderr).trim().trim_start_matches("fatal: ").to_owned()))
    }

    pub(super) fn run(&self, args: &[&OsStr]) -> Result<Vec<u8>, Error> {
        self.both(args).map(|(out, _)| out)
    }

    /// What git answers, and what it says besides.
    fn both(&self, args: &[&OsStr]) -> Result<(Vec<u8>, String), Error> {
        let output = self.command().args(args).output().map_err(|error| {
            let error = Error::new(NO_GIT).because(error);
            error.help("install git, and see that it is on the PATH")
        })?;
        let said = String::from_utf8_lossy(&output.stderr);
        if output.status.success() {
            return Ok((output.stdout, said.into_owned()));
        }
        Err(Error::new(said.trim().trim_start_matches("fatal: ").to_owned()))
    }

    pub(super) fn words(&self, args: &[&str]) -> Result<String, Error> {
        let args: Vec<&OsStr> = args.iter().map(OsStr::new).collect();
        Ok(String::from_utf8_lossy(&self.run(&args)?).trim_end_matches(['\n', '\r']).to_owned())
    }

    /// The top of the work tree, or the repository itself and `true` where it is bare; none outside of any.
    pub(super) fn top(&self) -> Result<Option<(PathBuf, bool)>, Error> {
        match self.words(&["rev-parse", "--is-bare-repository"]) {
            Ok(bare) => {
                let bare = bare == "true";
                let what = if bare { "--absolute-git-dir" } else { "--show-toplevel" };
                let top = PathBuf::from(self.words(&["rev-parse", what])?);
                Ok(Some((top.canonicalize().unwrap_or(top), bare)))
            }
            Err(error) if error.message.starts_with("not a git repository") => Ok(None),
            Err(error) => Err(error),
        }
    }

    /// The folder that hooks are run from.
    pub(super) fn hooks(&self, top: &Path) -> Result<PathBuf, Error> {
        // A relative path counts from the folder git runs in.
        let path = PathBuf::from(self.words(&["rev-parse", "--git-path", "hooks"])?);
        let from_config = self.words(&["config", "--type=path", "core.hooksPath"]).ok().map(PathBuf::from);
        Ok(match from_config {
            // A relative `core.hooksPath` counts from the folder where hooks are run: the top.
            Some(relative) if relative.is_relative() => top.join(relative),
            Some(absolute) => absolute,
            None if path.is_relative() => self.folder.join(path),
            None => path,
        })
    }

    /// The index. An entry only meant to be added shows as an empty file: no records and no evidence either way.
    pub(super) fn index(&self) -> Result<Index, Error> {
        let args = ["ls-files", "-z", "-s", "-t", "--full-name", "--", ":/"].map(OsStr::new);
        let out = self.run(&args)?;
        let mut index = Index::default();
        for line in out.split(|b| *b == 0).filter(|line| !line.is_empty()) {
            // `H 100644 <id> <stage>\t<path>`
            let line = String::from_utf8_lossy(line);
            let (meta, path) = line.split_once('\t').ok_or_else(|| strange("ls-files", &line))?;
            let fields: Vec<&str> = meta.split(' ').collect();
            let [tag, mode, id, stage] = fields[..] else { return Err(strange("ls-files", &line)) };
            if stage != "0" {
                index.unmerged.push(path.to_owned());
                continue;
            }
            let mode = u32::from_str_radix(mode, 8).map_err(|_| strange("ls-files", &line))?;
            let kind = EntryKind::of_mode(mode).ok_or_else(|| strange("ls-files", &line))?;
            let skip_worktree = tag == "S";
            index.entries.push(Entry { path: path.to_owned(), id: id.to_owned(), kind, skip_worktree, size: 0 });
        }
        Ok(index)
    }

    /// A revision's commit and the files of its tree.
    pub(super) fn tree(&self, revision: &str) -> Result<(Commit, Vec<Entry>), Error> {
        // In two steps, as `:/text` takes all that follows for text.
        let parse = |name: &str| self.words(&["rev-parse", "--verify", "--end-of-options", name]);
        let named = parse(revision).and_then(|object| parse(&format!("{object}^{{commit}}")));
        let hexadecimal = |id: &String| id.bytes().all(|b| b.is_ascii_hexdigit());
        let named = named.and_then(|id| Some(id).filter(hexadecimal).ok_or_else(|| Error::new("not one commit")));
        let id = named.map_err(|error| {
            let error = Error::new(format!("there is no revision `{}`", schema::words::shorten(revision))).because(error);
            error.help("see `git log --oneline` and `git branch --all` for names; in a shallow clone, `git fetch --unshallow` brings the rest")
        })?;
        let when = self.words(&["show", "--no-patch", "--format=%ct %ci", &id, "--"])?;
        let day = commit_day(&when).ok_or_else(|| strange("show", &when))?;
        let out = self.run(&["ls-tree", "-r", "-z", "--full-tree", &id].map(OsStr::new))?;
        let mut entries = Vec::new();
        for line in out.split(|b| *b == 0).filter(|line| !line.is_empty()) {
            // `100644 blob <id>\t<path>`
            let line = String::from_utf8_lossy(line);
            let (meta, path) = line.split_once('\t').ok_or_else(|| strange("ls-tree", &line))?;
            let fields: Vec<&str> = meta.split(' ').collect();
            let [mode, _, id] = fields[..] else { return Err(strange("ls-tree", &line)) };
            let mode = u32::from_str_radix(mode, 8).map_err(|_| strange("ls-tree", &line))?;
            let Some(kind) = EntryKind::of_mode(mode) else { continue };
            entries.push(Entry { path: path.to_owned(), id: id.to_owned(), kind, skip_worktree: false, size: 0 });
        }
        Ok((Commit { id, day }, entries))
    }

    /// Is there no commit yet on the branch that is checked out?
    pub(super) fn unborn(&self) -> Result<bool, Error> {
        if self.words(&["rev-parse", "--verify", "--quiet", "HEAD^{commit}"]).is_ok() {
            return Ok(false);
        }
        // The branch is named, and nothing stands under its name.
        let branch = self.words(&["symbolic-ref", "--quiet", "HEAD"])?;
        Ok(self.words(&["show-ref", "--verify", "--quiet", &branch]).is_err())
    }

    /// The contents of entries, in their order: sizes first, so that no large file is read.
    pub(super) fn contents(&self, entries: &[&Entry]) -> Result<Vec<Content>, Error> {
        if entries.is_empty() {
            return Ok(Vec::new());
        }
        let ids: HashSet<&str> = entries.iter().map(|entry| entry.id.as_str()).collect();
        let mut large = foldhash::HashMap::default();
        self.batch("--batch-check", ids.into_iter(), |header, _| {
            let mut fields = header.split(' ');
            if let (Some(id), Some("blob"), Some(size)) = (fields.next(), fields.next(), fields.next()) {
                let size: u64 = size.parse().map_err(|_| strange("cat-file", header))?;
                if size > LARGEST_FILE {
                    large.insert(id.to_owned(), size);
                }
                return Ok(());
            }
            Err(missing(header))
        })?;
        let wanted = entries.iter().filter(|entry| !large.contains_key(&entry.id));
        let mut found = Vec::with_capacity(entries.len());
        self.batch("--batch", wanted.map(|entry| entry.id.as_str()), |header, out| {
            let size = header.rsplit(' ').next().and_then(|size| size.parse::<usize>().ok());
            let size = size.filter(|size| *size as u64 <= LARGEST_FILE).ok_or_else(|| missing(header))?;
            let mut content = vec![0; size + 1];
            out.read_exact(&mut content).map_err(|error| Error::new("git stopped in the middle").because(error))?;
            content.pop();
            found.push(content);
            Ok(())
        })?;
        let mut found = found.into_iter();
        entries
            .iter()
            .map(|entry| match large.get(&entry.id) {
                Some(size) => Ok(Err(Problem::too_large(*size))),
                None => found.next().map(|bytes| Ok(bytes.into())).ok_or_else(|| missing(&entry.path)),
            })
            .collect()
    }

    pub(super) fn batch<'a>(
        &self,
        mode: &str,
        ids: impl Iterator<Item = &'a str>,
        mut answer: impl FnMut(&str, &mut dyn Read) -> Result<(), Error>,
    ) -> Result<(), Error> {
        let start = |error| Error::new(NO_GIT).because(error);
        let mut child = self
            .command()
            .args(["cat-file", mode])
            .stdin(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .map_err(start)?;
        let (Some(mut input), Some(output)) = (child.stdin.take(), child.stdout.take()) else {
            return Err(Error::new("git gave no pipe"));
        };
        let ids: Vec<String> = ids.map(str::to_owned).collect();
        let count = ids.len();
        // A thread of its own, so that neither side waits for the other with a full pipe.
        let writer = std::thread::spawn(move || {
            for id in ids {
                if writeln!(input, "{id}").is_err() {
                    break;
                }
            }
        });
        let mut output = BufReader::new(output);
        let mut result = Ok(());
        for _ in 0..count {
            let mut header = String::new();
            let read = output.read_line(&mut header);
            result = match read {
                Ok(0) => Err(Error::new("git stopped in the middle")),
                Err(error) => Err(Error::new("git stopped in the middle").because(error)),
                Ok(_) => answer(header.trim_end(), &mut output),
            };
            if result.is_err() {
                break;
            }
        }
        drop(output);
        let _ = child.kill();
        let _ = child.wait();
        let _ = writer.join();
        result
    }

    /// The files below a folder that are not tracked and that git does not ignore, from the top; none where the
    /// folder itself is ignored.
    pub(super) fn untracked(&self, folder: &Path, top: &Path) -> Result<Option<HashSet<String>>, Error> {
        if folder != top {
            // Status 1 says that it is not ignored, and says nothing else.
            let args = ["check-ignore", "--no-index", "-q", "--"].map(OsStr::new);
            match self.run(&[&args[..], &[folder.as_os_str()]].concat()) {
                Ok(_) => return Ok(None),
                Err(error) if error.message.is_empty() => {}
                Err(error) => return Err(error),
            }
        }
        let args = ["--literal-pathspecs", "ls-files", "-z", "-o", "--exclude-standard", "--full-name", "--"];
        let (out, said) = self.both(&[&args.map(OsStr::new)[..], &[folder.as_os_str()]].concat())?;
        let paths = out.split(|b| *b == 0).filter(|path| !path.is_empty());
        let paths = paths.map(|path| String::from_utf8_lossy(path).into_owned());
        Ok(Some(paths.chain(said.lines().filter_map(closed).map(str::to_owned)).collect()))
    }
}

/// `<seconds> <date> <time> <zone>` as `git show` prints it: the day is the one of the zone.
fn commit_day(text: &str) -> Option<Day> {
    Day::parse(text.lines().last()?.split(' ').nth(1)?).ok()
}

/// The folder that git warns of, and else passes over: `warning: could not open directory 'a/b/': Permission denied`.
fn closed(line: &str) -> Option<&str> {
    let rest = line.strip_prefix("warning: could not open directory '")?;
    rest.rsplit_once("': ").map(|(folder, _)| folder.trim_end_matches('/'))
}

pub(super) fn strange(command: &str, line: &str) -> Error {
    Error::new(format!("git {command} answered in a form that is not known")).because(schema::words::shorten(line))
}

fn missing(what: &str) -> Error {
    Error::new("an object is missing from the repository").because(schema::words::shorten(what)).help(
        "in a partial clone, `git fetch --refetch --no-filter` brings all objects; nothing is fetched by tierod itself",
    )
}
