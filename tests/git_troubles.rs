//! Repositories that git refuses to read, or in which something is missing: the error has a fix.

#![cfg(unix)]
#![allow(clippy::print_stdout, reason = "a test prints why it is skipped")]

use std::path::Path;

use crate::git_shapes::{PREFIXES, Shape, part};
use crate::support::{Sandbox, records_in_graph};

/// A repository of another user: refused, with the command that trusts it by the path that git compares.
#[test]
fn another_owner() {
    for prefix in PREFIXES {
        for init in [&[][..], &["--ref-format=reftable"]] {
            let shape = Shape::new(prefix, init);
            let chown = shape.sandbox.command("chown", &shape.folder).args(["-R", "65534", "."]).output().unwrap();
            if !chown.status.success() {
                println!("skipped: only root can give a repository away");
                return;
            }
            // The sandbox's global configuration is /dev/null; the fix needs one that can be written.
            let config = shape.sandbox.outside().join("home/.gitconfig");
            let run = |program: &str, args: &[&str]| {
                let mut command = shape.sandbox.command(program, &shape.folder);
                command.env_remove("GIT_CONFIG_GLOBAL").args(args).output().unwrap()
            };
            let tierod = env!("CARGO_BIN_EXE_tierod");
            let root = shape.root();
            for options in [&[][..], &["--staged"], &["--rev", "HEAD"]] {
                let _ = std::fs::remove_file(&config);
                let args = [&["graph", "--format", "json"], options, &["--", &root]].concat();
                let refused = run(tierod, &args);
                let said = String::from_utf8(refused.stderr).unwrap();
                assert_eq!(refused.status.code(), Some(2), "{said}");
                let fix = &said[said.find("git config --global").expect("no fix")..];
                assert!(run("sh", &["-c", fix]).status.success(), "{fix}");
                let seen: serde_json::Value = serde_json::from_slice(&run(tierod, &args).stdout).unwrap();
                assert!(records_in_graph(&seen).len() > 5, "{options:?} after the fix");
            }
            // A repository that git trusts only through its environment is trusted, too.
            let _ = std::fs::remove_file(&config);
            let mut command = shape.sandbox.command(tierod, &shape.folder);
            command
                .env("GIT_CONFIG_COUNT", "1")
                .env("GIT_CONFIG_KEY_0", "safe.directory")
                .env("GIT_CONFIG_VALUE_0", "*");
            let output = command.args(["check", "--staged", "--", &root]).output().unwrap();
            assert!(output.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&output.stderr));
        }
    }
}

#[test]
fn a_folder_that_is_not_a_repository() {
    let sandbox = Sandbox::new();
    sandbox.small_root("car/");
    sandbox.tierod(&["check", "car"]).ended(0);
    for state in [&["--staged"][..], &["--rev", "HEAD"]] {
        let refused = sandbox.tierod(&[&["check"], state, &["--", "car"]].concat()).ended(2);
        assert!(refused.err.contains("is not in a git repository"), "{}", refused.err);
        assert!(refused.err.contains("`git init` and commit the records"), "{}", refused.err);
    }
    sandbox.git(&["init", "-q"]);
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "records"]);
    sandbox.tierod(&["check", "--staged", "car"]).ended(0);
    sandbox.tierod(&["check", "--rev", "HEAD", "car"]).ended(0);
}

/// A repository that needs git, without git installed, is an error, and never read as an empty or plain folder.
#[test]
fn without_git_on_the_path() {
    let empty = tempfile::tempdir().unwrap();
    let run = |shape: &Shape, options: &[&str]| {
        let mut command = shape.sandbox.command(env!("CARGO_BIN_EXE_tierod"), &shape.folder);
        command.env("PATH", empty.path()).args([&["check"], options].concat()).output().unwrap()
    };
    for (init, commands, readable) in [
        (&[][..], &[][..], true),
        (&["--ref-format=reftable"], &[], false),
        (&["--object-format=sha256"], &[], false),
        (&[], &[&["update-index", "--split-index"][..]], false),
    ] {
        let shape = Shape::new("", init);
        commands.iter().for_each(|command| drop(shape.git(command)));
        for options in [&[][..], &["--staged"]] {
            let output = run(&shape, options);
            let said = String::from_utf8(output.stderr).unwrap();
            let ended = if readable { output.status.code() < Some(2) } else { output.status.code() == Some(2) };
            assert!(ended, "{init:?} {commands:?} {options:?}: {said}");
            assert!(readable || said.contains("install git"), "{said}");
        }
    }
}

/// Damage is an error, and never read as a folder without records.
#[test]
fn damage() {
    let shape = Shape::new("", &[]);
    shape.sandbox.write(".git/index", "DIRC no index at all");
    for options in [&[][..], &["--staged"]] {
        shape.sandbox.tierod(&[&["check"], options].concat()).ended(2);
    }
    shape.sandbox.tierod(&["check", "--rev", "HEAD"]).ended(0);

    let shape = Shape::new("", &[]);
    let id = shape.git(&["rev-parse", ":deep/c.yaml"]);
    let (folder, rest) = id.trim().split_at(2);
    std::fs::remove_file(shape.sandbox.path_of(&format!(".git/objects/{folder}/{rest}"))).unwrap();
    let missing = |options: &[&str]| {
        let refused = shape.sandbox.tierod(&[&["check"], options].concat()).ended(2);
        assert!(refused.err.contains("an object is missing"), "{}", refused.err);
    };
    missing(&["--rev", "HEAD"]);
    // The working tree has the file, and needs no object. It is also what the index has.
    shape.sandbox.tierod(&["check"]).ended(0);
    shape.sandbox.tierod(&["check", "--staged"]).ended(0);
    std::fs::remove_file(shape.sandbox.path_of("deep/c.yaml")).unwrap();
    missing(&["--staged"]);
}

/// The names of a revision that git accepts, compared with git.
#[test]
fn names_of_revisions() {
    for format in ["files", "reftable"] {
        let shape = Shape::new("car/", &["--ref-format", format]);
        shape.git(&["tag", "light", "HEAD~1"]);
        shape.git(&["tag", "-am", "a tag with a message", "heavy", "HEAD~1"]);
        shape.git(&["branch", "side/branch", "HEAD~1"]);
        // Git prefers the tag if a branch has the same name.
        shape.git(&["branch", "twice", "HEAD"]);
        shape.git(&["tag", "twice", "HEAD~1"]);
        // A name that could be a short hash.
        shape.git(&["branch", "beef", "HEAD~1"]);
        let full = shape.git(&["rev-parse", "HEAD~1"]);
        let names = [
            "HEAD",
            "@",
            "main",
            "HEAD~1",
            "HEAD^",
            "main~1",
            "light",
            "heavy",
            "heavy^{}",
            "side/branch",
            "twice",
            "beef",
            "refs/heads/main",
            "tags/light",
            ":/one",
            "HEAD^{/one}",
            "main@{0}",
            &full[..40],
            &full[..12],
            &full[..7],
        ];
        for name in names {
            assert_eq!(
                shape.seen(&["--rev", name]),
                shape.revision_by_git(shape.git(&["rev-parse", name]).trim()),
                "{name}"
            );
        }
        for name in [
            "missing",
            "--output=x",
            "-h",
            "",
            "HEAD~9",
            "main:car",
            "HEAD:car/a.yaml",
            "main..light",
            "^main",
            "a b",
            "\u{7}",
        ] {
            let refused = shape.sandbox.tierod(&["check", &format!("--rev={name}"), "car"]).ended(2);
            assert!(refused.err.contains("unknown revision"), "{name}: {}", refused.err);
            assert!(refused.err.contains("git log --oneline"), "{name}: {}", refused.err);
        }
        assert!(!shape.sandbox.path_of("x").exists(), "an option went through to git");
    }
}

/// A project root that only a revision has, named by a path that no longer exists.
#[test]
fn a_project_root_that_was_removed_from_the_working_tree() {
    let shape = Shape::new("car/data/", &[]);
    let (head, staged) = (shape.revision_by_git("HEAD"), shape.staged_by_git());
    std::fs::remove_dir_all(shape.sandbox.path_of("car")).unwrap();
    assert_eq!(shape.seen(&["--rev", "HEAD"]), head);
    assert_eq!(shape.seen(&["--staged"]), staged);
    shape.git(&["rm", "-rq", "--cached", "car"]);
    let refused = shape.sandbox.tierod(&["check", "--staged", "car/data"]).ended(2);
    assert!(refused.err.contains("no project"), "{}", refused.err);
    assert_eq!(shape.seen(&["--rev", "HEAD"]), head);
}

/// A folder without read permission is an error, although git skips it with a warning.
#[test]
fn a_folder_that_may_not_be_read() {
    use std::os::unix::fs::PermissionsExt as _;
    use std::os::unix::process::CommandExt as _;
    let mode = |path: &Path, mode| std::fs::set_permissions(path, std::fs::Permissions::from_mode(mode)).unwrap();
    let shape = Shape::new("car/", &[]);
    shape.sandbox.write("car/locked/in/x.yaml", part("locked"));
    shape.sandbox.write("car/ignored/in/x.yaml", part("ignored"));
    shape.sandbox.write(".gitignore", "/car/ignored/\n");
    mode(&shape.sandbox.path_of("car/locked/in"), 0o000);
    mode(&shape.sandbox.path_of("car/ignored/in"), 0o000);
    let mut command = shape.sandbox.command(env!("CARGO_BIN_EXE_tierod"), &shape.folder);
    command.args(["check", "car"]);
    // Root may read everything, so the test runs as another user.
    if std::fs::read_dir(shape.sandbox.path_of("car/locked/in")).is_ok() {
        mode(shape.sandbox.outside(), 0o755);
        let chown =
            shape.sandbox.command("chown", shape.sandbox.outside()).args(["-R", "65534", "."]).status().unwrap();
        assert!(chown.success());
        command.uid(65534);
    }
    let output = command.output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
    mode(&shape.sandbox.path_of("car/locked/in"), 0o755);
    mode(&shape.sandbox.path_of("car/ignored/in"), 0o755);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.contains("car/locked/in") && said.contains("cannot be read"), "{said}");
    assert!(!said.contains("ignored"), "{said}");
}
