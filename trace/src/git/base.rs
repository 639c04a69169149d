//! The revision that a change is compared with, if none is given.

use super::access::Access as _;
use super::environment::Locals;
use super::error::GitError;
use super::objects::Commit;
use super::plumbing::Plumbing;
use super::project::Project;
use crate::snapshot::State;

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
    let tip = match state {
        State::Revision(revision) => revision.as_str(),
        State::Worktree | State::Index => "HEAD",
    };
    let shallow = git.is_shallow();
    let base = |revision: String, how: String| Ok(Base { revision, how: Some(how), shallow });
    let cut = |missing: &str| GitError::ShallowBeforeBase { missing: missing.to_owned() };
    if git.top(project.environment())?.is_none() {
        let hint = "run `git init` and commit the records, because a change is compared with a commit";
        return Err(GitError::NoRepository { hint });
    }
    if tip == "HEAD" && git.is_unborn()? {
        return base("HEAD".to_owned(), "there is no commit yet".to_owned());
    }
    let tip = git.resolve(tip).map(|commit| commit.id).map_err(|error| GitError::no_such_revision(tip, &error))?;
    let parents = git.parents(&tip)?;
    if ci && parents.written >= 2 {
        let first = parents.there.first().ok_or_else(|| cut("the first parent of the merge is cut off"))?;
        return base(first.clone(), "the first parent of the merge that CI checked out".to_owned());
    }
    let (branch, commit) = git.default_branch().ok_or_else(|| {
        // CI fetches one commit of one branch, unless it is set to fetch all.
        if shallow { cut("the clone has no default branch to compare with") } else { GitError::NoDefaultBranch }
    })?;
    let Some(merge_base) = git.merge_base(&commit, &tip) else {
        return Err(if shallow {
            cut(&format!("the history is cut off before the merge base with {branch}"))
        } else {
            GitError::NoCommonCommit { branch }
        });
    };
    if ci && merge_base == tip {
        return match parents.there.first() {
            Some(before) => base(before.clone(), format!("the previous commit, because this is the tip of {branch}")),
            None if parents.written > 0 => Err(cut("the previous commit is cut off")),
            None => base(tip, "the first commit".to_owned()),
        };
    }
    base(merge_base, format!("the merge base with {branch}"))
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

    fn default_branch(&self) -> Option<(String, String)> {
        let remote = self.git.text(&["symbolic-ref", "--quiet", "refs/remotes/origin/HEAD"]).ok();
        let own = self.git.text(&["config", "init.defaultBranch"]).ok().map(|name| format!("refs/heads/{name}"));
        let usual = ["refs/remotes/origin/main", "refs/remotes/origin/master", "refs/heads/main", "refs/heads/master"];
        let names = remote.into_iter().chain(usual.map(str::to_owned)).chain(own);
        names.into_iter().find_map(|name| {
            let commit = self.git.text(&["rev-parse", "--verify", "--quiet", &format!("{name}^{{commit}}")]).ok()?;
            let short = name.strip_prefix("refs/remotes/").or(name.strip_prefix("refs/heads/")).unwrap_or(&name);
            Some((short.to_owned(), commit))
        })
    }

    fn merge_base(&self, a: &str, b: &str) -> Option<String> {
        self.git.text(&["merge-base", a, b]).ok().filter(|answer| !answer.is_empty())
    }
}
