//! Files that git ignores are skipped in the working tree, with git as the reference.

#![cfg(unix)]

use std::collections::BTreeSet;

use crate::git_shapes::part;
use crate::support::{Sandbox, records_in_graph};

/// The record files that git would track below a prefix: tracked and existing, or not ignored.
fn not_ignored(sandbox: &Sandbox, prefix: &str) -> BTreeSet<String> {
    let listed = sandbox.git(&["ls-files", "-co", "--exclude-standard", "-z"]);
    let record = |path: &&str| path.starts_with(prefix) && path.ends_with(".yaml") && !path.ends_with("tierod.yaml");
    listed.split('\0').filter(record).filter(|path| sandbox.path_of(path).is_file()).map(str::to_owned).collect()
}

/// The record files that tierod reads: each has one part.
fn read_files(sandbox: &Sandbox, prefix: &str) -> BTreeSet<String> {
    let answer = sandbox.tierod(&["graph", "--format", "json", "--", &format!("./{prefix}")]).ended(0);
    records_in_graph(&answer.json()).iter().map(|place| place.rsplit_once(' ').unwrap().0.to_owned()).collect()
}

/// One set of rules: files with rules, and the record files next to them, all below the project root.
struct Rules {
    name: &'static str,
    rules: &'static [(&'static str, &'static str)],
    files: &'static [&'static str],
}

const RULES: &[Rules] = &[
    Rules {
        name: "at several depths",
        rules: &[(".gitignore", "*.tmp.yaml\n/only-top.yaml\n"), ("deep/.gitignore", "b.yaml\n/down/c.yaml\n")],
        files: &[
            "a.yaml",
            "a.tmp.yaml",
            "only-top.yaml",
            "deep/only-top.yaml",
            "deep/b.yaml",
            "deep/down/b.yaml",
            "deep/down/c.yaml",
            "deep/down/under/c.yaml",
            "b.yaml",
        ],
    },
    Rules {
        name: "negations",
        rules: &[
            (".gitignore", "*.yaml\n!tierod.yaml\n!chain.yaml\n!keep*.yaml\nkeep-not.yaml\n"),
            ("deep/.gitignore", "!back.yaml\n"),
        ],
        files: &[
            "a.yaml",
            "keep-1.yaml",
            "keep-not.yaml",
            "deep/back.yaml",
            "deep/a.yaml",
            "deep/keep-2.yaml",
            "deep/down/back.yaml",
        ],
    },
    Rules {
        // Git never reads an ignored folder, so no rule can include a file in it again.
        name: "negations below an ignored folder",
        rules: &[(".gitignore", "out/\n!out/keep.yaml\nother/*\n!other/keep.yaml\n"), ("out/.gitignore", "!*\n")],
        files: &[
            "out/keep.yaml",
            "out/a.yaml",
            "out/deep/a.yaml",
            "other/keep.yaml",
            "other/a.yaml",
            "other/deep/a.yaml",
        ],
    },
    Rules {
        name: "folders, files and wildcards",
        rules: &[
            (
                ".gitignore",
                "name/\n**/mid/**/end.yaml\nlead/**\n!lead/\n# a comment.yaml\n\\#hash.yaml\n[xy].yaml\n?.q.yaml\nsp ace.yaml  \ntrail\\ .yaml\n",
            ),
            ("win/.gitignore", "crlf.yaml\r\n"),
        ],
        files: &[
            "name/a.yaml",
            "deep/name/a.yaml",
            "name.yaml",
            "mid/end.yaml",
            "a/mid/b/c/end.yaml",
            "a/end.yaml",
            "lead/a.yaml",
            "lead/deep/a.yaml",
            "# a comment.yaml",
            "#hash.yaml",
            "x.yaml",
            "z.yaml",
            "a.q.yaml",
            "ab.q.yaml",
            "sp ace.yaml",
            "trail .yaml",
            "win/crlf.yaml",
            "win/lf.yaml",
        ],
    },
    Rules {
        // A rule for folders does not apply to a file of that name.
        name: "a rule for folders and a file of the same name",
        rules: &[(".gitignore", "build.yaml/\n")],
        files: &["build.yaml", "deep/build.yaml/a.yaml"],
    },
    Rules {
        name: "anchored in a subfolder",
        rules: &[("deep/.gitignore", "/a.yaml\ndown/b.yaml\n**/c.yaml\n")],
        files: &[
            "a.yaml",
            "deep/a.yaml",
            "deep/down/a.yaml",
            "deep/down/b.yaml",
            "deep/x/down/b.yaml",
            "deep/c.yaml",
            "deep/x/c.yaml",
            "c.yaml",
        ],
    },
    Rules {
        name: "everything but folders and some",
        rules: &[(".gitignore", "/*\n!/deep\n/deep/*\n!/deep/keep\n")],
        files: &["a.yaml", "deep/a.yaml", "deep/keep/a.yaml", "deep/keep/down/b.yaml", "other/a.yaml"],
    },
    Rules {
        name: "umlauts",
        rules: &[(".gitignore", "/Querträger/\nü*.yaml\n")],
        files: &["Querträger/a.yaml", "deep/Querträger/a.yaml", "übung.yaml", "ubung.yaml"],
    },
];

/// Each set of rules, with the project root at the top and below it, read by libgit2 and by git.
#[test]
fn ignore_rules() {
    let mut wrong = Vec::new();
    for rules in RULES {
        for (prefix, format) in [("", "files"), ("car/data/", "files"), ("car/data/", "reftable")] {
            let sandbox = Sandbox::new();
            sandbox.git(&["init", "-q", "-b", "main", "--ref-format", format]);
            sandbox.small_root(prefix);
            for (number, file) in rules.files.iter().enumerate() {
                sandbox.write(&format!("{prefix}{file}"), part(&format!("p-{number}")));
            }
            for (file, text) in rules.rules {
                sandbox.write(&format!("{prefix}{file}"), text);
            }
            // A rule from above the project root applies in it.
            if !prefix.is_empty() {
                sandbox.write(".gitignore", "*.above.yaml\n");
                sandbox.write(&format!("{prefix}x.above.yaml"), part("above"));
            }
            let expected = not_ignored(&sandbox, prefix);
            let seen = read_files(&sandbox, prefix);
            if seen != expected {
                let more: Vec<_> = seen.difference(&expected).collect();
                let less: Vec<_> = expected.difference(&seen).collect();
                wrong.push(format!("{} ({format}, `{prefix}`): read besides {more:?}, not read {less:?}", rules.name));
            }
            // Tracked files are read, whatever the rules are.
            sandbox.git(&["add", "-f", "."]);
            assert_eq!(read_files(&sandbox, prefix), not_ignored(&sandbox, prefix), "{}, all tracked", rules.name);
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Rules that are not in `.gitignore`.
#[test]
fn ignore_rules_from_elsewhere() {
    for format in ["files", "reftable"] {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main", "--ref-format", format]);
        sandbox.small_root("car/");
        for (number, name) in ["info", "local", "global", "command", "free"].iter().enumerate() {
            sandbox.write(&format!("car/{name}.yaml"), part(&format!("p-{number}")));
        }
        sandbox.write(".git/info/exclude", "info.yaml\n");
        let read = |sandbox: &Sandbox| read_files(sandbox, "car/");
        assert_eq!(read(&sandbox), not_ignored(&sandbox, "car/"), "info/exclude");
        std::fs::write(sandbox.outside().join("local"), "local.yaml\n").unwrap();
        sandbox.git(&["config", "core.excludesFile", sandbox.outside().join("local").to_str().unwrap()]);
        assert_eq!(read(&sandbox), not_ignored(&sandbox, "car/"), "core.excludesFile");
        assert!(!read(&sandbox).contains("car/local.yaml"));
        sandbox.git(&["config", "--unset", "core.excludesFile"]);

        // The user's rules: from `GIT_CONFIG_GLOBAL`, from the home folder, and from the environment.
        let rules = sandbox.outside().join("rules");
        std::fs::write(&rules, "global.yaml\n").unwrap();
        let config = format!("[core]\n\texcludesFile = {}\n", rules.display());
        let elsewhere = sandbox.outside().join("config");
        std::fs::write(&elsewhere, &config).unwrap();
        let home = sandbox.outside().join("home");
        let value = rules.to_str().unwrap();
        type Set<'a> = &'a [(&'a str, Option<&'a str>)];
        let ways: [(&str, Set<'_>); 4] = [
            ("GIT_CONFIG_GLOBAL", &[("GIT_CONFIG_GLOBAL", elsewhere.to_str())]),
            ("~/.gitconfig", &[("GIT_CONFIG_GLOBAL", None)]),
            ("~/.config/git/ignore", &[("GIT_CONFIG_GLOBAL", None)]),
            (
                "GIT_CONFIG_COUNT",
                &[
                    ("GIT_CONFIG_COUNT", Some("1")),
                    ("GIT_CONFIG_KEY_0", Some("core.excludesFile")),
                    ("GIT_CONFIG_VALUE_0", Some(value)),
                ],
            ),
        ];
        for (name, set) in ways {
            let _ = std::fs::remove_file(home.join(".gitconfig"));
            let _ = std::fs::remove_dir_all(home.join(".config"));
            match name {
                "~/.gitconfig" => std::fs::write(home.join(".gitconfig"), &config).unwrap(),
                "~/.config/git/ignore" => {
                    std::fs::create_dir_all(home.join(".config/git")).unwrap();
                    std::fs::write(home.join(".config/git/ignore"), "global.yaml\n").unwrap();
                }
                _ => {}
            }
            let run = |program: &str, args: &[&str]| {
                let mut command = sandbox.command(program, &sandbox.path());
                for (key, value) in set {
                    match value {
                        Some(value) => command.env(key, value),
                        None => command.env_remove(key),
                    };
                }
                String::from_utf8(command.args(args).output().unwrap().stdout).unwrap()
            };
            let listed = run("git", &["ls-files", "-co", "--exclude-standard"]);
            assert!(!listed.contains("global.yaml"), "git has to ignore it by {name}");
            let graph = run(env!("CARGO_BIN_EXE_tierod"), &["graph", "--format", "json", "car"]);
            let seen = records_in_graph(&serde_json::from_str(&graph).unwrap());
            assert!(!seen.iter().any(|place| place.starts_with("car/global.yaml")), "{name}, {format}: {seen:?}");
            assert!(seen.iter().any(|place| place.starts_with("car/free.yaml")), "{name}, {format}: {seen:?}");
        }
    }
}

/// A tracked file is read although a rule matches it or its folder; an untracked one next to it is not.
#[test]
fn tracked_files_that_rules_match() {
    for (prefix, format) in [("", "files"), ("car/", "files"), ("car/", "reftable")] {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main", "--ref-format", format]);
        sandbox.small_root(prefix);
        let at = |path: &str| format!("{prefix}{path}");
        sandbox.write(&at(".gitignore"), "*.gen.yaml\nout/\n");
        sandbox.write(&at("tracked.gen.yaml"), part("tracked-file"));
        sandbox.write(&at("loose.gen.yaml"), part("loose-file"));
        sandbox.write(&at("out/deep/tracked.yaml"), part("tracked-in-folder"));
        sandbox.write(&at("out/deep/loose.yaml"), part("loose-in-folder"));
        sandbox.write(&at("out/other/loose.yaml"), part("loose-elsewhere"));
        sandbox.git(&["add", "-f", &at("tracked.gen.yaml"), &at("out/deep/tracked.yaml")]);
        let seen = read_files(&sandbox, prefix);
        assert_eq!(seen, not_ignored(&sandbox, prefix));
        let expected = [at("chain.yaml"), at("out/deep/tracked.yaml"), at("tracked.gen.yaml")];
        assert_eq!(seen.into_iter().collect::<Vec<_>>(), expected);
    }
}

/// A project root in an ignored folder is read if it is named.
#[test]
fn an_ignored_project_root_is_read() {
    for format in ["files", "reftable"] {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main", "--ref-format", format]);
        sandbox.small_root("private/car/");
        sandbox.write("private/car/a.yaml", part("private"));
        sandbox.write(".gitignore", "private/\n");
        let seen = read_files(&sandbox, "private/car/");
        assert!(seen.contains("private/car/a.yaml") && seen.contains("private/car/chain.yaml"), "{seen:?}");
        let staged = sandbox.tierod(&["check", "--staged", "private/car"]).ended(2);
        assert!(staged.err.contains("no project"), "{}", staged.err);
    }
}

/// Another project root and another repository below the project root keep their records.
#[test]
fn nested_roots_and_repositories() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("a.yaml", part("own"));
    sandbox.small_root("season/2026/");
    sandbox.write("season/2026/deep/b.yaml", part("last-season"));
    sandbox.write("season/c.yaml", part("own-too"));
    let nested = sandbox.path_of("vendor/other");
    std::fs::create_dir_all(&nested).unwrap();
    sandbox.git_in(&nested, &["init", "-q"]);
    sandbox.write("vendor/other/d.yaml", part("other-repository"));
    sandbox.write("vendor/e.yaml", part("own-three"));
    let own: BTreeSet<String> = ["a.yaml", "chain.yaml", "season/c.yaml", "vendor/e.yaml"].map(str::to_owned).into();
    assert_eq!(read_files(&sandbox, ""), own);
    sandbox.git(&["add", "a.yaml", "chain.yaml", "tierod.yaml", "season", "vendor/e.yaml"]);
    let staged = sandbox.tierod(&["graph", "--staged", "--format", "json"]).ended(0);
    let files =
        records_in_graph(&staged.json()).iter().map(|place| place.split(' ').next().unwrap().to_owned()).collect();
    assert_eq!(own, files, "the index");
}

/// Git is asked what it ignores only if there is something that it does not track.
#[test]
fn git_is_asked_only_about_what_it_does_not_track() {
    use std::os::unix::fs::PermissionsExt as _;
    let sandbox = Sandbox::repository();
    sandbox.small_root("car/");
    sandbox.write("car/deep/a.yaml", part("a-one"));
    sandbox.write("car/drawing.txt", "not a record file");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "one"]);
    // A git that writes down what it is asked, and asks the real one.
    let (bin, log) = (sandbox.outside().join("bin"), sandbox.outside().join("log"));
    let path = std::env::var("PATH").unwrap();
    std::fs::create_dir_all(&bin).unwrap();
    let script = format!("#!/bin/sh\necho \"$@\" >> '{}'\nPATH='{path}' exec git \"$@\"\n", log.display());
    std::fs::write(bin.join("git"), script).unwrap();
    std::fs::set_permissions(bin.join("git"), std::fs::Permissions::from_mode(0o755)).unwrap();
    let read = || {
        let _ = std::fs::remove_file(&log);
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        command.args(["graph", "--format", "json", "car"]).env("PATH", format!("{}:{path}", bin.display()));
        let answer = crate::support::Answer::from_output(&command.output().unwrap()).ended(0);
        let found = records_in_graph(&answer.json());
        let files: BTreeSet<String> = found.iter().map(|place| place.rsplit_once(' ').unwrap().0.to_owned()).collect();
        assert_eq!(files, read_files(&sandbox, "car/"));
        let asked = std::fs::read_to_string(&log).unwrap_or_default().contains("ls-files");
        (asked, files.contains("deep/b.yaml") || files.contains("car/deep/b.yaml"))
    };
    assert_eq!(read(), (false, false), "all is tracked");
    sandbox.write("car/deep/a.yaml", part("a-two"));
    sandbox.write("car/notes.txt", "no record file, and not tracked");
    sandbox.write("notes/b.yaml", part("outside"));
    assert_eq!(read(), (false, false), "what could be ignored is no record file, or outside of the project root");
    sandbox.write("car/deep/b.yaml", part("b-one"));
    assert_eq!(read(), (true, true), "a file that is not tracked");
    sandbox.write(".gitignore", "b.yaml\n");
    assert_eq!(read(), (true, false), "one that is ignored");
    sandbox.git(&["add", "-f", "car/deep/b.yaml"]);
    assert_eq!(read(), (false, true), "a tracked file is never ignored");
    sandbox.git(&["rm", "-q", "--cached", "car/deep/b.yaml"]);
    std::fs::remove_file(sandbox.path_of("car/deep/b.yaml")).unwrap();
    sandbox.write("car/built/c.yaml", part("c-one"));
    assert_eq!(read(), (true, false), "a folder with nothing that is tracked");
}

/// A pattern that can match a path in very many ways, and a path that it does not match.
#[test]
fn patterns_that_take_too_long_are_an_error() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "one"]);
    sandbox.write(".gitignore", format!("{}{}b\n", "**/".repeat(20), "*a".repeat(20)));
    sandbox.tierod(&["graph"]).ended(0);
    let path = format!("{}{}.yaml", "a/".repeat(40), "a".repeat(100));
    sandbox.write(&path, part("a-one"));
    // With git's command, and without: libgit2 compares in the same way.
    let with_git = std::env::var("PATH").unwrap();
    for path in [with_git.into(), sandbox.path_of("none")] {
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        let output = command.arg("check").env("PATH", &path).output().unwrap();
        let error = crate::support::Answer::from_output(&output).ended(2).err;
        assert!(error.contains("`.gitignore` takes too long") && error.contains("git add --force"), "{error}");
        #[cfg(target_os = "linux")]
        for process in std::fs::read_dir("/proc").unwrap().flatten() {
            let folder = std::fs::read_link(process.path().join("cwd")).unwrap_or_default();
            assert!(!folder.starts_with(sandbox.path()), "{} still runs", process.path().display());
        }
    }
    sandbox.git(&["add", "--force", &path]);
    sandbox.tierod(&["graph"]).ended(0);
}
