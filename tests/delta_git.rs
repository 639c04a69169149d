//! `delta` over histories of every shape, with git's plumbing as the reference, and the base that `auto` finds.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::{Answer, Sandbox};

type Records = BTreeMap<String, serde_yaml::Value>;
type Kinds = BTreeMap<String, Records>;

/// A record file with these parts; each part contains its version.
fn parts(parts: &[(&str, &str)]) -> String {
    let mut text = "parts:\n".to_owned();
    for (id, version) in parts {
        text += &format!(
            "  {id}:\n    in: suspension\n    serves: {{circle-time: It takes the load of {id}.}}\n    \
             verify: {{by: inspection, with: gauge, due: 2027-06-01}}\n    notes: Version {version}.\n"
        );
    }
    text
}

/// The added, removed and edited records, each by id.
type Changes = [BTreeSet<String>; 3];

/// Reads the records of one tree from git, without tierod.
fn records_by_git(sandbox: &Sandbox, folder: &Path, revision: &str, prefix: &str) -> Records {
    let listing = sandbox.git_in(folder, &["ls-tree", "-r", "-z", "--full-tree", revision]);
    let mut all = Records::new();
    for line in listing.split('\0').filter(|line| !line.is_empty()) {
        let (meta, path) = line.split_once('\t').unwrap();
        let file = path.strip_prefix(prefix).filter(|file| *file != "tierod.yaml" && file.ends_with(".yaml"));
        if file.is_some() {
            let blob = sandbox.git_in(folder, &["cat-file", "blob", meta.rsplit(' ').next().unwrap()]);
            let kinds: Option<Kinds> = serde_yaml::from_str(&blob).unwrap();
            all.extend(kinds.unwrap_or_default().into_values().flatten());
        }
    }
    all
}

fn changes_by_git(sandbox: &Sandbox, folder: &Path, base: (&str, &str), head: (&str, &str)) -> Changes {
    let old = records_by_git(sandbox, folder, base.0, base.1);
    let new = records_by_git(sandbox, folder, head.0, head.1);
    let only = |a: &Records, b: &Records| a.keys().filter(|id| !b.contains_key(*id)).cloned().collect();
    let edited = new.iter().filter(|(id, record)| old.get(*id).is_some_and(|old| old != *record));
    [only(&new, &old), only(&old, &new), edited.map(|(id, _)| id.clone()).collect()]
}

fn changes_by_tierod(answer: &Value) -> Changes {
    ["added", "removed", "edited"].map(|sort| {
        let list = answer["records"][sort].as_array().unwrap().iter();
        list.map(|record| record["id"].as_str().unwrap().to_owned()).collect()
    })
}

/// Compares two revisions by tierod and by git; returns the number of different records.
#[track_caller]
fn assert_as_git(sandbox: &Sandbox, folder: &Path, base: &str, head: &str, prefixes: [&str; 2]) -> usize {
    let root = format!("./{}", prefixes[1]);
    let answer = sandbox.tierod_in(folder, &["delta", base, head, "--format", "json", "--root", &root]);
    assert!(answer.code < 2, "{}", answer.err);
    let json = answer.json();
    let by_git = changes_by_git(sandbox, folder, (base, prefixes[0]), (head, prefixes[1]));
    assert_eq!(changes_by_tierod(&json), by_git, "{base} to {head}");
    for (side, revision) in [("base", base), ("head", head)] {
        assert_eq!(
            json[side]["revision"],
            sandbox.git_in(folder, &["rev-parse", &format!("{revision}^{{commit}}")]).trim()
        );
    }
    // If no record file differs in git, nothing differs.
    let raw = sandbox.git_in(folder, &["diff-tree", "-r", "-z", "--name-only", base, head]);
    if !raw.split('\0').any(|path| path.ends_with(".yaml")) {
        assert_eq!(by_git, Changes::default());
        assert_eq!(json["new"], serde_json::json!([]));
    }
    by_git.iter().map(BTreeSet::len).sum()
}

/// A history with a merge, an octopus merge, a rename of a file, a removal, and a file that is not a record file.
fn history(prefix: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root(prefix);
    let write = |file: &str, content: &[(&str, &str)]| sandbox.write(&format!("{prefix}{file}"), parts(content));
    let commit = |message: &str| {
        sandbox.git(&["add", "-A"]);
        sandbox.git(&["commit", "-qm", message]);
        sandbox.git(&["tag", message]);
    };
    write("a.yaml", &[("a-one", "1"), ("a-two", "1")]);
    write("b.yaml", &[("b-one", "1")]);
    commit("first");
    for side in ["left", "right", "third"] {
        sandbox.git(&["checkout", "-qb", side, "first"]);
        write(&format!("{side}.yaml"), &[(&format!("{side}-one"), "1")]);
        commit(&format!("{side}-tip"));
    }
    sandbox.git(&["checkout", "-q", "main"]);
    write("a.yaml", &[("a-two", "2"), ("a-three", "1")]);
    commit("edited");
    sandbox.git(&["merge", "-q", "--no-ff", "-m", "merge", "left"]);
    sandbox.git(&["tag", "merged"]);
    sandbox.git(&["merge", "-q", "--no-ff", "-m", "octopus", "right", "third"]);
    sandbox.git(&["tag", "octopus"]);
    std::fs::rename(sandbox.path_of(&format!("{prefix}b.yaml")), sandbox.path_of(&format!("{prefix}c.yaml"))).unwrap();
    sandbox.write("notes.txt", "no record\n");
    commit("moved");
    std::fs::remove_file(sandbox.path_of(&format!("{prefix}left.yaml"))).unwrap();
    commit("removed");
    sandbox
}

const TAGS: [&str; 8] = ["first", "left-tip", "right-tip", "edited", "merged", "octopus", "moved", "removed"];

#[test]
fn any_two_commits_differ_as_in_git() {
    for prefix in ["", "Fahrwerk/Daten ü/"] {
        let sandbox = history(prefix);
        assert_eq!(sandbox.git(&["rev-list", "--parents", "-1", "octopus"]).split_whitespace().count(), 4);
        let mut differ = 0;
        for (at, base) in TAGS.iter().enumerate() {
            for head in &TAGS[at + 1..] {
                differ += assert_as_git(&sandbox, &sandbox.path(), base, head, [prefix; 2]);
            }
            differ += assert_as_git(&sandbox, &sandbox.path(), "removed", base, [prefix; 2]);
        }
        for parent in ["octopus^1", "octopus^2", "octopus^3", "merged^2"] {
            let child = parent.split('^').next().unwrap();
            differ += assert_as_git(&sandbox, &sandbox.path(), parent, child, [prefix; 2]);
        }
        assert_eq!(assert_as_git(&sandbox, &sandbox.path(), "octopus", "moved", [prefix; 2]), 0, "a move is nothing");
        assert!(differ > 60, "too little to compare: {differ}");
    }
}

#[test]
fn a_project_root_that_was_renamed() {
    for (before, after) in [("", "car/"), ("car/", ""), ("car/", "season/2027/")] {
        let sandbox = Sandbox::repository();
        sandbox.small_root(before);
        sandbox.write(&format!("{before}a.yaml"), parts(&[("a-one", "1"), ("a-two", "1")]));
        sandbox.git(&["add", "."]);
        sandbox.git(&["commit", "-qm", "before"]);
        for file in ["tierod.yaml", "chain.yaml", "a.yaml"] {
            std::fs::create_dir_all(sandbox.path_of(after)).unwrap();
            sandbox.git(&["mv", &format!("{before}{file}"), &format!("{after}{file}")]);
        }
        let staged = sandbox.tierod(&["delta", "HEAD", "--staged"]).ended(0);
        assert!(staged.out.ends_with("\nno difference\n"), "{before} to {after}: {}", staged.out);
        sandbox.write(&format!("{after}a.yaml"), parts(&[("a-one", "2"), ("a-three", "1")]));
        sandbox.git(&["add", "."]);
        sandbox.git(&["commit", "-qm", "after"]);
        assert_eq!(assert_as_git(&sandbox, &sandbox.path(), "HEAD~1", "HEAD", [before, after]), 3);
        // The reverse comparison, started at the top: the root is where the head has it.
        let back = sandbox.tierod(&["delta", "HEAD", "HEAD~1", "--format", "json"]).ended(0).json();
        assert_eq!(changes_by_tierod(&back)[0], BTreeSet::from(["a-two".to_owned()]));
    }
}

/// A second project root next to the first is new; it is not a rename of the first.
#[test]
fn a_project_root_next_to_another() {
    let sandbox = Sandbox::repository();
    for old in ["car-2025/", "car-2026/"] {
        sandbox.small_root(old);
    }
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "two seasons"]);
    sandbox.small_root("car-2027/");
    sandbox.git(&["add", "."]);
    for args in [&["--staged"][..], &[]] {
        let all = [&["delta", "HEAD", "--root", "car-2027", "--format", "json"], args].concat();
        let json = sandbox.tierod(&all).ended(0).json();
        assert_eq!(json["base"]["kind"], "nothing", "{args:?}");
        assert_eq!(json["records"]["added"].as_array().unwrap().len(), 5);
    }
    sandbox.tierod(&["check", "--staged", "car-2027"]).ended(0);
    // If two were removed, either may have become the new one: the user has to name it.
    sandbox.git(&["rm", "-rq", "car-2025", "car-2026"]);
    let unclear = sandbox.tierod(&["delta", "HEAD", "--staged", "--root", "car-2027"]).ended(2).err;
    assert!(unclear.contains("car-2025, car-2026"), "{unclear}");
}

/// Clones through a transport, because git ignores `--depth` otherwise.
fn clone(sandbox: &Sandbox, name: &str, args: &[&str]) -> PathBuf {
    let folder = sandbox.outside().join(name);
    let url = format!("file://{}", sandbox.path().to_str().unwrap());
    let all = [&["clone", "-q"], args, &[&url, folder.to_str().unwrap()]].concat();
    sandbox.git_in(sandbox.outside(), &all);
    folder
}

#[test]
fn a_shallow_clone_compares_its_commits_and_has_a_note() {
    let sandbox = history("car/");
    let folder = clone(&sandbox, "shallow", &["--depth", "3"]);
    assert!(assert_as_git(&sandbox, &folder, "HEAD~1", "HEAD", ["car/"; 2]) > 0);
    let said = sandbox.tierod_in(&folder, &["delta", "HEAD~1", "HEAD"]).ended(0).out;
    assert!(said.contains("the clone is shallow"), "{said}");
    let json = sandbox.tierod_in(&folder, &["delta", "HEAD~1", "HEAD", "--format", "json"]).ended(0).json();
    assert_eq!(json["shallow"], true);
    let markdown = sandbox.tierod_in(&folder, &["delta", "HEAD~1", "HEAD", "--format", "markdown"]).ended(0).out;
    assert!(markdown.contains("the clone is shallow"), "{markdown}");
    let lost = sandbox.tierod_in(&folder, &["delta", "HEAD~4", "HEAD"]).ended(2).err;
    assert!(lost.contains("HEAD~4") && lost.contains("git fetch --unshallow"), "{lost}");
    let whole = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "json"]).ended(0).json();
    assert_eq!(whole["shallow"], false);
}

/// Runs tierod as CI does.
fn in_ci(sandbox: &Sandbox, folder: &Path, args: &[&str]) -> Answer {
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), folder);
    let output = command.args(args).env("CI", "true").output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Answer { code: output.status.code().unwrap(), out: text(&output.stdout), err: text(&output.stderr) }
}

fn commit(sandbox: &Sandbox, folder: &Path, revision: &str) -> String {
    sandbox.git_in(folder, &["rev-parse", revision]).trim().to_owned()
}

/// The base that `auto` finds in CI.
#[track_caller]
fn base_in_ci(sandbox: &Sandbox, folder: &Path) -> String {
    let json = in_ci(sandbox, folder, &["delta", "--format", "json"]).ended(0).json();
    let flag = in_ci(sandbox, folder, &["delta", "--base", "auto", "--format", "json"]).ended(0).json();
    assert_eq!(json, flag);
    assert_eq!(in_ci(sandbox, folder, &["delta", "auto", "--format", "json"]).ended(0).json(), flag);
    json["base"]["revision"].as_str().unwrap().to_owned()
}

/// A branch `feature` of two commits that forked from `main` one commit ago.
fn branched() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let commit = |file: &str| {
        sandbox.write(&format!("{file}.yaml"), parts(&[(file, "1")]));
        sandbox.git(&["add", "."]);
        sandbox.git(&["commit", "-qm", file]);
    };
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "zero"]);
    commit("one");
    sandbox.git(&["checkout", "-qb", "feature"]);
    commit("two");
    commit("three");
    sandbox.git(&["checkout", "-q", "main"]);
    commit("later");
    sandbox.git(&["checkout", "-q", "feature"]);
    sandbox
}

#[test]
fn the_base_of_a_merge_in_ci_is_its_first_parent() {
    let sandbox = branched();
    sandbox.git(&["checkout", "-q", "--detach", "main"]);
    sandbox.git(&["merge", "-q", "--no-ff", "-m", "what the forge made", "feature"]);
    let main = commit(&sandbox, &sandbox.path(), "main");
    assert_eq!(base_in_ci(&sandbox, &sandbox.path()), main);
    sandbox.git(&["branch", "merged"]);
    // At a depth of two the parents exist, and no older commits.
    let two = clone(&sandbox, "two", &["--depth", "2", "--branch", "merged"]);
    sandbox.git_in(&two, &["checkout", "-q", "--detach"]);
    assert_eq!(base_in_ci(&sandbox, &two), main);
    // The forge's environment distinguishes its own merge from one at the tip of a branch.
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &two);
    command.envs([("CI", "true"), ("GITHUB_EVENT_NAME", "pull_request"), ("GITHUB_BASE_REF", "main")]);
    let output = command.env("GITHUB_REF", "refs/pull/1/merge").arg("delta").output().unwrap();
    let said = Answer::from_output(&output).ended(0).out;
    assert!(said.contains("the first parent of the merge that CI checked out"), "{said}");
    assert!(said.contains("the clone is shallow"), "{said}");
    assert!(said.contains("added  part three, part two"), "{said}");
    // At a depth of one there is no parent: the command that fetches it is printed.
    let one = clone(&sandbox, "one", &["--depth", "1", "--branch", "merged"]);
    let cut = in_ci(&sandbox, &one, &["delta"]).ended(2).err;
    for fix in ["fetch-depth: 0", "GIT_DEPTH: 0", "git fetch --unshallow"] {
        assert!(cut.contains(fix), "{fix}: {cut}");
    }
    sandbox.git_in(&one, &["fetch", "-q", "--unshallow"]);
    assert_eq!(base_in_ci(&sandbox, &one), main, "with the fix");
    // Outside CI a merge is an ordinary commit.
    sandbox.git(&["checkout", "-q", "merged"]);
    let json = sandbox.tierod(&["delta", "--format", "json"]).ended(0).json();
    assert_eq!(json["base"]["revision"], main, "the merge base with main");
    for off in ["", "0", "false"] {
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        let output = command.arg("delta").env("CI", off).output().unwrap();
        assert!(String::from_utf8_lossy(&output.stdout).contains("the merge base with main"), "CI={off}");
    }
}

#[test]
fn the_base_of_an_octopus_merge_in_ci_is_its_first_parent() {
    let sandbox = history("");
    sandbox.git(&["checkout", "-q", "octopus"]);
    assert_eq!(base_in_ci(&sandbox, &sandbox.path()), commit(&sandbox, &sandbox.path(), "octopus^1"));
}

#[test]
fn the_base_of_a_branch_is_where_it_forked_from_the_default_branch() {
    let sandbox = branched();
    let fork = commit(&sandbox, &sandbox.path(), "main~1");
    assert_eq!(base_in_ci(&sandbox, &sandbox.path()), fork);
    let said = sandbox.tierod(&["delta"]).ended(0).out;
    assert!(said.contains(&fork[..10]) && said.contains("the merge base with main"), "{said}");
    // `origin/main` takes precedence over a `main` that was not pulled; the remote's HEAD over both.
    let cloned = clone(&sandbox, "cloned", &["--branch", "feature"]);
    let said = sandbox.tierod_in(&cloned, &["delta"]).ended(0).out;
    assert!(said.contains("the merge base with origin/"), "{said}");
    sandbox.git_in(&cloned, &["remote", "set-head", "origin", "main"]);
    let said = sandbox.tierod_in(&cloned, &["delta"]).ended(0).out;
    assert!(said.contains(&fork[..10]) && said.contains("the merge base with origin/main"), "{said}");
    sandbox.git_in(&cloned, &["remote", "set-head", "origin", "--delete"]);
    let said = sandbox.tierod_in(&cloned, &["delta"]).ended(0).out;
    assert!(said.contains("the merge base with origin/main"), "{said}");
    // With a named head.
    let named = sandbox.tierod(&["delta", "auto", "feature~1", "--format", "json"]).ended(0).json();
    assert_eq!(named["base"]["revision"], fork);
    assert_eq!(changes_by_tierod(&named)[0], BTreeSet::from(["two".to_owned()]));
}

#[test]
fn the_base_on_the_default_branch_in_ci_is_the_commit_before() {
    let sandbox = branched();
    sandbox.git(&["checkout", "-q", "main"]);
    assert_eq!(base_in_ci(&sandbox, &sandbox.path()), commit(&sandbox, &sandbox.path(), "main~1"));
    let one = clone(&sandbox, "one", &["--depth", "1", "--branch", "main"]);
    let cut = in_ci(&sandbox, &one, &["delta"]).ended(2).err;
    assert!(cut.contains("fetch-depth: 0") && cut.contains("GIT_DEPTH: 0"), "{cut}");
    let two = clone(&sandbox, "two", &["--depth", "2", "--branch", "main"]);
    assert_eq!(base_in_ci(&sandbox, &two), commit(&sandbox, &sandbox.path(), "main~1"));
    // The first commit has no parent.
    sandbox.git(&["checkout", "-qb", "root", "main~2"]);
    sandbox.git(&["branch", "-qD", "main", "feature"]);
    sandbox.git(&["branch", "-qm", "root", "main"]);
    assert_eq!(base_in_ci(&sandbox, &sandbox.path()), commit(&sandbox, &sandbox.path(), "HEAD"));
}

#[test]
fn without_a_default_branch_the_fix_is_shown() {
    let sandbox = branched();
    sandbox.git(&["branch", "-qm", "main", "season"]);
    let error = sandbox.tierod(&["delta"]).ended(2).err;
    assert!(error.contains("no default branch") && error.contains("--base HEAD~1"), "{error}");
    sandbox.tierod(&["delta", "--base", "HEAD~1"]).ended(0);
    // The repository's configuration may name the branch.
    sandbox.git(&["config", "init.defaultBranch", "season"]);
    assert!(sandbox.tierod(&["delta"]).ended(0).out.contains("the merge base with season"));
    // Only one branch was fetched: the fix fetches all.
    let alone = clone(&sandbox, "alone", &["--depth", "1", "--single-branch", "--branch", "feature"]);
    sandbox.git_in(&alone, &["remote", "remove", "origin"]);
    let cut = in_ci(&sandbox, &alone, &["delta"]).ended(2).err;
    assert!(cut.contains("fetch-depth: 0") && cut.contains("GIT_DEPTH: 0"), "{cut}");
    let error = sandbox.tierod(&["delta", "nowhere"]).ended(2).err;
    assert!(error.contains("unknown revision `nowhere`"), "{error}");
    // Histories without a common commit.
    sandbox.git(&["checkout", "-q", "--orphan", "other"]);
    sandbox.git(&["commit", "-qm", "other"]);
    let error = sandbox.tierod(&["delta"]).ended(2).err;
    assert!(error.contains("no commit in common"), "{error}");
}

#[test]
fn before_the_first_commit_everything_is_new() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("bracket.yaml", "parts:\n  bracket: {in: nowhere, serves: {circle-time: It holds the sensor.}}\n");
    sandbox.git(&["add", "."]);
    sandbox.write("more.yaml", parts(&[("more", "1")]));
    for args in [&["--staged"][..], &["HEAD", "--staged"], &["--base", "auto", "--staged"]] {
        let all = [&["delta", "--format", "json"], args].concat();
        let json = sandbox.tierod(&all).ended(1).json();
        assert_eq!(json["base"], serde_json::json!({"kind": "nothing", "revision": null}));
        assert_eq!(json["records"]["added"].as_array().unwrap().len(), 6, "{args:?}");
        assert_eq!(json["fixed"], serde_json::json!([]));
        let check = sandbox.tierod(&["check", "--staged", "--all", "--format", "json"]).ended(1).json();
        assert_eq!(json["new"], check["findings"], "{args:?}");
        let staged = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1).json();
        assert_eq!(staged["findings"], check["findings"]);
    }
    let json = sandbox.tierod(&["delta", "--format", "json"]).ended(1).json();
    assert_eq!(json["records"]["added"].as_array().unwrap().len(), 7, "the working tree has one more");
    for format in ["terminal", "markdown"] {
        sandbox.tierod(&["delta", "--format", format]).ended(1);
    }
}

/// HEAD, the index and the working tree have three states of one file.
#[test]
fn head_the_index_and_the_working_tree_are_three_states() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("car/");
    sandbox.write("car/a.yaml", parts(&[("a-one", "1")]));
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "first"]);
    sandbox.write("car/a.yaml", parts(&[("a-one", "2"), ("staged", "1")]));
    sandbox.git(&["add", "."]);
    sandbox.write("car/a.yaml", parts(&[("a-one", "1"), ("edited-later", "1")]));
    let changes = |args: &[&str]| {
        let json = sandbox.tierod(&[&["delta", "--root", "car", "--format", "json"], args].concat()).ended(0).json();
        (json["head"]["kind"].as_str().unwrap().to_owned(), changes_by_tierod(&json).map(Vec::from_iter))
    };
    let ids = |ids: &[&str]| ids.iter().map(|id| (*id).to_owned()).collect::<Vec<String>>();
    assert_eq!(changes(&["HEAD", "--staged"]), ("index".into(), [ids(&["staged"]), vec![], ids(&["a-one"])]));
    assert_eq!(changes(&["HEAD"]), ("worktree".into(), [ids(&["edited-later"]), vec![], vec![]]));
    assert_eq!(changes(&["HEAD", "HEAD"]), ("revision".into(), [vec![], vec![], vec![]]));
    // From a subfolder.
    std::fs::create_dir_all(sandbox.path_of("car/deep")).unwrap();
    let within =
        sandbox.tierod_in(&sandbox.path_of("car/deep"), &["delta", "HEAD", "--format", "json"]).ended(0).json();
    assert_eq!(changes_by_tierod(&within)[0], BTreeSet::from(["edited-later".to_owned()]));
}
