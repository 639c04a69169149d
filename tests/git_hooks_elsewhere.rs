//! Hooks that are, or change to, somewhere else than the top of the repository whose commit is checked.

#![cfg(unix)]

use crate::git_hooks::{Spied, TIEROD, at_the_top_and_below, parts, word, write_hook};
use crate::support::{RecordPaths, Sandbox, records_in_graph};

/// Git starts the hook at the top, wherever the commit is started.
#[test]
fn a_commit_started_from_a_subfolder() {
    at_the_top_and_below(|mut spied| {
        spied.write("deep/down/c.yaml", parts(&["c-one"]));
        spied.git(&["add", "."]);
        spied.commit(&["-m", "x"], &["c-one"], &[]);
        spied.write("deep/down/c.yaml", parts(&["c-two"]));
        spied.write("a.yaml", parts(&["a-two"]));
        let top = spied.folder.clone();
        spied.folder = top.join(spied.path_of("deep/down"));
        spied.git(&["commit", "-qm", "y", "c.yaml"]);
        spied.folder = top;
        spied.compare(&["c-two", "a-one"], &["c-one", "a-two"]);
    });
}

/// The hook may change the folder before it starts tierod; the variables still apply to this repository.
#[test]
fn a_hook_that_changes_the_folder_first() {
    for prefix in ["", "car/"] {
        let mut spied = Spied::new(prefix);
        let hook = spied.sandbox.path_of(".git/hooks/pre-commit");
        spied.write("deep/c.yaml", parts(&["c-one"]));
        spied.git(&["add", "."]);
        spied.git(&["commit", "-qm", "x"]);
        // The reference is taken at the top, because git itself fails in a subfolder.
        let deep = spied.path_of("deep");
        spied.spy(&hook, &format!("git ls-files -s -z >\"$to/top\"\ncd {}\nroot=.", word(&deep)));
        let check = |spied: &Spied, seen: &[&str], unseen: &[&str]| {
            std::fs::copy(spied.notes().join("top"), spied.notes().join("git")).unwrap();
            spied.compare(seen, unseen);
        };
        spied.write("a.yaml", parts(&["a-two"]));
        spied.git(&["commit", "-qam", "y"]);
        check(&spied, &["a-two", "c-one"], &["a-one"]);
        spied.write("a.yaml", parts(&["a-three"]));
        spied.git(&["--git-dir=.git", "commit", "-qam", "with GIT_DIR"]);
        check(&spied, &["a-three"], &["a-two"]);
        spied.write("b.yaml", parts(&["b-two"]));
        spied.git(&["add", "."]);
        spied.git(&["--git-dir=.git", "--work-tree=.", "commit", "-qm", "with GIT_DIR and GIT_WORK_TREE"]);
        check(&spied, &["b-two"], &["b-one"]);
        // In a linked worktree `GIT_DIR` is set.
        let linked = spied.sandbox.outside().join("linked");
        spied.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
        spied.folder = linked;
        spied.write("a.yaml", parts(&["a-four"]));
        spied.git(&["commit", "-qam", "z"]);
        check(&spied, &["a-four"], &["a-three"]);
    }
}

/// The variables of the hook's repository must not apply to another one.
#[test]
fn a_hook_that_checks_another_repository() {
    for (name, commit, linked) in [
        ("plain", &["commit", "-qm", "x"][..], false),
        ("all", &["commit", "-qam", "x"], false),
        ("only", &["commit", "-qm", "x", "a.yaml"], false),
        ("all in a linked worktree", &["commit", "-qam", "x"], true),
    ] {
        for way in ["cd {}; root=.", "root={}"] {
            let mut spied = Spied::new("");
            let other = Sandbox::repository();
            other.small_root("data/");
            other.write("data/other.yaml", parts(&["other"]));
            other.git(&["add", "."]);
            other.git(&["commit", "-qm", "x"]);
            other.write("data/other.yaml", parts(&["not-staged"]));
            spied
                .spy(&spied.sandbox.path_of(".git/hooks/pre-commit"), &way.replace("{}", &word(other.path_of("data"))));
            if linked {
                let linked = spied.sandbox.outside().join("linked");
                spied.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
                spied.folder = linked;
            }
            spied.write("a.yaml", parts(&["a-two"]));
            if commit[1] == "-qm" && commit.len() == 3 {
                spied.git(&["add", "."]);
            }
            spied.git(commit);
            let expected = other.records_in_listing(&other.path(), &other.git(&["ls-files", "-s", "-z"]), "data/");
            assert_eq!(spied.noted_graph("staged"), expected, "{name}, {way}");
        }
    }
}

/// A user may set an index: git resolves a relative path from the top, whatever folder it is started in.
#[test]
fn an_index_of_the_user() {
    at_the_top_and_below(|spied| {
        let absolute = spied.sandbox.outside().join("of the user.index");
        for index in [absolute.to_str().unwrap(), "../beside.index"] {
            let git = |args: &[&str]| {
                let mut command = spied.sandbox.command("git", &spied.folder);
                let output = command.env("GIT_INDEX_FILE", index).args(args).output().unwrap();
                assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
                String::from_utf8(output.stdout).unwrap()
            };
            git(&["read-tree", "HEAD"]);
            spied.write("user.yaml", parts(&["in-the-users-index"]));
            git(&["add", &spied.path_of("user.yaml")]);
            // Directly from the command line, in the project root.
            let root = spied.folder.join(spied.prefix);
            let mut tierod = spied.sandbox.command(TIEROD, &root);
            let output = tierod.env("GIT_INDEX_FILE", index).args(["graph", "--staged", "--format", "json"]).output();
            let seen = records_in_graph(&serde_json::from_slice(&output.unwrap().stdout).unwrap());
            let listing = git(&["ls-files", "-s", "-z"]);
            assert_eq!(seen, spied.sandbox.records_in_listing(&spied.folder, &listing, spied.prefix), "{index}");
            assert!(seen.contains(&format!("{} in-the-users-index", spied.path_of("user.yaml"))));
            // In a hook.
            git(&["commit", "-qm", "from the user's index"]);
            spied.compare(&["in-the-users-index", "a-one"], &[]);
            spied.write("user.yaml", parts(&["second"]));
            git(&["commit", "-qam", "all"]);
            spied.compare(&["second"], &["in-the-users-index"]);
        }
    });
}

/// As for a home folder in git: a repository elsewhere, set with `--git-dir` and `--work-tree`.
#[test]
fn a_repository_separate_from_its_working_tree() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("sub/a.yaml", parts(&["a-one"]));
    let apart = sandbox.outside().join("apart.git");
    let git_dir = format!("--git-dir={}", apart.display());
    let git = |args: &[&str]| sandbox.git(&[&[&git_dir, "--work-tree=."], args].concat());
    git(&["init", "-q", "-b", "main"]);
    git(&["config", "core.bare", "false"]);
    let spied = Spied { folder: sandbox.path(), sandbox, prefix: "" };
    let git = |args: &[&str]| spied.git(&[&[&git_dir, "--work-tree=."], args].concat());
    spied.spy(&apart.join("hooks/pre-commit"), "");
    git(&["add", "."]);
    spied.write("sub/a.yaml", parts(&["a-two"]));
    for args in [&["commit", "-qm", "x"][..], &["commit", "-qam", "y"], &["commit", "-q", "--amend", "-m", "z"]] {
        git(args);
        let committed = git(&["ls-tree", "-r", "HEAD"]);
        let expected: RecordPaths = committed
            .lines()
            .filter_map(|line| line.split_once('\t').filter(|(_, path)| *path != "tierod.yaml"))
            .flat_map(|(meta, path)| {
                let content = git(&["cat-file", "blob", meta.split(' ').nth(2).unwrap()]);
                let ids = crate::support::ids_in_yaml(content.as_bytes());
                ids.into_iter().map(move |id| format!("{path} {id}")).collect::<Vec<_>>()
            })
            .collect();
        assert_eq!(spied.noted_graph("staged"), expected, "{args:?}");
    }
}

/// While a push is received, its objects are in quarantine, and only the variables give their path.
#[test]
fn a_hook_that_receives_a_push() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("car/");
    let bare = sandbox.outside().join("team.git");
    sandbox.git(&["init", "-q", "--bare", "-b", "main", bare.to_str().unwrap()]);
    let notes = sandbox.outside().join("received");
    write_hook(
        &bare.join("hooks/pre-receive"),
        &format!(
            "#!/bin/sh\nread old new ref\nexec {} graph --rev \"$new\" --format json -- car >{} 2>&1\n",
            word(TIEROD),
            word(&notes)
        ),
    );
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "x"]);
    sandbox.git(&["push", "-q", bare.to_str().unwrap(), "main"]);
    let seen = std::fs::read_to_string(notes).unwrap();
    let tree = sandbox.git(&["ls-tree", "-r", "-z", "HEAD"]);
    let expected = sandbox.records_in_listing(&sandbox.path(), &tree, "car/");
    assert_eq!(records_in_graph(&serde_json::from_str(&seen).unwrap_or_else(|_| panic!("{seen}"))), expected);
}
