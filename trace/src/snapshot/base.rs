//! Which revision a change is compared with, where nobody names one.

use super::locate::Locals;
use super::plumbing::Git;
use super::{Request, State};
use crate::Error;

/// What brings the rest of a history that was cut off.
const DEEPEN: &str = "give CI the whole history: `fetch-depth: 0` under `with:` of actions/checkout, `GIT_DEPTH: 0` under \
                      `variables:` of .gitlab-ci.yml; elsewhere `git fetch --unshallow`";

/// The revision to compare with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Base {
    /// Its name.
    pub revision: String,
    /// How it was found, for people; nothing where it was named.
    pub how: Option<String>,
    /// Is the history cut off?
    pub shallow: bool,
}

impl Base {
    /// A base that is named; whether it exists is told where it is read.
    pub fn named(request: &Request, revision: &str) -> Self {
        let shallow = git(request).is_shallow();
        Self { revision: revision.to_owned(), how: None, shallow }
    }

    /// The base of what is asked for: on a merge that CI has checked out its first parent, else the merge base with the
    /// default branch. In CI, on the default branch itself, the commit before.
    ///
    /// # Errors
    /// No repository; no default branch; a history that is cut off before the base.
    pub fn found(request: &Request, ci: bool) -> Result<Self, Error> {
        let git = git(request);
        let tip = match &request.state {
            State::Revision(revision) => revision.as_str(),
            State::Worktree | State::Index => "HEAD",
        };
        let shallow = git.is_shallow();
        let base = |revision: String, how: String| Ok(Self { revision, how: Some(how), shallow });
        if git.top()?.is_none() {
            let help = "run `git init` and commit the records: a change is told from a commit on";
            return Err(Error::new("the data root is in no git repository").help(help));
        }
        if tip == "HEAD" && git.unborn()? {
            return base("HEAD".to_owned(), "there is no commit yet".to_owned());
        }
        let tip = git.commit(tip)?;
        let parents = git.parents(&tip)?;
        if ci && parents.written >= 2 {
            let first = parents.there.first().ok_or_else(|| cut("the first parent of the merge is cut off"))?;
            return base(first.clone(), "the first parent of the merge that CI checked out".to_owned());
        }
        let (branch, commit) = git.default_branch().ok_or_else(|| {
            if shallow {
                // CI fetches one commit of one branch, unless told to fetch all.
                return cut("no default branch is here to compare with");
            }
            Error::new("no default branch is known to compare with")
                .because("there is no origin/HEAD, origin/main, origin/master, main or master")
                .help("name a base, as in `tierod delta --base HEAD~1`; or `git remote set-head origin --auto`")
        })?;
        let Some(merge_base) = git.merge_base(&commit, &tip) else {
            return Err(if shallow {
                cut(&format!("the history is cut off before the merge base with {branch}"))
            } else {
                Error::new(format!("{branch} shares no commit with what is compared"))
                    .help("name a base, as in `tierod delta --base HEAD~1`")
            });
        };
        if ci && merge_base == tip {
            return match parents.there.first() {
                Some(before) => base(before.clone(), format!("the commit before, as this is the tip of {branch}")),
                None if parents.written > 0 => Err(cut("the commit before is cut off")),
                None => base(tip, "the first commit of all".to_owned()),
            };
        }
        base(merge_base, format!("the merge base with {branch}"))
    }
}

fn git(request: &Request) -> Git {
    let path = request.path.as_ref().map_or_else(|| request.cwd.clone(), |path| request.cwd.join(path));
    let there = path.ancestors().find(|up| up.is_dir()).unwrap_or(&request.cwd).to_owned();
    Git::new(&there, &Locals::of(&there, &request.cwd))
}

fn cut(message: &str) -> Error {
    Error::new(message).because("the clone is shallow").help(DEEPEN)
}

/// The parents of a commit: how many it is written with, and those that are there.
struct Parents {
    written: usize,
    there: Vec<String>,
}

impl Git {
    fn is_shallow(&self) -> bool {
        self.words(&["rev-parse", "--is-shallow-repository"]).is_ok_and(|answer| answer == "true")
    }

    fn commit(&self, revision: &str) -> Result<String, Error> {
        let name = format!("{revision}^{{commit}}");
        self.words(&["rev-parse", "--verify", "--end-of-options", &name]).map_err(|error| {
            let error =
                Error::new(format!("there is no revision `{}`", schema::words::shorten(revision))).because(error);
            error.help("see `git log --oneline` and `git branch --all` for names")
        })
    }

    fn parents(&self, commit: &str) -> Result<Parents, Error> {
        // The object itself is whole even where the history is cut off.
        let text = self.words(&["cat-file", "commit", commit])?;
        let head = text.split("\n\n").next().unwrap_or(&text);
        let written = head.lines().filter(|line| line.starts_with("parent ")).count();
        let there = self.words(&["rev-parse", &format!("{commit}^@")]).unwrap_or_default();
        Ok(Parents { written, there: there.lines().map(str::to_owned).collect() })
    }

    fn default_branch(&self) -> Option<(String, String)> {
        let remote = self.words(&["symbolic-ref", "--quiet", "refs/remotes/origin/HEAD"]).ok();
        let own = self.words(&["config", "init.defaultBranch"]).ok().map(|name| format!("refs/heads/{name}"));
        let usual = ["refs/remotes/origin/main", "refs/remotes/origin/master", "refs/heads/main", "refs/heads/master"];
        let names = remote.into_iter().chain(usual.map(str::to_owned)).chain(own);
        names.into_iter().find_map(|name| {
            let commit = self.words(&["rev-parse", "--verify", "--quiet", &format!("{name}^{{commit}}")]).ok()?;
            let short = name.strip_prefix("refs/remotes/").or(name.strip_prefix("refs/heads/")).unwrap_or(&name);
            Some((short.to_owned(), commit))
        })
    }

    fn merge_base(&self, a: &str, b: &str) -> Option<String> {
        self.words(&["merge-base", a, b]).ok().filter(|answer| !answer.is_empty())
    }
}
