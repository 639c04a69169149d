//! Repositories that are made to keep a reader busy: trees of trees, deep folders, pipes that git's files name, and recipes
//! that a link of the change would lead astray.

use std::io::Write as _;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Stdio};

use sha1::{Digest as _, Sha1};

use crate::support::{Answer, Sandbox, timed};

/// A repository with the small project in a commit.
fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "one");
    sandbox
}

/// The id of a tree with these lines.
fn tree(sandbox: &Sandbox, lines: &str) -> String {
    let mut command = sandbox.command("git", &sandbox.path());
    let mut child = command.arg("mktree").stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(lines.as_bytes()).unwrap();
    String::from_utf8(child.wait_with_output().unwrap().stdout).unwrap().trim().to_owned()
}

/// Ten folders that have the same ten folders, and so on: a few objects that expand to ten million files.
#[test]
fn a_tree_of_trees_is_not_expanded() {
    let sandbox = repository();
    let settings = sandbox.git(&["rev-parse", "HEAD:tierod.yaml"]);
    let mut below = tree(&sandbox, &format!("100644 blob {}\tx\n", settings.trim()));
    for _ in 0..7 {
        let lines: String = (0..10).map(|name| format!("040000 tree {below}\td{name}\n")).collect();
        below = tree(&sandbox, &lines);
    }
    let whole = sandbox.git(&["ls-tree", "HEAD"]) + &format!("\n040000 tree {below}\tzz\n");
    let whole = tree(&sandbox, whole.replace("\n\n", "\n").trim_start());
    let bomb = sandbox.git(&["commit-tree", "-p", "HEAD", "-m", "bomb", &whole]).trim().to_owned();
    let after = sandbox.git(&["commit-tree", "-p", &bomb, "-m", "after", "HEAD^{tree}"]);
    sandbox.git(&["update-ref", "HEAD", after.trim()]);
    let answer = timed(&sandbox, &["check", "--rev", &bomb]).expect("an answer");
    assert_eq!(answer.code, 2);
    assert!(answer.err.contains("the repository has too many files or too deep folders"), "{}", answer.err);
    // The records can still be checked without the history.
    assert_ne!(timed(&sandbox, &["check"]).expect("an answer").code, 2);
    let answer = timed(&sandbox, &["history", "circle-time"]).expect("an answer");
    assert!(answer.code == 2 && answer.err.contains("too many files"), "{}", answer.err);
}

#[test]
fn deep_folders_are_not_followed() {
    let sandbox = repository();
    let path = "d/".repeat(150) + "x.yaml";
    let blob = sandbox.git(&["rev-parse", "HEAD:tierod.yaml"]);
    sandbox.git(&["update-index", "--add", "--cacheinfo", &format!("100644,{},{path}", blob.trim())]);
    sandbox.git_on("2027-03-02", &["commit", "-qm", "deep"]);
    for args in [&["check", "--rev", "HEAD"][..], &["delta", "HEAD", "HEAD~1"]] {
        let answer = timed(&sandbox, args).expect("an answer");
        assert!(answer.code == 2 && answer.err.contains("too deep folders"), "{args:?}: {}", answer.err);
    }
}

fn pipe(path: &Path) {
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

/// Files that only git's own files name, in ways that only git reads.
#[test]
fn a_pipe_that_git_would_open_is_found() {
    let include = |sandbox: &Sandbox, text: &str| {
        let config = sandbox.path_of(".git/config");
        let old = std::fs::read_to_string(&config).unwrap();
        std::fs::write(config, format!("{old}{text}")).unwrap();
    };
    type Setup<'s> = &'s dyn Fn(&Sandbox);
    let setups: [(&str, Setup<'_>); 9] = [
        ("an include of an include", &|s| {
            include(s, "[include]\n\tpath = a\n");
            s.write(".git/a", "[include]\n\tpath = b\n");
            pipe(&s.path_of(".git/b"));
        }),
        ("a comment after the path", &|s| {
            include(s, "[include]\n\tpath = a ; x\n");
            pipe(&s.path_of(".git/a"));
        }),
        ("an escape in the path", &|s| {
            include(s, "[include]\n\tpath = \"x\\ty\"\n");
            pipe(&s.path_of(".git/x\ty"));
        }),
        ("core.excludesFile", &|s| {
            s.git(&["config", "core.excludesFile", s.path_of(".git/rules").to_str().unwrap()]);
            pipe(&s.path_of(".git/rules"));
            // Git is asked what its rules ignore only if there is something that it does not track.
            s.write("new.yaml", "parts: {new: {in: x}}\n");
        }),
        ("rules in a folder", &|s| pipe(&s.path_of("below/.gitignore"))),
        ("a shared index", &|s| {
            s.git(&["update-index", "--split-index"]);
            for entry in std::fs::read_dir(s.path_of(".git")).unwrap().flatten() {
                if entry.file_name().to_str().unwrap().starts_with("sharedindex") {
                    std::fs::remove_file(entry.path()).unwrap();
                    pipe(&entry.path());
                }
            }
        }),
        ("the index of all packs", &|s| pipe(&s.path_of(".git/objects/pack/multi-pack-index"))),
        ("a link in place of `.git`", &|s| {
            std::fs::rename(s.path_of(".git"), s.path_of("real")).unwrap();
            s.write("file", "gitdir: real\n");
            symlink("file", s.path_of(".git")).unwrap();
            std::fs::remove_file(s.path_of("real/index")).unwrap();
            pipe(&s.path_of("real/index"));
        }),
        ("objects of objects elsewhere", &|s| {
            let other = s.path_of("other/objects");
            s.write(".git/objects/info/alternates", format!("{}\n", other.display()));
            pipe(&other.join("info/alternates"));
        }),
    ];
    std::thread::scope(|scope| {
        for (name, setup) in setups {
            let sandbox = repository();
            setup(&sandbox);
            scope.spawn(move || {
                for args in [&["check"][..], &["check", "--staged"], &["history", "circle-time"]] {
                    let answer = timed(&sandbox, args).unwrap_or_else(|| panic!("{name}: {args:?} waits"));
                    let found = answer.err.contains("is a pipe or a device");
                    assert!(answer.code != 2 || found, "{name}: {args:?}: {}", answer.err);
                }
                let answer = timed(&sandbox, &["check"]).expect("an answer");
                assert_eq!(answer.code, 2, "{name}: {}", answer.err);
            });
        }
    });
}

/// An object that is cut off: libgit2 looks for its end without an end.
#[test]
fn an_object_that_is_cut_off_is_found() {
    let sandbox = repository();
    for number in 0..8 {
        sandbox.write(&format!("more{number}.yaml"), format!("parts: {{p{number}: {{in: x}}}}\n"));
    }
    sandbox.commit_on("2027-03-02", "two");
    let tree = sandbox.git(&["rev-parse", "HEAD^{tree}"]);
    let (folder, name) = tree.trim().split_at(2);
    let object = sandbox.path_of(&format!(".git/objects/{folder}/{name}"));
    let bytes = std::fs::read(&object).unwrap();
    std::fs::remove_file(&object).unwrap();
    std::fs::write(&object, &bytes[..bytes.len() - 40]).unwrap();
    let answer = timed(&sandbox, &["check", "--rev", "HEAD"]).expect("an answer");
    assert!(answer.code == 2 && answer.err.contains("is cut off"), "{}", answer.err);
}

/// The recipe for any CI writes into the checkout: a committed link must not lead it to another file.
#[test]
fn the_recipes_follow_no_link_of_the_change() {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../templates/ci/tierod-ci.sh");
    for name in ["summary.md", "audit.html", "gl-code-quality-report.json"] {
        let sandbox = repository();
        let victim = sandbox.outside().join("victim");
        std::fs::write(&victim, "precious").unwrap();
        symlink(&victim, sandbox.path_of(name)).unwrap();
        sandbox.commit_on("2027-03-02", "link");
        let bin = sandbox.outside().join("bin");
        std::fs::create_dir_all(&bin).unwrap();
        symlink(env!("CARGO_BIN_EXE_tierod"), bin.join("tierod")).unwrap();
        let path = format!("{}:{}", bin.display(), std::env::var("PATH").unwrap());
        let mut command = sandbox.command("sh", &sandbox.path());
        command.arg(script).env("PATH", path).envs([("TIEROD_BASE", "HEAD~1"), ("TIEROD_AUDIT", "audit.html")]);
        Answer::from_output(&command.envs([("GITLAB_CI", "true")]).output().unwrap()).ended(0);
        assert_eq!(std::fs::read_to_string(&victim).unwrap(), "precious");
        assert!(sandbox.path_of(name).symlink_metadata().unwrap().is_file(), "{name}");
    }
}

/// A page about a change is not rendered by a template that comes with the change, in whatever CI.
#[test]
fn the_audit_of_a_change_has_the_template_of_its_base() {
    let sandbox = repository();
    sandbox.git(&["switch", "-qc", "change"]);
    sandbox.write("templates/audit.html", "the change");
    sandbox.write("templates/audit.md", "the change");
    sandbox.commit_on("2027-03-02", "change");
    let audit = |variable: &str, format: &str| {
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        let output = command.args(["audit", "--format", format]).env(variable, "true").output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    for format in ["html", "markdown"] {
        assert_eq!(audit("NOTHING", format), "the change");
        for ci in ["CI", "TF_BUILD", "TEAMCITY_VERSION", "JENKINS_URL"] {
            assert!(!audit(ci, format).contains("the change"), "{ci}, {format}");
        }
    }
    // Once the base has it, it is the team's.
    sandbox.git(&["switch", "-q", "main"]);
    sandbox.git(&["merge", "-q", "change"]);
    sandbox.write("more.yaml", "");
    sandbox.commit_on("2027-03-03", "after");
    assert_eq!(audit("CI", "html"), "the change");
}

/// `init --ci` writes no file behind a link that somebody committed.
#[test]
fn init_writes_behind_no_link() {
    let sandbox = repository();
    std::fs::create_dir(sandbox.outside().join("other")).unwrap();
    symlink(sandbox.outside().join("other"), sandbox.path_of(".github")).unwrap();
    let error = sandbox.tierod(&["init", "--ci=github"]).ended(2).err;
    assert!(error.contains(".github is a symbolic link"), "{error}");
    assert_eq!(std::fs::read_dir(sandbox.outside().join("other")).unwrap().count(), 0);
}

/// A file name in an error is no command to the runner of a CI.
#[test]
fn errors_command_no_runner() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", "season: 2027\n");
    symlink("x", sandbox.path_of("##[add-mask]a ##vso[task.setvariable]b.yaml")).unwrap();
    sandbox.commit_on("2027-03-01", "one");
    let error = sandbox.tierod(&["check"]).ended(2).err;
    assert!(error.contains("add-mask") && !error.contains("##[") && !error.contains("##vso["), "{error}");
}

/// A loose object as git would write it without compression, whatever its id is.
fn forge(sandbox: &Sandbox, id: &str, content: &str) {
    let bytes = format!("commit {}\0{content}", content.len()).into_bytes();
    let (low, high) = bytes.iter().fold((1_u32, 0_u32), |(low, high), byte| {
        let low = (low + u32::from(*byte)) % 65_521;
        (low, (high + low) % 65_521)
    });
    let length = u16::try_from(bytes.len()).unwrap();
    let stored = [&[0x78, 1, 1][..], &length.to_le_bytes(), &(!length).to_le_bytes(), &bytes].concat();
    let file = format!(".git/objects/{}/{}", &id[..2], &id[2..]);
    let _ = std::fs::remove_file(sandbox.path_of(&file));
    sandbox.write(&file, [&stored[..], &(high << 16 | low).to_be_bytes()].concat());
}

/// Git does not compare the content of each object with its id, so a commit can be made its own ancestor.
#[test]
fn a_commit_that_is_its_own_ancestor() {
    for format in [&["--ref-format=files"][..], &["--ref-format=reftable"]] {
        let sandbox = Sandbox::new();
        sandbox.git(&[&["init", "-q", "-b", "main"], format].concat());
        sandbox.small_root("");
        sandbox.commit_on("2027-01-01", "start");
        let [id, tree] = ["HEAD", "HEAD^{tree}"].map(|name| sandbox.git(&["rev-parse", name]).trim().to_owned());
        for parent in [id.as_str(), "HEAD"] {
            let times = "author A <a@b> 86400 +0000\ncommitter A <a@b> 86400 +0000";
            forge(&sandbox, &id, &format!("tree {tree}\nparent {parent}\n{times}\n\nx\n"));
            for args in
                [&["check", "--since"][..], &["history", "circle-time"], &["audit"], &["delta", "HEAD~1000000000"]]
            {
                let answer = sandbox.tierod(args);
                assert!(matches!(answer.code, 0..=2), "{args:?} {}", answer.err);
                assert!(answer.code != 2 || answer.err.starts_with("error"), "{args:?} {}", answer.err);
            }
        }
    }
}

/// A configuration of many lines, and one that includes others many times: each command of git would read all of it.
#[test]
fn a_large_configuration_is_not_read() {
    let sandbox = repository();
    let before = std::fs::read_to_string(sandbox.path_of(".git/config")).unwrap();
    let fails = |config: &str| {
        sandbox.write(".git/config", format!("{before}{config}"));
        for command in [&["check"][..], &["check", "--staged"], &["delta", "HEAD"], &["hook", "install"]] {
            let answer = sandbox.tierod(command);
            let is_large = answer.err.contains("the configuration of the repository is too large");
            assert_eq!(answer.code == 2, is_large, "{command:?}: {}", answer.err);
            if !is_large {
                return false;
            }
        }
        true
    };
    assert!(!fails(""));
    assert!(fails(&format!("[a]\n{}", "b=c\n".repeat(300_000))));
    sandbox.write(".git/more", "[a]\n".repeat(10_000));
    assert!(!fails("[include]\n\tpath = more\n"));
    assert!(fails(&format!("[include]\n{}", "\tpath = more\n".repeat(40))));
    // A bracket in a name ends no section.
    sandbox.write(".git/more]", "[a]\n".repeat(300_000));
    assert!(fails("[include] path = more]\n"));
}

/// Writes the index with a change of its bytes before the hash at its end.
fn change_index(sandbox: &Sandbox, change: impl Fn(&mut Vec<u8>)) {
    let path = sandbox.path_of(".git/index");
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.truncate(bytes.len() - 20);
    change(&mut bytes);
    let hash = Sha1::digest(&bytes);
    std::fs::write(path, [&bytes[..], &hash].concat()).unwrap();
}

/// The size of a file in the index is what its writer claims: the limit holds for the object.
#[test]
fn a_large_object_with_a_small_size_in_the_index_is_not_read() {
    let sandbox = repository();
    sandbox.write("large.yaml", "# comment\n".repeat(1 << 20));
    sandbox.git(&["add", "."]);
    sandbox.git(&["gc", "-q"]);
    sandbox.write("large.yaml", "# another\n");
    let path = b"large.yaml";
    change_index(&sandbox, |bytes| {
        let place = bytes.windows(path.len()).position(|window| window == path).unwrap();
        // Before the path: the size, the id and the flags.
        bytes[place - 26..place - 22].copy_from_slice(&1_u32.to_be_bytes());
    });
    let listed = sandbox.git(&["ls-files", "--debug", "large.yaml"]);
    assert!(listed.contains("size: 1\t"), "{listed}");
    let out = sandbox.tierod(&["check", "--staged", "--all", "--format", "lines"]).ended(1).out;
    assert!(out.contains("large.yaml") && out.contains("the limit is 8 MiB"), "{out}");
}

/// Folders in folders, without an end, in the list of trees that an index may have: libgit2 reads it by recursion.
#[test]
fn a_deep_list_of_trees_in_the_index_is_read() {
    let sandbox = repository();
    change_index(&sandbox, |bytes| {
        let place = bytes.windows(4).rposition(|window| window == b"TREE").unwrap();
        bytes.truncate(place);
        let mut trees = b"\0-1 1\n".to_vec();
        for _ in 0..300_000 {
            trees.extend(b"a\0-1 1\n");
        }
        trees.extend(b"a\0-1 0\n");
        bytes.extend(b"TREE");
        bytes.extend(u32::try_from(trees.len()).unwrap().to_be_bytes());
        bytes.extend(trees);
    });
    for command in [&["check"][..], &["check", "--staged"], &["set", "hub.title", "Hub", "--dry-run"]] {
        sandbox.tierod(command).ended(0);
    }
}

/// An index of a pack with a place behind the end of the pack: libgit2 would look there.
#[test]
fn an_index_that_leads_behind_its_pack_is_damaged() {
    for (several, elsewhere) in [(false, false), (true, false), (false, true)] {
        let sandbox = repository();
        sandbox.git(&["repack", "-adq"]);
        let mut folder = sandbox.path_of(".git/objects/pack");
        if elsewhere {
            // In a folder of objects that the repository names.
            sandbox.write(".git/objects/info/alternates", "../alt\n");
            std::fs::create_dir(sandbox.path_of(".git/alt")).unwrap();
            std::fs::rename(&folder, sandbox.path_of(".git/alt/pack")).unwrap();
            folder = sandbox.path_of(".git/alt/pack");
        }
        if several {
            sandbox.git(&["multi-pack-index", "write"]);
        }
        let files = std::fs::read_dir(folder).unwrap().flatten();
        let name = if several { "multi-pack-index" } else { ".idx" };
        let path = files.map(|file| file.path()).find(|path| path.to_str().unwrap().ends_with(name)).unwrap();
        let mut bytes = std::fs::read(&path).unwrap();
        let (start, row) = if several {
            let chunk = bytes.windows(4).position(|window| window == b"OOFF").unwrap();
            (usize::try_from(u64::from_be_bytes(bytes[chunk + 4..chunk + 12].try_into().unwrap())).unwrap() + 4, 8)
        } else {
            let count = u32::from_be_bytes(bytes[8 + 1020..8 + 1024].try_into().unwrap());
            (8 + 1024 + 24 * usize::try_from(count).unwrap(), 4)
        };
        for object in 0..3 {
            let place = start + row * object;
            bytes[place..place + 4].copy_from_slice(&0x00b2_0000_u32.to_be_bytes());
        }
        bytes.truncate(bytes.len() - 20);
        let hash = Sha1::digest(&bytes);
        std::fs::remove_file(&path).unwrap();
        std::fs::write(&path, [&bytes[..], &hash].concat()).unwrap();
        for command in [&["check"][..], &["history", "hub"], &["audit"], &["check", "--rev", "HEAD"], &["delta"]] {
            let answer = sandbox.tierod(command);
            assert!(
                (0..=2).contains(&answer.code),
                "{several} {elsewhere} {command:?}: {}\n{}",
                answer.code,
                answer.err
            );
        }
    }
}

/// A folder of hooks that is a link, and a shared folder of git that is another repository's: nothing is written there.
#[test]
fn hooks_outside_of_the_repository_are_not_written() {
    let linked = repository();
    let elsewhere = linked.outside().join("elsewhere");
    std::fs::create_dir(&elsewhere).unwrap();
    std::fs::remove_dir_all(linked.path_of(".git/hooks")).unwrap();
    symlink(&elsewhere, linked.path_of(".git/hooks")).unwrap();
    let shared = repository();
    let other = shared.outside().join("other");
    shared.git(&["init", "-q", other.to_str().unwrap()]);
    let elsewhere_too = other.join(".git/hooks");
    std::fs::remove_dir_all(&elsewhere_too).unwrap();
    std::fs::create_dir(&elsewhere_too).unwrap();
    shared.write(".git/commondir", "../../other/.git\n");
    for (sandbox, folder) in [(&linked, &elsewhere), (&shared, &elsewhere_too)] {
        let error = sandbox.tierod(&["hook", "install"]).ended(2).err;
        assert!(error.contains("the hooks of this repository are outside of it"), "{error}");
        assert!(error.contains("add `--outside` if this is intended"), "{error}");
        assert_eq!(std::fs::read_dir(folder).unwrap().count(), 0);
        let done = sandbox.tierod(&["hook", "install", "--outside"]).ended(0);
        let warned = format!("warning: {} is outside of this repository", folder.canonicalize().unwrap().display());
        assert!(done.out.contains(&warned) || done.err.contains(&warned), "{}{}", done.out, done.err);
    }
}

/// What the repository itself leads to is refused, also where the user's own setting is relative, and by both commands.
#[test]
fn hooks_outside_are_neither_written_nor_removed() {
    let refused = |sandbox: &Sandbox, folder: &Path| {
        for action in ["install", "remove"] {
            // The configuration of the user is the file in the sandbox's home.
            let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
            let output = command.env_remove("GIT_CONFIG_GLOBAL").args(["hook", action]).output().unwrap();
            let error = Answer::from_output(&output).ended(2).err;
            assert!(error.contains("the hooks of this repository are outside of it"), "{action}: {error}");
        }
        assert!(!folder.exists() || std::fs::read_dir(folder).unwrap().count() == 0, "{}", folder.display());
    };
    // A folder that is not there, and steps back from it.
    let back = repository();
    for path in [".git/missing/../../../outside", "missing/../../outside"] {
        back.git(&["config", "core.hooksPath", path]);
        refused(&back, &back.outside().join("outside"));
        assert!(!back.path_of("missing").exists());
    }
    // A link of the repository in the place that the user names for all of them.
    let linked = repository();
    let other = linked.outside().join("other");
    std::fs::create_dir(&other).unwrap();
    symlink(&other, linked.path_of(".githooks")).unwrap();
    let home = linked.outside().join("home");
    std::fs::create_dir_all(&home).unwrap();
    std::fs::write(home.join(".gitconfig"), "[core]\n\thooksPath = .githooks\n").unwrap();
    refused(&linked, &other);
    // A file in place of git's folder that leads to another repository, and a link.
    for is_file in [true, false] {
        let copied = repository();
        let victim = copied.outside().join("victim");
        copied.git(&["init", "-q", victim.to_str().unwrap()]);
        let hooks = victim.join(".git/hooks");
        std::fs::remove_dir_all(&hooks).unwrap();
        std::fs::remove_dir_all(copied.path_of(".git")).unwrap();
        if is_file {
            copied.write(".git", format!("gitdir: {}\n", victim.join(".git").display()));
        } else {
            symlink(victim.join(".git"), copied.path_of(".git")).unwrap();
        }
        refused(&copied, &hooks);
    }
    // The hooks of another repository stay.
    let own = repository();
    own.tierod(&["hook", "install"]).ended(0);
    let hook = own.path_of(".git/hooks/pre-commit");
    let stranger = repository();
    stranger.git(&["config", "core.hooksPath", hook.parent().unwrap().to_str().unwrap()]);
    stranger.tierod(&["hook", "remove"]).ended(2);
    assert!(hook.exists());
    stranger.tierod(&["hook", "remove", "--outside"]).ended(0);
    assert!(!hook.exists());
}

/// A working tree that the repository's own configuration leads to: it is outside, with all that is in it.
#[test]
fn nothing_is_written_into_a_working_tree_elsewhere() {
    let sandbox = repository();
    let other = sandbox.outside().join("other");
    std::fs::create_dir(&other).unwrap();
    for (tree, hooks) in [("/", other.to_str().unwrap()), ("../..", "other"), ("../..", "work/../other")] {
        sandbox.git(&["config", "core.worktree", tree]);
        sandbox.git(&["config", "core.hooksPath", hooks]);
        for args in [&["hook", "install"][..], &["hook", "remove"]] {
            let error = sandbox.tierod(args).ended(2).err;
            assert!(error.contains("the hooks of this repository are outside of it"), "{tree} {args:?}: {error}");
        }
        let error = sandbox.tierod(&["init", "--ci=shell"]).ended(2).err;
        assert!(error.contains("core.worktree of the repository leads elsewhere"), "{error}");
        assert_eq!(std::fs::read_dir(&other).unwrap().count(), 0);
        assert!(!sandbox.outside().join("tierod-ci.sh").exists());
    }
    // Its own hooks are where they were, and a tree that the user names is used.
    sandbox.git(&["config", "--unset", "core.hooksPath"]);
    sandbox.tierod(&["hook", "install"]).ended(0);
    assert!(sandbox.path_of(".git/hooks/pre-commit").exists());
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), sandbox.outside());
    command.env("GIT_WORK_TREE", sandbox.outside()).env("GIT_DIR", sandbox.path_of(".git"));
    Answer::from_output(&command.args(["init", "--ci=shell"]).output().unwrap()).ended(0);
    assert!(sandbox.outside().join("tierod-ci.sh").exists());
}
