//! The errors of repositories, by kind. Texts are derived from the kind; no code depends on them.

use std::fmt;
use std::path::PathBuf;

use schema::words::{shell_quoted, shell_word};

/// How to fetch the rest of a shallow clone.
const DEEPEN: &str = "give CI the whole history: `fetch-depth: 0` under `with:` of actions/checkout, `GIT_DEPTH: 0` under \
                      `variables:` of .gitlab-ci.yml; elsewhere `git fetch --unshallow`";

/// An error of git, of libgit2 or of a repository.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GitError {
    /// The program `git` could not be started.
    NotStarted {
        /// The cause.
        cause: String,
    },
    /// The program `git` ended before its output did.
    Stopped {
        /// The cause, if the system reports one.
        cause: Option<String>,
    },
    /// The program `git` was ended because it took too long.
    TooLong,
    /// The program `git` was ended because it only waited.
    Asleep,
    /// Comparing files with the patterns of `.gitignore` takes too long.
    SlowPatterns,
    /// The program `git` ended with an exit code other than 0.
    Refused {
        /// The exit code; `None` if a signal ended it.
        code: Option<i32>,
        /// What it printed, only for display.
        output: String,
    },
    /// The output of the program `git` has an unknown format.
    UnexpectedOutput {
        /// The command of git.
        command: &'static str,
        /// The part that was not understood.
        line: String,
    },
    /// libgit2 failed; git's own commands are tried next.
    Library {
        /// The cause, only for display.
        cause: String,
    },
    /// libgit2 does not support this repository; git's own commands are tried next.
    Unsupported {
        /// What it does not support.
        feature: &'static str,
    },
    /// The folder is not in a git repository.
    NotARepository {
        /// The folder.
        folder: PathBuf,
    },
    /// The command needs a repository, and the project is not in one.
    NoRepository {
        /// How to fix it.
        hint: &'static str,
    },
    /// The repository belongs to another user, and git refuses to read it.
    OtherOwner {
        /// The folder as git compares it with `safe.directory`.
        folder: PathBuf,
    },
    /// Neither libgit2 nor git can read the repository.
    Unreadable {
        /// What libgit2 and git report.
        cause: String,
        /// How to fix it.
        hint: String,
    },
    /// Git cannot list the files of the working tree.
    Unlisted {
        /// What git reports.
        cause: String,
        /// How to fix it.
        hint: String,
    },
    /// No commit has this name.
    NoSuchRevision {
        /// The name.
        name: String,
        /// Why it could not be looked up; `None` if it was, and no commit has it.
        cause: Option<String>,
    },
    /// A bare repository has no index.
    NoIndex,
    /// The configuration of the repository leads to a working tree elsewhere, in which nothing is written.
    TreeElsewhere,
    /// The index has unmerged entries.
    UnfinishedMerge {
        /// One of them.
        path: String,
    },
    /// An object is not in the repository, or has another type than expected.
    MissingObject {
        /// Its name.
        object: String,
    },
    /// An object cannot be understood.
    DamagedObject {
        /// Its name.
        object: String,
    },
    /// The configuration of the repository is too large, with the files that it includes.
    LargeConfiguration {
        /// Its file.
        file: PathBuf,
    },
    /// A file of git is larger than that of any repository.
    LargeFile {
        /// Its path.
        file: PathBuf,
        /// The limit in bytes.
        most: u64,
    },
    /// A commit or a tree is larger than any that is written by hand.
    LargeObject {
        /// Its name.
        object: String,
    },
    /// A commit, or the whole history, has more files or deeper folders than a project can have.
    TooManyFiles {
        /// The id of the tree at which the limit was reached, or of the last commit of a history.
        tree: String,
    },
    /// The clone is shallow, and the base of a comparison is not in it.
    ShallowBeforeBase {
        /// What is missing.
        missing: String,
    },
    /// The clone is complete, but the base of a comparison was not fetched.
    NotFetched {
        /// What is missing.
        what: String,
        /// What to fetch: the arguments of `git fetch`.
        fetch: String,
    },
    /// No default branch is known.
    NoDefaultBranch,
    /// The default branch and the compared revision have no common commit.
    NoCommonCommit {
        /// The branch.
        branch: String,
    },
    /// A bare repository has no pre-commit hooks.
    NoHooks,
}

impl GitError {
    /// A revision that could not be looked up. If git looked for it, its own message says no more than that.
    pub(super) fn no_such_revision(name: &str, error: Self) -> Self {
        let cause = match error {
            Self::LargeObject { .. } => return error,
            Self::Refused { .. } | Self::Library { .. } => None,
            other => Some(other.to_string()),
        };
        Self::NoSuchRevision { name: name.to_owned(), cause }
    }

    /// What failed.
    pub fn message(&self) -> String {
        match self {
            Self::NotStarted { .. } => "git could not be started".to_owned(),
            Self::Stopped { .. } => "git stopped before its output was complete".to_owned(),
            Self::TooLong => "git takes too long".to_owned(),
            Self::Asleep => "git waits without an end".to_owned(),
            Self::SlowPatterns => "comparing the untracked files with `.gitignore` takes too long".to_owned(),
            Self::Refused { output, .. } if output.is_empty() => "git failed without a message".to_owned(),
            Self::Refused { output, .. } => output.clone(),
            Self::UnexpectedOutput { command, .. } => format!("unknown output format of git {command}"),
            Self::Library { cause } => cause.clone(),
            Self::Unsupported { feature } => format!("libgit2 does not support {feature}"),
            Self::NotARepository { folder } => format!("{} is not in a git repository", folder.display()),
            Self::NoRepository { .. } => "the project is not in a git repository".to_owned(),
            Self::OtherOwner { .. } => "the repository belongs to another user, and git does not read it".to_owned(),
            Self::Unreadable { .. } => "the repository cannot be read".to_owned(),
            Self::Unlisted { .. } => "git cannot list the files of the working tree".to_owned(),
            Self::NoSuchRevision { name, .. } => {
                format!("unknown revision `{}`", schema::words::shorten(name))
            }
            Self::NoIndex => "a bare repository has no index".to_owned(),
            Self::TreeElsewhere => {
                "the working tree of the repository is not the folder with its `.git`: nothing was written".to_owned()
            }
            Self::UnfinishedMerge { .. } => "a merge is not finished: the index has unmerged entries".to_owned(),
            Self::MissingObject { .. } => "an object is missing from the repository".to_owned(),
            Self::DamagedObject { .. } => "an object of the repository is damaged".to_owned(),
            Self::LargeConfiguration { .. } => "the configuration of the repository is too large".to_owned(),
            Self::LargeFile { .. } => "a file of git is too large".to_owned(),
            Self::LargeObject { .. } => "a commit or a tree of the repository is too large".to_owned(),
            Self::TooManyFiles { .. } => "the repository has too many files or too deep folders".to_owned(),
            Self::ShallowBeforeBase { missing } => missing.clone(),
            Self::NotFetched { what, .. } => what.clone(),
            Self::NoDefaultBranch => "no default branch to compare with".to_owned(),
            Self::NoCommonCommit { branch } => format!("no commit in common with {branch}"),
            Self::NoHooks => "a bare repository needs no pre-commit hook, because no commits are made in it".to_owned(),
        }
    }

    /// The cause.
    pub fn cause(&self) -> Option<String> {
        match self {
            Self::NotStarted { cause } | Self::Unreadable { cause, .. } | Self::Unlisted { cause, .. } => {
                Some(cause.clone())
            }
            Self::NoSuchRevision { cause, .. } => {
                Some(cause.clone().unwrap_or_else(|| "no commit, branch or tag has this name".to_owned()))
            }
            Self::Stopped { cause } => cause.clone(),
            Self::UnexpectedOutput { line, .. } => Some(schema::words::shorten(line)),
            Self::OtherOwner { folder } => Some(format!("{} has another owner", folder.display())),
            Self::Asleep => Some("no progress for 5 s: a file that it opens is probably a pipe".to_owned()),
            // The folder is not shown: a file outside of the repository may name it.
            Self::TreeElsewhere => Some(
                "core.worktree of the repository leads elsewhere: `git config --show-origin core.worktree` shows it"
                    .to_owned(),
            ),
            Self::UnfinishedMerge { path } => Some(path.clone()),
            Self::MissingObject { object } | Self::DamagedObject { object } | Self::LargeObject { object } => {
                Some(schema::words::shorten(object))
            }
            Self::LargeConfiguration { file } => {
                Some(format!("{} has more than 1 MiB, with the files that it includes", file.display()))
            }
            Self::LargeFile { file, most } => Some(format!("{} has more than {} MiB", file.display(), most >> 20)),
            Self::TooManyFiles { tree } => Some(format!("the limit is reached at {}", schema::words::shorten(tree))),
            Self::ShallowBeforeBase { .. } => Some("the clone is shallow".to_owned()),
            Self::NoDefaultBranch => {
                Some("the remote has no HEAD here, and main, master, trunk and develop do not exist".to_owned())
            }
            Self::TooLong
            | Self::SlowPatterns
            | Self::Refused { .. }
            | Self::Library { .. }
            | Self::Unsupported { .. }
            | Self::NotARepository { .. }
            | Self::NoRepository { .. }
            | Self::NoIndex
            | Self::NotFetched { .. }
            | Self::NoCommonCommit { .. }
            | Self::NoHooks => None,
        }
    }

    /// How to fix it.
    pub fn hint(&self) -> Option<String> {
        let hint = match self {
            Self::NotStarted { .. } => "install git, and make sure that it is on the PATH",
            Self::TooLong => {
                "see Limits in SECURITY.md; `git gc` and `git fsck` show whether the repository is damaged"
            }
            Self::Asleep => {
                "look for a pipe among the files that `.git` and its configuration name, or clone the repository again"
            }
            Self::SlowPatterns => {
                "remove patterns with many `*` from `.gitignore`, or add the files that it does not ignore: `git add --force FILE`"
            }
            Self::NotARepository { .. } => {
                "run `git init` and commit the records, or check the files in the working tree, without --staged or --rev"
            }
            Self::NoRepository { hint } => hint,
            Self::OtherOwner { folder } => {
                let folder = shell_quoted(&folder.display().to_string());
                return Some(format!("if you trust it, run: git config --global --add safe.directory {folder}"));
            }
            Self::Unreadable { hint, .. } | Self::Unlisted { hint, .. } => hint,
            Self::NoSuchRevision { .. } => {
                "see `git log --oneline` and `git branch --all` for names; in a shallow clone, `git fetch --unshallow` \
                 fetches the rest"
            }
            Self::NoIndex => "give a revision, for example `--rev main`",
            Self::TreeElsewhere => {
                "run `git config --unset core.worktree`; if it is intended, run this in that folder, with GIT_DIR and \
                 GIT_WORK_TREE set"
            }
            Self::UnfinishedMerge { .. } => "resolve the conflicts and `git add` the files, then check again",
            Self::MissingObject { .. } => {
                "in a partial clone, `git fetch --refetch --no-filter` fetches all objects; tierod itself fetches nothing"
            }
            Self::DamagedObject { .. } => "run `git fsck`",
            Self::LargeConfiguration { .. } => {
                "remove what is not needed from this file, or clone the repository again in place of copying its `.git` folder"
            }
            Self::LargeFile { .. } => "clone the repository again in place of copying its `.git` folder",
            Self::LargeObject { .. } | Self::TooManyFiles { .. } => {
                "see Limits in SECURITY.md; keep records in a repository of their own"
            }
            Self::ShallowBeforeBase { .. } => DEEPEN,
            Self::NotFetched { fetch, .. } => {
                // A name of a branch can have signs that mean something in a shell.
                let fetch = fetch.split(' ').map(shell_word).collect::<Vec<_>>().join(" ");
                return Some(format!("run `git fetch {fetch}`, or give a base: `tierod delta --base REV`"));
            }
            Self::NoDefaultBranch => {
                "give a base, for example `tierod delta --base HEAD~1`, or run `git remote set-head origin --auto`"
            }
            Self::NoCommonCommit { .. } => "give a base, for example `tierod delta --base HEAD~1`",
            Self::Stopped { .. }
            | Self::Refused { .. }
            | Self::UnexpectedOutput { .. }
            | Self::Library { .. }
            | Self::Unsupported { .. }
            | Self::NoHooks => return None,
        };
        Some(hint.to_owned())
    }
}

impl fmt::Display for GitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message())?;
        match self.cause() {
            Some(cause) => write!(f, ": {cause}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for GitError {}

impl From<git2::Error> for GitError {
    fn from(error: git2::Error) -> Self {
        Self::Library { cause: without_contents(error.message()) }
    }
}

/// A message of git or libgit2 without what it quotes: that can be the text of a file outside of the repository, to which a link in
/// the place of a file of git leads. What the system reports stays.
pub(super) fn without_contents(message: &str) -> String {
    // Not all that git quotes is in quotes.
    const BEFORE: [&str; 6] = ["'", "\"", "`", ": ", ":\n", "object directory "];
    let starts = ["fatal: ", "error: ", "warning: "];
    let (mut kept, mut rest) = (String::new(), message);
    while !rest.is_empty() {
        let start = starts.iter().find(|start| rest.starts_with(**start)).map_or(0, |start| start.len());
        let line = rest.find('\n').map_or(rest.len(), |end| end + 1);
        match BEFORE.iter().filter_map(|sign| rest[start..].find(sign)).min().map(|end| start + end) {
            Some(end) if end < line => {
                kept.push_str(rest[..end].trim_end());
                let reason = rest.trim_end().rsplit_once(": ").map(|(_, reason)| reason);
                return match reason.filter(|reason| is_of_system(reason)) {
                    Some(reason) => format!("{kept}: {reason}"),
                    None if rest[end..].starts_with(':') => kept,
                    None => kept + " …",
                };
            }
            _ => kept.push_str(&rest[..line]),
        }
        rest = &rest[line..];
    }
    kept
}

/// Whether this is the text of an error of the system.
fn is_of_system(text: &str) -> bool {
    const LAST: i32 = 133;
    let texts = (1..=LAST).map(|number| std::io::Error::from_raw_os_error(number).to_string());
    texts.into_iter().any(|known| known.split(" (os error").next() == Some(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_git_quotes_is_not_shown() {
        for (message, shown) in [
            (
                "failed to resolve path '/a/PRIVATE\nPRIVATE': No such file or directory",
                "failed to resolve path: No such file or directory",
            ),
            ("unexpected line in .git/packed-refs: PRIVATE: x", "unexpected line in .git/packed-refs"),
            (
                "error: object directory PRIVATE does not exist; check .git/objects/info/alternates\nfatal: PRIVATE",
                "error: …",
            ),
            ("fatal: bad boolean config value 'PRIVATE' for 'core.bare'", "fatal: bad boolean config value …"),
            (
                "error: no object\nfatal: unable to access 'PRIVATE\nPRIVATE/config'",
                "error: no object\nfatal: unable to access …",
            ),
            ("bad config line 1 in file .git/config", "bad config line 1 in file .git/config"),
            ("unable to write file x: No space left on device", "unable to write file x: No space left on device"),
        ] {
            assert_eq!(without_contents(message), shown);
        }
    }

    #[test]
    fn texts_follow_from_the_kind() {
        let error = GitError::OtherOwner { folder: "/it's".into() };
        assert_eq!(error.hint().unwrap(), r"if you trust it, run: git config --global --add safe.directory '/it'\''s'");
        let fetch = "origin a/b:refs/remotes/origin/a/b $(id)".to_owned();
        let hint = GitError::NotFetched { what: "x".to_owned(), fetch }.hint().unwrap();
        assert!(hint.starts_with("run `git fetch origin a/b:refs/remotes/origin/a/b '$(id)'`"), "{hint}");
        let error = crate::Error::from(GitError::UnfinishedMerge { path: "a.yaml".to_owned() });
        assert_eq!(error.to_string(), "a merge is not finished: the index has unmerged entries: a.yaml");
        assert!(matches!(error.git.as_deref(), Some(GitError::UnfinishedMerge { .. })));
    }
}
