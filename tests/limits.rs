//! Limits of a whole command, caches that somebody else wrote, and what ends a command that would wait for ever.

use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::Path;
use std::process::Command;

use crate::hostile::run;
use crate::support::{Answer, Sandbox, timed};

/// Seven calls of a model with long tables in each state, all of which count with their work, and fail at once: a grip below zero
/// is no input.
fn laps(mass: usize) -> String {
    let call = |number: usize| {
        format!(
            "  l{number}: {{model: lap, evidence: [track.csv], finds: t{number}, given: {{track: track.csv, \
             engine-curve: curve.csv, gears: [3, 2], redline: 1200 rad/s, wheel-radius: 0.2 m, final-drive: 3, \
             mass: {mass}.{number} kg ± 3 kg, grip: -1}}}}\n"
        )
    };
    let targets: String = (0..7).map(|number| format!("  t{number}: {{of: car, at-most: 99 s}}\n")).collect();
    format!("targets:\n{targets}analyses:\n{}", (0..7).map(call).collect::<String>())
}

fn with_tables() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("track.csv", format!("length,curvature\n{}", "1,0.01\n".repeat(5_000)));
    sandbox.write("curve.csv", "shaft-speed,power\n100,20000\n1000,30000\n");
    sandbox
}

/// What is calculated for the past states of a command is bounded over all of them, the same with and without a cache.
#[test]
fn the_models_of_a_history_have_one_budget() {
    let sandbox = with_tables();
    for number in 0..8 {
        sandbox.write("laps.yaml", laps(280 + number));
        sandbox.commit_on(&format!("2027-02-{:02}", number + 1), "Change a mass");
    }
    let audit = || sandbox.tierod(&["audit", "--format", "json"]);
    let first = audit().json();
    let note = first["history"]["note"].as_str().unwrap();
    assert!(note.contains("commits are not evaluated: the models need too much work"), "{note}");
    let points = first["timeline"].as_array().unwrap().len();
    assert!((3..7).contains(&points), "{points}");
    assert_eq!(audit().json(), first, "from the cache");
    let history = || sandbox.tierod(&["history", "circle-time", "--format", "json"]).ended(0);
    let shown = history().json();
    assert_eq!(shown["values"].as_array().unwrap().len(), points);
    assert!(shown["note"].as_str().unwrap().contains("too much work"), "{shown}");
    std::fs::remove_dir_all(sandbox.path_of(".git/tierod")).unwrap();
    assert_eq!(history().json(), shown, "without a cache");
    let text = sandbox.tierod(&["history", "circle-time"]).ended(0).out;
    assert!(text.contains("commits are not evaluated"), "{text}");
}

/// A run that many states have counts once.
#[test]
fn equal_runs_of_a_history_count_once() {
    let sandbox = with_tables();
    sandbox.write("laps.yaml", laps(280));
    for number in 0..12 {
        sandbox.write("more.yaml", format!("parts: {{p{number}: {{in: suspension}}}}\n"));
        sandbox.commit_on(&format!("2027-02-{:02}", number + 1), "Change a part");
    }
    let audit = sandbox.tierod(&["audit", "--format", "json"]).json();
    assert_eq!(
        (&audit["history"]["note"], audit["timeline"].as_array().unwrap().len()),
        (&serde_json::Value::Null, 12)
    );
}

#[test]
fn the_models_of_alternatives_have_one_budget() {
    let sandbox = with_tables();
    sandbox.write("laps.yaml", laps(280));
    let alternative = |number: usize| {
        let sets: Vec<String> = (0..7).map(|call| format!("l{call}.mass: {}.{number} kg", 290 + call)).collect();
        format!("      a{number}: {{sets: {{{}}}}}\n", sets.join(", "))
    };
    let all: String = (0..6).map(alternative).collect();
    sandbox
        .write("decision.yaml", format!("decisions:\n  mass:\n    criteria: [circle-time]\n    alternatives:\n{all}"));
    let answer = sandbox.tierod(&["compare", "mass"]);
    assert!(answer.out.contains("it is not evaluated: the models need too much work"), "{}{}", answer.out, answer.err);
}

/// A cache of a copied folder of git: what another user wrote is not read, and nothing else depends on a key.
#[test]
fn a_cache_of_another_user_is_not_believed() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-02-01", "one");
    let as_user = |name: &str, set: &[(&str, &Path)]| {
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        command.args(["check", "--format", "json"]).env("HOME", sandbox.outside().join(name));
        Answer::from_output(&command.envs(set.iter().copied()).output().unwrap()).ended(0).out
    };
    for name in ["one", "other", "full"] {
        std::fs::create_dir(sandbox.outside().join(name)).unwrap();
    }
    let file = || {
        let files = std::fs::read_dir(sandbox.path_of(".git/tierod")).unwrap().map(|entry| entry.unwrap().path());
        let file = files.into_iter().find(|path| path.to_str().unwrap().contains("/records-")).unwrap();
        std::fs::read(file).unwrap()
    };
    let expected = as_user("one", &[]);
    let own = file();
    assert_eq!(as_user("one", &[]), expected);
    assert!(file() == own, "read, and not written again");
    let key = sandbox.outside().join("one/.local/state/tierod/key");
    assert_eq!(key.metadata().unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(as_user("other", &[]), expected);
    assert!(file() != own, "written again");
    // A place of its own, and none at all.
    let state = sandbox.outside().join("state");
    assert_eq!(as_user("one", &[("XDG_STATE_HOME", &state)]), expected);
    assert!(state.join("tierod/key").is_file());
    let before = file();
    let full = sandbox.outside().join("full");
    std::fs::write(full.join(".local"), "a file").unwrap();
    for (name, home) in [("full", "full"), ("missing", "../../none\0"), ("empty", "")] {
        let home = if home.ends_with('\0') { "relative" } else { home };
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        let home = if home == "full" { full.to_str().unwrap() } else { home };
        let output = command.args(["check", "--format", "json"]).env("HOME", home).output().unwrap();
        assert_eq!(Answer::from_output(&output).ended(0).out, expected, "{name}");
        assert!(file() == before, "{name}: neither read nor written");
    }
}

/// Many names of one content: it is read once, counts each time, and the rest is reported.
#[test]
fn one_content_under_many_names_is_bounded() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    // Nearly 8 MiB, most of it a comment, so that reading it is quick.
    sandbox.write("big.yaml", format!("parts: {{p: {{in: suspension}}}}\n# {}\n", "x".repeat(8_000_000)));
    sandbox.git(&["add", "-A"]);
    let blob = sandbox.git(&["rev-parse", ":big.yaml"]);
    for number in 0..40 {
        let entry = format!("100644,{},copy{number}.yaml", blob.trim());
        sandbox.git(&["update-index", "--add", "--cacheinfo", &entry]);
    }
    sandbox.git_on("2027-03-02", &["commit", "-qm", "copies"]);
    let found = run(&sandbox, &["check", "--rev", "HEAD", "--format", "json"]);
    assert!(found.answer.out.contains("MiB together"));
    assert!(found.peak.is_none_or(|peak| peak < 500 * 1024), "{:?} KiB", found.peak);
}

/// A commit with a message that no person wrote is not read, by neither reader.
#[test]
fn a_large_commit_is_not_read() {
    for format in ["--object-format=sha1", "--object-format=sha256"] {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main", format]);
        sandbox.small_root("");
        sandbox.commit_on("2027-03-01", "one");
        sandbox.write("../message", "x".repeat(60 << 20));
        let large = sandbox.git(&["commit-tree", "-p", "HEAD", "-F", "../message", "HEAD^{tree}"]);
        sandbox.git(&["update-ref", "HEAD", large.trim()]);
        sandbox.git(&["tag", "big"]);
        for revision in ["HEAD", "main", "big", "HEAD~0", large.trim(), &large[..12]] {
            let found = run(&sandbox, &["check", "--rev", revision]);
            assert!(
                found.answer.code == 2 && found.answer.err.contains("too large"),
                "{revision}: {}",
                found.answer.err
            );
            assert!(found.peak.is_none_or(|peak| peak < 100 * 1024), "{format} {revision}: {:?} KiB", found.peak);
        }
        let found = run(&sandbox, &["check"]);
        assert!(found.answer.out.contains("too large"), "{}{}", found.answer.out, found.answer.err);
        assert!(found.peak.is_none_or(|peak| peak < 100 * 1024), "{format}: {:?} KiB", found.peak);
    }
}

fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "one");
    sandbox
}

fn pipe(path: &Path) {
    let _ = std::fs::remove_file(path);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

#[track_caller]
fn finds_the_pipe(sandbox: &Sandbox, args: &[&str]) {
    let answer = timed(sandbox, args).unwrap_or_else(|| panic!("{args:?} waits"));
    assert!(answer.code == 2 && answer.err.contains("is a pipe or a device"), "{args:?}: {}", answer.err);
}

#[test]
fn a_pipe_in_a_nested_repository_is_found() {
    let sandbox = repository();
    sandbox.write("sub/.git/objects/x", "");
    sandbox.write("sub/.git/refs/x", "");
    sandbox.write("sub/a.yaml", "x\n");
    pipe(&sandbox.path_of("sub/.git/HEAD"));
    finds_the_pipe(&sandbox, &["check"]);
    // One whose folder of git is elsewhere.
    std::fs::rename(sandbox.path_of("sub/.git"), sandbox.outside().join("elsewhere")).unwrap();
    sandbox.write("sub/.git", format!("gitdir: {}\n", sandbox.outside().join("elsewhere").display()));
    finds_the_pipe(&sandbox, &["check"]);
}

/// A repository that libgit2 does not read.
fn read_by_git() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.git(&["init", "-q", "-b", "main", "--object-format=sha256"]);
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "one");
    sandbox
}

/// Files that git opens by a name in quotes, or from the top of the working tree.
#[test]
fn a_pipe_that_only_git_opens_is_found() {
    let quoted = read_by_git();
    quoted.write(".git/objects/info/alternates", "# none\n\"../../\\141lt\"\n");
    pipe(&quoted.path_of("alt/info/alternates"));
    for args in [&["check"][..], &["delta", "HEAD"], &["history", "hub"]] {
        finds_the_pipe(&quoted, args);
    }
    let authors = read_by_git();
    pipe(&authors.path_of(".mailmap"));
    finds_the_pipe(&authors, &["check", "--rev", "HEAD@{0}"]);
    let rules = repository();
    rules.git(&["config", "core.excludesFile", "rules"]);
    pipe(&rules.path_of("rules"));
    rules.write("new.yaml", "parts: {new: {in: x}}\n");
    finds_the_pipe(&rules, &["check"]);
}

/// What no search finds: git is ended when it does nothing but wait.
#[cfg(target_os = "linux")]
#[test]
fn git_that_only_waits_is_ended() {
    let named = "~root/../proc/self/cwd/pipe";
    let ends = |section: &str, key: &str, args: &[&str]| {
        let sandbox = repository();
        pipe(&sandbox.path_of("pipe"));
        sandbox.write("new.yaml", "parts: {new: {in: x}}\n");
        let config = std::fs::read_to_string(sandbox.path_of(".git/config")).unwrap();
        sandbox.write(".git/config", format!("{config}[{section}]\n\t{key} = {named}\n"));
        let start = std::time::Instant::now();
        let answer = timed(&sandbox, args).unwrap_or_else(|| panic!("{args:?} waits"));
        assert!(answer.code == 2 && answer.err.contains("git waits without an end"), "{args:?}: {}", answer.err);
        assert!(start.elapsed().as_secs() < 20, "{args:?}: {:?}", start.elapsed());
    };
    ends("include", "path", &["hook", "install"]);
    ends("core", "excludesFile", &["check"]);
}

/// Links to the same large folder again and again, which are looked at before the pipe by their names.
#[test]
fn a_pipe_behind_many_links_is_found() {
    let sandbox = repository();
    let large = sandbox.outside().join("large");
    std::fs::create_dir(&large).unwrap();
    for number in 0..3_000 {
        std::fs::write(large.join(number.to_string()), "").unwrap();
    }
    for number in 0..200 {
        symlink(&large, sandbox.path_of(&format!(".git/a{number}"))).unwrap();
        symlink(&large, sandbox.path_of(&format!(".git/info/a{number}"))).unwrap();
    }
    pipe(&sandbox.path_of(".git/info/exclude"));
    // Git reads its rules only for files that it does not track.
    sandbox.write("new.yaml", "parts: {new: {in: x}}\n");
    finds_the_pipe(&sandbox, &["check"]);
}

/// Behind a link to the object.
#[test]
fn a_cut_object_behind_a_link_is_found() {
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
    std::fs::write(sandbox.outside().join("cut"), &bytes[..bytes.len() - 40]).unwrap();
    symlink(sandbox.outside().join("cut"), &object).unwrap();
    let answer = timed(&sandbox, &["check", "--rev", "HEAD"]).expect("an answer");
    assert!(answer.code == 2 && answer.err.contains("is cut off"), "{}", answer.err);
}

/// Completion and commands that write are ended, too: without a word, and before anything is written.
#[test]
fn every_command_has_an_end() {
    let sandbox = repository();
    pipe(&sandbox.path_of(".git/HEAD"));
    let answer = timed(&sandbox, &["--complete", "bash", "tierod why ", "=:"]).expect("completion waits");
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    let before = std::fs::read(sandbox.path_of("chain.yaml")).unwrap();
    finds_the_pipe(&sandbox, &["set", "circle-time.at-most", "5 s"]);
    assert_eq!(std::fs::read(sandbox.path_of("chain.yaml")).unwrap(), before);
    finds_the_pipe(&sandbox, &["hook", "install"]);
}

/// An argument may be the name of a file in the repository.
#[test]
fn usage_errors_have_no_control_characters() {
    let sandbox = repository();
    for args in [&["check", "--\u{1b}[31;8mx"][..], &["\u{1b}]0;x\u{7}"], &["delta", "a", "b", "\u{202e}c"]] {
        let error = sandbox.tierod(args).ended(2).err;
        assert!(!error.is_empty() && !error.contains(['\u{1b}', '\u{7}', '\u{202e}']), "{error:?}");
    }
    let usual = sandbox.tierod(&["check", "--nothing"]).ended(2).err;
    assert!(usual.contains("unexpected argument '--nothing' found"), "{usual}");
}

/// What git prints about a damaged object differs from run to run.
#[test]
fn the_note_about_a_damaged_history_is_stable() {
    let sandbox = repository();
    sandbox.write("more.yaml", "parts: {p: {in: suspension}}\n");
    sandbox.commit_on("2027-03-02", "two");
    let commit = sandbox.git(&["rev-parse", "HEAD~1"]);
    let (folder, name) = commit.trim().split_at(2);
    let object = sandbox.path_of(&format!(".git/objects/{folder}/{name}"));
    let _ = std::fs::remove_file(&object);
    std::fs::write(&object, b"no object at all").unwrap();
    let note = || sandbox.tierod(&["check", "--format", "json"]).json()["history_note"].as_str().unwrap().to_owned();
    let first = note();
    assert!(!first.contains("error:") && !first.contains("fatal:"), "{first}");
    assert_eq!(note(), first);
}

/// A packed object of a kind that git does not have.
#[test]
fn an_object_of_an_unknown_kind_is_an_error() {
    let sandbox = repository();
    sandbox.git(&["repack", "-adq"]);
    let packs = std::fs::read_dir(sandbox.path_of(".git/objects/pack")).unwrap().map(|entry| entry.unwrap().path());
    let pack = packs.into_iter().find(|path| path.extension().is_some_and(|end| end == "pack")).unwrap();
    let mut bytes = std::fs::read(&pack).unwrap();
    // The first entry is that of the last commit; three bits of its first byte are its kind.
    bytes[12] &= 0x8f;
    std::fs::remove_file(&pack).unwrap();
    std::fs::write(&pack, bytes).unwrap();
    for args in [&["check"][..], &["check", "--rev", "HEAD"], &["history", "circle-time"]] {
        let answer = sandbox.tierod(args);
        assert!(answer.code <= 2 && !answer.err.contains("panicked"), "{args:?}: {}", answer.err);
    }
    assert_eq!(sandbox.tierod(&["check", "--rev", "HEAD"]).code, 2);
}
