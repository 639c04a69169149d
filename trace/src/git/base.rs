//! The revision that a change is compared with, if none is given.

use foldhash::{HashSet, HashSetExt as _};

use super::access::Access as _;
use super::environment::Locals;
use super::error::GitError;
use super::forge::{Event, Forge, is_zero};
use super::objects::Commit;
use super::plumbing::Plumbing;
use super::project::Project;
use super::remotes::Branch;
use super::revisions;
use crate::snapshot::{State, short_id};

/// The revision to compare with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Base {
    /// Its name.
    pub revision: String,
    /// How it was found, only for display; `None` if it was given.
    pub how: Option<String>,
    /// Whether the history is cut off.
    pub shallow: bool,
}

/// A given base; whether it exists is checked when it is read.
pub(super) fn named(project: &Project, revision: &str) -> Base {
    Base { revision: revision.to_owned(), how: None, shallow: plumbing(project).is_shallow() }
}

/// The base of a state: see [`Project::find_base`].
pub(super) fn find(project: &Project, state: &State, ci: bool) -> Result<Base, GitError> {
    let git = plumbing(project);
    let name = match state {
        State::Revision(revision) => revision.as_str(),
        State::Worktree | State::Index => "HEAD",
    };
    if git.is_bare(project.environment())?.is_none() {
        let hint = "run `git init` and commit the records, because a change is compared with a commit";
        return Err(GitError::NoRepository { hint });
    }
    let shallow = git.is_shallow();
    let resolve = |name: &str| revisions::resolve(&git, name, &|_| shallow).map(|commit| commit.id);
    let tip = match resolve(name) {
        Ok(tip) => tip,
        Err(_) if name == "HEAD" && git.is_unborn()? => {
            return Ok(Base { revision: name.to_owned(), how: Some("no commit yet".to_owned()), shallow });
        }
        Err(error) => return Err(GitError::no_such_revision(name, error)),
    };
    // The environment is about the commit that CI checked out.
    let checked_out = name == "HEAD" || resolve("HEAD").is_ok_and(|head| head == tip);
    let forge = if ci { Forge::read() } else { None };
    // CI may check out other repositories as well, and its environment is not about them.
    let concerned = |forge: &Forge| {
        let mut commits = forge.commits().peekable();
        let target = matches!(&forge.event, Event::Request { target, .. } if !git.branches(target).is_empty());
        target || commits.peek().is_none() || commits.any(|id| git.branch(id).is_some())
    };
    let forge = forge.filter(concerned).unwrap_or_default();
    let search = Search { git, tip, shallow, checked_out };
    if let Some(base) = search.of_change(&forge)? {
        return Ok(base);
    }
    search.of_branch(&forge, ci)
}

/// The search for the base of a commit.
struct Search {
    git: Plumbing,
    tip: String,
    shallow: bool,
    /// Whether the commit is the one that is checked out.
    checked_out: bool,
}

impl Search {
    fn base(&self, revision: impl Into<String>, how: impl Into<String>) -> Base {
        Base { revision: revision.into(), how: Some(how.into()), shallow: self.shallow }
    }

    /// An error about a commit that is missing: the clone is cut off before it, or it was not fetched.
    fn missing(&self, what: String, fetch: &str) -> GitError {
        if self.shallow {
            GitError::ShallowBeforeBase { missing: what }
        } else {
            GitError::NotFetched { what, fetch: fetch.to_owned() }
        }
    }

    /// The base of the change that the forge runs CI for: the target of the request, or what was there before the push.
    fn of_change(&self, forge: &Forge) -> Result<Option<Base>, GitError> {
        match &forge.event {
            Event::Request { target, commits, merged } => {
                let merged = *merged && forge.commit.as_ref().is_none_or(|commit| *commit == self.tip);
                self.of_request(target, commits, merged && self.checked_out).map(Some)
            }
            Event::Push { branch, before } if self.checked_out && !is_zero(before) => {
                self.before_push(forge, branch.as_deref(), before)
            }
            Event::Queue { before } if self.checked_out => {
                if self.git.branch(before).is_none() {
                    let what = "the previous place in the merge queue is not in the clone".to_owned();
                    return Err(self.missing(what, &format!("origin {before}")));
                }
                Ok(Some(self.base(before, "the previous place in the merge queue")))
            }
            Event::Push { .. } | Event::Queue { .. } | Event::Other => Ok(None),
        }
    }

    /// The base of a request into a branch; `merged` if the tip may be the merge that the forge made for it.
    fn of_request(&self, target: &str, commits: &[String], merged: bool) -> Result<Base, GitError> {
        let named = commits.iter().filter_map(|id| self.git.branch(id));
        let named = named.map(|branch| Branch { name: target.to_owned(), ..branch });
        let branches: Vec<Branch> = self.git.branches(target).into_iter().chain(named).collect();
        let fork = (!branches.is_empty()).then(|| self.fork_point(&branches));
        let parents = if merged { Some(self.git.parents(&self.tip)?) } else { None };
        if let Some(parents) = parents.filter(|parents| parents.written >= 2) {
            match (parents.there.first(), &fork) {
                // A merge of the target into the branch has it in another parent.
                (Some(first), Some(Ok((_, fork)))) if !self.git.is_ancestor(fork, first) => {}
                (Some(first), _) => return Ok(self.base(first, "the first parent of the merge that CI checked out")),
                (None, Some(Ok(_))) => {}
                (None, _) => {
                    let missing = "the first parent of the merge is cut off".to_owned();
                    return Err(GitError::ShallowBeforeBase { missing });
                }
            }
        }
        let (branch, commit) = fork.unwrap_or_else(|| {
            let what = format!("the target of the request, `{target}`, is not in the clone");
            Err(self.missing(what, &format!("origin {target}:refs/remotes/origin/{target}")))
        })?;
        Ok(self.base(commit, format!("the merge base with {branch}, the target of the request")))
    }

    /// What was there before a push; `None` if the branch has to be compared with the default branch, because the push
    /// rewrote the branch, or merged the default branch into it.
    fn before_push(&self, forge: &Forge, branch: Option<&str>, before: &str) -> Result<Option<Base>, GitError> {
        let default = self.git.default_branches(forge.default_branch.as_deref());
        let on_default =
            default.is_empty() || branch.is_none_or(|branch| default.iter().any(|default| default.is_called(branch)));
        if self.git.branch(before).is_none() {
            if on_default || self.shallow {
                let what = format!("the commit before the push, {}, is not in the clone", short_id(before));
                return Err(self.missing(what, &format!("origin {before}")));
            }
            return Ok(None);
        }
        let base = || Ok(Some(self.base(before, "the state before the push")));
        if on_default {
            return base();
        }
        let Ok((_, fork)) = self.fork_point(&default) else { return base() };
        let merged = fork != self.tip && !self.git.is_ancestor(&fork, before);
        if merged || !self.git.is_ancestor(before, &self.tip) { Ok(None) } else { base() }
    }

    /// The base of a branch: its merge base with the default branch.
    fn of_branch(&self, forge: &Forge, ci: bool) -> Result<Base, GitError> {
        let default = self.git.default_branches(forge.default_branch.as_deref());
        if default.is_empty() {
            // CI fetches one commit of one branch, unless it is set to fetch all.
            let missing = "the clone has no default branch to compare with".to_owned();
            return Err(if self.shallow { GitError::ShallowBeforeBase { missing } } else { GitError::NoDefaultBranch });
        }
        let (branch, commit) = self.fork_point(&default)?;
        if ci && commit == self.tip {
            let parents = self.git.parents(&self.tip)?;
            return match parents.there.first() {
                Some(before) => {
                    Ok(self.base(before, format!("the previous commit, because this is the tip of {branch}")))
                }
                None if parents.written > 0 => {
                    Err(GitError::ShallowBeforeBase { missing: "the previous commit is cut off".to_owned() })
                }
                None => Ok(self.base(&self.tip, "the first commit")),
            };
        }
        Ok(self.base(commit, format!("the merge base with {branch}")))
    }

    /// The commit where the tip branched off, and from which branch. Of several, the last one: what one of them has
    /// already is not part of the change.
    fn fork_point(&self, branches: &[Branch]) -> Result<(String, String), GitError> {
        let mut found: Option<(String, String)> = None;
        let mut tried = HashSet::new();
        for branch in branches.iter().filter(|branch| tried.insert(branch.commit.as_str())) {
            let Some(commit) = self.git.merge_base(&branch.commit, &self.tip) else { continue };
            let later =
                found.as_ref().is_none_or(|(_, before)| *before != commit && self.git.is_ancestor(before, &commit));
            if later {
                found = Some((branch.name.clone(), commit));
            }
        }
        found.ok_or_else(|| {
            let branch = branches.first().map(|branch| branch.name.clone()).unwrap_or_default();
            if self.shallow {
                let missing = format!("the history is cut off before the merge base with {branch}");
                GitError::ShallowBeforeBase { missing }
            } else {
                GitError::NoCommonCommit { branch }
            }
        })
    }
}

/// Git's own commands in the given folder: only they follow remotes and configuration.
fn plumbing(project: &Project) -> Plumbing {
    let folder = project.path().ancestors().find(|up| up.is_dir()).unwrap_or(project.cwd());
    Plumbing::new(folder, &Locals::new(folder, project.cwd(), project.environment()))
}

/// The parents of a commit: how many it has, and those that are in the repository.
struct Parents {
    written: usize,
    there: Vec<String>,
}

impl Plumbing {
    fn is_shallow(&self) -> bool {
        self.git.text(&["rev-parse", "--is-shallow-repository"]).is_ok_and(|answer| answer == "true")
    }

    fn parents(&self, commit: &str) -> Result<Parents, GitError> {
        // The object itself is complete even if the history is cut off.
        let parsed = Commit::parse(&self.object(commit)?.bytes);
        let written = parsed.ok_or_else(|| GitError::DamagedObject { object: commit.to_owned() })?.parents.len();
        let there = self.git.text(&["rev-parse", &format!("{commit}^@")]).unwrap_or_default();
        Ok(Parents { written, there: there.lines().map(str::to_owned).collect() })
    }

    fn merge_base(&self, a: &str, b: &str) -> Option<String> {
        self.git.text(&["merge-base", a, b]).ok().filter(|answer| !answer.is_empty())
    }

    fn is_ancestor(&self, ancestor: &str, commit: &str) -> bool {
        self.git.text(&["merge-base", "--is-ancestor", ancestor, commit]).is_ok()
    }
}
