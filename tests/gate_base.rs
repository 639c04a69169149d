//! What a change is compared with in CI, with the variables of both large forges.

use std::path::{Path, PathBuf};

use crate::git_hooks::parts;
use crate::support::{Answer, Sandbox};

/// Four parts in an unknown system: four errors at any stage.
pub(crate) fn four_errors() -> String {
    let part = |id: &str| parts(&[id]).replace("parts:\n", "").replace("suspension", "nowhere");
    "parts:\n".to_owned() + &["bad-one", "bad-two", "bad-three", "bad-four"].map(part).concat()
}

/// Runs git, which may fail.
pub(crate) fn try_git(sandbox: &Sandbox, folder: &Path, args: &[&str]) -> Answer {
    Answer::from_output(&sandbox.command("git", folder).args(args).output().unwrap())
}

fn id(sandbox: &Sandbox, revision: &str) -> String {
    sandbox.git(&["rev-parse", &format!("{revision}^{{commit}}")]).trim().to_owned()
}

/// Writes a record file, and commits everything.
pub(crate) fn commit(sandbox: &Sandbox, file: &str, content: impl AsRef<[u8]>) -> String {
    sandbox.write(file, content);
    sandbox.commit_on("2027-03-19", file);
    id(sandbox, "HEAD")
}

/// A repository with a first commit, on a branch of this name.
pub(crate) fn on_branch(name: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.git(&["init", "-q", "-b", name]);
    sandbox.small_root("");
    sandbox.commit_on("2027-03-19", "first");
    sandbox
}

/// A checkout as the runners of the forges make it: a new repository, all branches of the remote fetched, and a commit
/// checked out without a branch. There is no `origin/HEAD`.
fn checkout(sandbox: &Sandbox, name: &str, depth: Option<&str>, commit: &str) -> PathBuf {
    let folder = sandbox.outside().join(name);
    let git = |args: &[&str]| sandbox.git_in(sandbox.outside(), &[&["-C", folder.to_str().unwrap()], args].concat());
    sandbox.git_in(sandbox.outside(), &["init", "-q", "-b", "none", folder.to_str().unwrap()]);
    git(&["remote", "add", "origin", &format!("file://{}", sandbox.path().to_str().unwrap())]);
    sandbox.git(&["update-ref", "refs/ci/commit", commit]);
    sandbox.git(&["config", "uploadpack.allowAnySHA1InWant", "true"]);
    match depth {
        Some(depth) => git(&["fetch", "-q", "--depth", depth, "origin", commit]),
        None => {
            git(&["fetch", "-q", "origin", "+refs/heads/*:refs/remotes/origin/*", "+refs/ci/commit:refs/ci/commit"])
        }
    };
    git(&["checkout", "-q", "--detach", commit]);
    folder
}

/// The variables of a run.
type Variables = Vec<(&'static str, String)>;

/// The variables of a run of the first forge, with its event.
fn workflow(sandbox: &Sandbox, name: &str, commit: &str, reference: &str, event: &serde_json::Value) -> Variables {
    let file = sandbox.outside().join(format!("{name}-{commit}.json"));
    std::fs::write(&file, event.to_string()).unwrap();
    let mut all = vec![
        ("CI", "true".to_owned()),
        ("GITHUB_ACTIONS", "true".to_owned()),
        ("GITHUB_EVENT_NAME", name.to_owned()),
        ("GITHUB_EVENT_PATH", file.to_str().unwrap().to_owned()),
        ("GITHUB_REF", reference.to_owned()),
        ("GITHUB_SHA", commit.to_owned()),
    ];
    if let Some(target) = event.pointer("/pull_request/base/ref") {
        all.push(("GITHUB_BASE_REF", target.as_str().unwrap().to_owned()));
    }
    all
}

/// The variables of a push to a branch: of both forges.
fn pushed(sandbox: &Sandbox, branch: &str, before: &str, commit: &str, default: &str) -> [Variables; 2] {
    let event = serde_json::json!({"before": before, "after": commit, "repository": {"default_branch": default}});
    [
        workflow(sandbox, "push", commit, &format!("refs/heads/{branch}"), &event),
        vec![
            ("CI", "true".to_owned()),
            ("GITLAB_CI", "true".to_owned()),
            ("CI_PIPELINE_SOURCE", "push".to_owned()),
            ("CI_COMMIT_BRANCH", branch.to_owned()),
            ("CI_COMMIT_BEFORE_SHA", before.to_owned()),
            ("CI_COMMIT_SHA", commit.to_owned()),
            ("CI_DEFAULT_BRANCH", default.to_owned()),
        ],
    ]
}

/// The variables of a request into a branch: of both forges, without the forge's own merge. `fork_point` is what the
/// second forge names, and the tip of the target what the first one does.
fn requested(sandbox: &Sandbox, target: &str, commit: &str, fork_point: &str) -> [Variables; 2] {
    let target_tip = id(sandbox, target);
    let event = serde_json::json!({
        "pull_request": {"base": {"ref": target, "sha": target_tip}, "head": {"sha": commit}},
        "repository": {"default_branch": "main"},
    });
    [
        workflow(sandbox, "pull_request", &"a".repeat(40), "refs/pull/1/merge", &event),
        vec![
            ("CI", "true".to_owned()),
            ("GITLAB_CI", "true".to_owned()),
            ("CI_PIPELINE_SOURCE", "merge_request_event".to_owned()),
            ("CI_COMMIT_BEFORE_SHA", "0".repeat(40)),
            ("CI_COMMIT_SHA", commit.to_owned()),
            ("CI_DEFAULT_BRANCH", "main".to_owned()),
            ("CI_MERGE_REQUEST_EVENT_TYPE", "detached".to_owned()),
            ("CI_MERGE_REQUEST_TARGET_BRANCH_NAME", target.to_owned()),
            ("CI_MERGE_REQUEST_DIFF_BASE_SHA", fork_point.to_owned()),
        ],
    ]
}

fn delta(sandbox: &Sandbox, folder: &Path, variables: &Variables, args: &[&str]) -> Answer {
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), folder);
    command.envs(variables.iter().map(|(name, value)| (*name, value.as_str())));
    Answer::from_output(&command.arg("delta").args(args).output().unwrap())
}

/// Compares in CI: the base, its reason, the number of new errors, and the ids of the added records.
struct Compared {
    base: String,
    reason: String,
    errors: usize,
    added: Vec<String>,
}

#[track_caller]
fn compared(sandbox: &Sandbox, folder: &Path, variables: &Variables) -> Compared {
    let answer = delta(sandbox, folder, variables, &["--base", "auto", "--format", "json"]);
    assert!(answer.code < 2, "{variables:?}: {}", answer.err);
    let json = answer.json();
    let new = json["new"].as_array().unwrap();
    let errors = new.iter().filter(|finding| finding["level"] == "error").count();
    assert_eq!(answer.code, i32::from(errors > 0));
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    let reason = text(&json["base_reason"]);
    // People see the same reason.
    for format in ["terminal", "markdown"] {
        let out = delta(sandbox, folder, variables, &["--format", format]).out;
        assert!(out.contains(&format!("({reason})")), "{format}: {reason}\n{out}");
    }
    Compared {
        base: text(&json["base"]["revision"]),
        reason,
        errors,
        added: json["records"]["added"].as_array().unwrap().iter().map(|it| text(&it["id"])).collect(),
    }
}

const FOUR: [&str; 4] = ["bad-four", "bad-one", "bad-three", "bad-two"];

/// A branch with four errors whose tip is "Merge branch 'main' into feature": what main has is not its own, and what
/// it broke before that merge is new.
#[test]
fn a_branch_that_merged_main_is_compared_with_main() {
    let sandbox = on_branch("main");
    sandbox.git(&["checkout", "-qb", "feature"]);
    let before = commit(&sandbox, "bad.yaml", four_errors());
    sandbox.git(&["checkout", "-q", "main"]);
    let main = commit(&sandbox, "later.yaml", parts(&["of-others"]));
    sandbox.git(&["checkout", "-q", "feature"]);
    sandbox.git(&["merge", "-q", "--no-edit", "main"]);
    assert_eq!(sandbox.git(&["log", "-1", "--format=%s"]).trim(), "Merge branch 'main' into feature");
    let tip = id(&sandbox, "HEAD");
    let runner = checkout(&sandbox, "runner", None, &tip);
    let plain = vec![("CI", "true".to_owned())];
    let requests = requested(&sandbox, "main", &tip, &main);
    let pushes = pushed(&sandbox, "feature", &before, &tip, "main");
    // Even if the environment claims that this merge is the forge's own.
    let mut claimed = requests.clone();
    for (name, value) in claimed.iter_mut().flatten() {
        match *name {
            "GITHUB_SHA" => value.clone_from(&tip),
            "CI_MERGE_REQUEST_EVENT_TYPE" => *value = "merged_result".to_owned(),
            _ => {}
        }
    }
    let requests: Vec<Variables> = requests.into_iter().chain(claimed).collect();
    for variables in [plain].iter().chain(&requests).chain(&pushes) {
        let found = compared(&sandbox, &runner, variables);
        assert_eq!((found.base.as_str(), found.errors), (main.as_str(), 4), "{variables:?}");
        assert_eq!(found.added, FOUR, "{variables:?}");
        assert!(found.reason.starts_with("the merge base with origin/main"), "{}", found.reason);
        assert_eq!(found.reason.ends_with(", the target of the request"), requests.contains(variables));
    }
}

/// Three commits pushed to main at once, and the first one breaks four things.
#[test]
fn a_push_is_compared_with_what_was_there_before() {
    for branch in ["main", "trunk"] {
        let sandbox = on_branch(branch);
        let before = id(&sandbox, "HEAD");
        commit(&sandbox, "bad.yaml", four_errors());
        commit(&sandbox, "more.yaml", parts(&["more"]));
        let tip = commit(&sandbox, "most.yaml", parts(&["most"]));
        let runner = checkout(&sandbox, "runner", None, &tip);
        for variables in pushed(&sandbox, branch, &before, &tip, branch) {
            let found = compared(&sandbox, &runner, &variables);
            assert_eq!((found.base.as_str(), found.errors), (before.as_str(), 4));
            assert_eq!(found.reason, "the state before the push");
            // A base that is given takes precedence, and needs no reason.
            let json = delta(&sandbox, &runner, &variables, &["--base", "HEAD~1", "--format", "json"]).ended(0).json();
            assert_eq!(json["base_reason"], serde_json::Value::Null);
        }
        // Without a forge only the previous commit is known.
        let found = compared(&sandbox, &runner, &vec![("CI", "true".to_owned())]);
        assert_eq!((found.base, found.errors), (id(&sandbox, "HEAD~1"), 0));
        assert!(found.reason.contains("this is the tip of origin/"), "{}", found.reason);
    }
}

/// A push to another branch: what was there before; after a rebase its merge base with the default branch.
#[test]
fn a_push_to_a_branch_of_its_own() {
    let sandbox = on_branch("main");
    let main = id(&sandbox, "HEAD");
    sandbox.git(&["checkout", "-qb", "feature"]);
    let first = commit(&sandbox, "one.yaml", parts(&["one"]));
    let tip = commit(&sandbox, "two.yaml", parts(&["two"]));
    let runner = checkout(&sandbox, "runner", None, &tip);
    for variables in pushed(&sandbox, "feature", &first, &tip, "main") {
        let found = compared(&sandbox, &runner, &variables);
        assert_eq!((found.base.as_str(), &found.added[..]), (first.as_str(), &["two".to_owned()][..]));
    }
    // A new branch: there was nothing before.
    for variables in pushed(&sandbox, "feature", &"0".repeat(40), &tip, "main") {
        let found = compared(&sandbox, &runner, &variables);
        assert_eq!((found.base.as_str(), found.reason.as_str()), (main.as_str(), "the merge base with origin/main"));
    }
    // A forced push: what was there before is not in the clone any more, or not before the tip.
    sandbox.git(&["commit", "-q", "--amend", "-m", "two, again"]);
    let amended = id(&sandbox, "HEAD");
    let rewritten = checkout(&sandbox, "rewritten", None, &amended);
    for folder in [&rewritten, &sandbox.path()] {
        for variables in pushed(&sandbox, "feature", &tip, &amended, "main") {
            assert_eq!(compared(&sandbox, folder, &variables).base, main);
        }
    }
}

/// A base that is not in the clone is an error with its fix, never another base.
#[test]
fn what_to_fetch_is_shown_if_the_base_is_not_in_the_clone() {
    let sandbox = on_branch("main");
    let before = id(&sandbox, "HEAD");
    commit(&sandbox, "bad.yaml", four_errors());
    commit(&sandbox, "more.yaml", parts(&["more"]));
    let tip = commit(&sandbox, "most.yaml", parts(&["most"]));
    let shallow = checkout(&sandbox, "shallow", Some("2"), &tip);
    for variables in pushed(&sandbox, "main", &before, &tip, "main") {
        let error = delta(&sandbox, &shallow, &variables, &[]).ended(2).err;
        for text in [&before[..10], "fetch-depth: 0", "GIT_DEPTH: 0", "git fetch --unshallow"] {
            assert!(error.contains(text), "{text}: {error}");
        }
        // Deep enough, without any branch.
        let deep = checkout(&sandbox, &format!("deep-{}", variables[1].0), Some("4"), &tip);
        assert_eq!(compared(&sandbox, &deep, &variables).errors, 4);
    }
    // The target of a request.
    for variables in requested(&sandbox, "main", &tip, &before) {
        let shallow = checkout(&sandbox, &format!("target-{}", variables[1].0), Some("1"), &tip);
        let mut variables: Variables = variables.into_iter().filter(|(name, _)| *name != "GITHUB_EVENT_PATH").collect();
        variables.iter_mut().filter(|(name, _)| *name == "GITHUB_SHA").for_each(|(_, value)| value.clone_from(&tip));
        let error = delta(&sandbox, &shallow, &variables, &[]).ended(2).err;
        assert!(error.contains("the target of the request, `main`, is not in the clone"), "{error}");
        assert!(error.contains("fetch-depth: 0"), "{error}");
    }
    // Main itself was replaced by a forced push: the clone is complete.
    sandbox.git(&["reset", "-q", "--hard", &before]);
    let other = commit(&sandbox, "other.yaml", parts(&["other"]));
    let replaced = checkout(&sandbox, "replaced", None, &other);
    for variables in pushed(&sandbox, "main", &tip, &other, "main") {
        let error = delta(&sandbox, &replaced, &variables, &[]).ended(2).err;
        assert!(error.contains(&format!("git fetch origin {tip}")), "{error}");
    }
    sandbox.git_in(&replaced, &["fetch", "-q", "origin", &tip]);
    for variables in pushed(&sandbox, "main", &tip, &other, "main") {
        assert_eq!(compared(&sandbox, &replaced, &variables).base, tip, "with the fix");
    }
}

/// The default branch has any name: it is the remote's `HEAD`, or what the forge calls it.
#[test]
fn the_default_branch_has_any_name() {
    for name in ["trunk", "develop", "season-2027"] {
        let sandbox = on_branch(name);
        let fork = id(&sandbox, "HEAD");
        sandbox.git(&["checkout", "-qb", "feature"]);
        let tip = commit(&sandbox, "bad.yaml", four_errors());
        sandbox.git(&["checkout", "-q", name]);
        commit(&sandbox, "later.yaml", parts(&["of-others"]));
        // A clone has the remote's HEAD.
        let clone = sandbox.outside().join("clone");
        let url = format!("file://{}", sandbox.path().to_str().unwrap());
        sandbox.git_in(sandbox.outside(), &["clone", "-q", "-o", "forge", &url, clone.to_str().unwrap()]);
        sandbox.git_in(&clone, &["checkout", "-q", "feature"]);
        let json = delta(&sandbox, &clone, &vec![], &["--format", "json"]).ended(1).json();
        assert_eq!(json["base"]["revision"], fork);
        assert_eq!(json["base_reason"], format!("the merge base with forge/{name}"));
        // A runner's checkout has not: both forges pass the name.
        let runner = checkout(&sandbox, "runner", None, &tip);
        for variables in pushed(&sandbox, "feature", &"0".repeat(40), &tip, name) {
            let found = compared(&sandbox, &runner, &variables);
            assert_eq!((found.base.as_str(), found.errors), (fork.as_str(), 4));
            assert_eq!(found.reason, format!("the merge base with origin/{name}"));
        }
    }
}

/// In the clone of a fork, what the fork's own main lacks is not part of the change.
#[test]
fn a_fork_whose_upstream_moved() {
    let sandbox = on_branch("trunk");
    let url = |path: &Path| format!("file://{}", path.to_str().unwrap());
    let fork = sandbox.outside().join("fork");
    sandbox.git_in(sandbox.outside(), &["clone", "-q", "--bare", &url(&sandbox.path()), fork.to_str().unwrap()]);
    let clone = sandbox.outside().join("clone");
    sandbox.git_in(sandbox.outside(), &["clone", "-q", &url(&fork), clone.to_str().unwrap()]);
    let upstream = commit(&sandbox, "later.yaml", parts(&["of-others"]));
    sandbox.git_in(&clone, &["remote", "add", "upstream", &url(&sandbox.path())]);
    sandbox.git_in(&clone, &["fetch", "-q", "upstream"]);
    sandbox.git_in(&clone, &["checkout", "-q", "-b", "feature", "upstream/trunk"]);
    std::fs::write(clone.join("own.yaml"), parts(&["own"])).unwrap();
    sandbox.git_in(&clone, &["add", "."]);
    sandbox.git_in(&clone, &["commit", "-qm", "own"]);
    commit(&sandbox, "latest.yaml", parts(&["of-others-later"]));
    sandbox.git_in(&clone, &["fetch", "-q", "upstream"]);
    let json = delta(&sandbox, &clone, &vec![], &["--format", "json"]).ended(0).json();
    assert_eq!(json["base"]["revision"], upstream);
    assert_eq!(json["base_reason"], "the merge base with upstream/trunk");
    assert_eq!(json["records"]["added"].as_array().unwrap().len(), 1);
    assert_eq!(json["records"]["removed"], serde_json::json!([]), "what upstream added since is not removed here");
    // The fork is up to date again, and upstream was not fetched since.
    sandbox.git_in(&fork, &["fetch", "-q", &url(&sandbox.path()), "trunk:trunk"]);
    sandbox.git_in(&clone, &["update-ref", "refs/remotes/upstream/trunk", "refs/remotes/origin/trunk"]);
    sandbox.git_in(&clone, &["fetch", "-q", "origin"]);
    let json = delta(&sandbox, &clone, &vec![], &["--format", "json"]).ended(0).json();
    assert_eq!(json["base"]["revision"], upstream);
    // In CI of the fork, the forge names the commit where the request branched off.
    let tip = sandbox.git_in(&clone, &["rev-parse", "HEAD"]).trim().to_owned();
    sandbox.git_in(&clone, &["update-ref", "refs/remotes/origin/trunk", &format!("{upstream}~1")]);
    sandbox.git_in(&clone, &["remote", "remove", "upstream"]);
    let [_, second] = requested(&sandbox, "trunk", &tip, &upstream);
    let found = compared(&sandbox, &clone, &second);
    assert_eq!((found.base, &found.added[..]), (upstream, &["own".to_owned()][..]));
}

/// A request into another branch than the default branch is compared with that branch.
#[test]
fn a_request_is_compared_with_its_target() {
    let sandbox = on_branch("main");
    sandbox.git(&["checkout", "-qb", "develop"]);
    let fork = commit(&sandbox, "bad.yaml", four_errors());
    sandbox.git(&["checkout", "-qb", "feature"]);
    let tip = commit(&sandbox, "own.yaml", parts(&["own"]));
    sandbox.git(&["checkout", "-q", "develop"]);
    commit(&sandbox, "later.yaml", parts(&["of-others"]));
    let runner = checkout(&sandbox, "runner", None, &tip);
    for variables in requested(&sandbox, "develop", &tip, &fork) {
        let found = compared(&sandbox, &runner, &variables);
        assert_eq!((found.base.as_str(), found.errors), (fork.as_str(), 0));
        assert_eq!(found.added, ["own"]);
        assert!(found.reason.ends_with("develop, the target of the request"), "{}", found.reason);
    }
}

/// Only a merge that the forge made for the request is compared with its first parent, in a clone of any depth.
#[test]
fn a_merge_of_the_forge_is_compared_with_its_first_parent() {
    let sandbox = on_branch("main");
    sandbox.git(&["checkout", "-qb", "feature"]);
    let tip = commit(&sandbox, "bad.yaml", four_errors());
    sandbox.git(&["checkout", "-q", "main"]);
    let main = commit(&sandbox, "later.yaml", parts(&["of-others"]));
    sandbox.git(&["checkout", "-q", "--detach"]);
    sandbox.git(&["merge", "-q", "--no-ff", "-m", "what the forge made", "feature"]);
    let merge = id(&sandbox, "HEAD");
    // The next request in the queue, on top of that merge.
    sandbox.git(&["checkout", "-qb", "other", "main"]);
    commit(&sandbox, "other.yaml", parts(&["other"]));
    sandbox.git(&["checkout", "-q", "--detach", &merge]);
    sandbox.git(&["merge", "-q", "--no-ff", "-m", "the next one", "other"]);
    let next = id(&sandbox, "HEAD");
    let runs = |commit: &str, train: &str| {
        let [mut first, mut second] = requested(&sandbox, "main", &tip, &main);
        first.iter_mut().filter(|(name, _)| *name == "GITHUB_SHA").for_each(|(_, value)| *value = commit.to_owned());
        second
            .iter_mut()
            .filter(|(name, _)| *name == "CI_COMMIT_SHA")
            .for_each(|(_, value)| *value = commit.to_owned());
        second
            .iter_mut()
            .filter(|(name, _)| *name == "CI_MERGE_REQUEST_EVENT_TYPE")
            .for_each(|(_, value)| *value = train.to_owned());
        [first, second]
    };
    for (depth, name) in [(None, "all"), (Some("2"), "two")] {
        let runner = checkout(&sandbox, name, depth, &merge);
        for variables in runs(&merge, "merged_result") {
            let found = compared(&sandbox, &runner, &variables);
            assert_eq!((found.base.as_str(), found.errors), (main.as_str(), 4));
            assert_eq!(found.reason, "the first parent of the merge that CI checked out");
        }
    }
    let train = checkout(&sandbox, "train", None, &next);
    let [_, second] = runs(&next, "merge_train");
    let event = serde_json::json!({"merge_group": {"base_sha": merge, "base_ref": "refs/heads/main"}});
    let queue = workflow(&sandbox, "merge_group", &next, "refs/heads/gh-readonly-queue/main/pr-2", &event);
    for variables in [second, queue] {
        let found = compared(&sandbox, &train, &variables);
        assert_eq!((found.base.as_str(), found.errors), (merge.as_str(), 0), "not the changes of the request before");
        assert_eq!(found.added, ["other"]);
    }
    // The same merge without the forge: its branch is what counts.
    sandbox.git(&["checkout", "-qB", "own", &merge]);
    let found = compared(&sandbox, &sandbox.path(), &vec![("CI", "true".to_owned())]);
    assert_eq!((found.base.as_str(), found.reason.as_str()), (main.as_str(), "the merge base with main"));
}

/// CI may check out other repositories, too: its environment is not about them.
#[test]
fn the_environment_is_about_one_repository() {
    let sandbox = on_branch("main");
    let main = id(&sandbox, "HEAD");
    sandbox.git(&["checkout", "-qb", "feature"]);
    commit(&sandbox, "bad.yaml", four_errors());
    let (other, gone) = ("b".repeat(40), "c".repeat(40));
    for variables in pushed(&sandbox, "main", &gone, &other, "season") {
        assert_eq!(compared(&sandbox, &sandbox.path(), &variables).base, main);
    }
    // Outside of CI the variables count for nothing.
    let mut variables = pushed(&sandbox, "feature", &id(&sandbox, "HEAD"), &id(&sandbox, "HEAD"), "main");
    for variables in &mut variables {
        variables.retain(|(name, _)| *name != "CI");
        assert_eq!(compared(&sandbox, &sandbox.path(), variables).base, main);
    }
}
