//! The history of records, in every shape that git allows. The reference is git's plumbing commands.

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::Value;

use crate::support::{Sandbox, records_in_graph};

/// A record file with the hub's count and its mass; `start` removes the hub from the small root's chain.
fn hub(id: &str, count: u32, more: &str) -> String {
    format!(
        "parts:\n  {id}:\n    in: suspension\n    count: {count}\n    serves: {{circle-time: It holds the wheel.}}\n{more}"
    )
}

/// A repository with a project root at a prefix, committed on a day, with a part `rack` in its own file.
fn start(prefix: &str, init: &[&str]) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.git(&[&["init", "-q", "-b", "main"], init].concat());
    sandbox.small_root(prefix);
    sandbox.write(&format!("{prefix}rack.yaml"), hub("rack", 1, ""));
    sandbox.commit_on("2027-01-01", "start");
    sandbox
}

fn story_in(sandbox: &Sandbox, folder: &Path, args: &[&str]) -> Value {
    sandbox.tierod_in(folder, &[&["history", "--format", "json"], args].concat()).ended(0).json()
}

/// The history of a record: date, key, before and after of each change.
#[track_caller]
fn changes(sandbox: &Sandbox, args: &[&str]) -> Vec<String> {
    lines(&story_in(sandbox, &sandbox.path(), args))
}

fn lines(story: &Value) -> Vec<String> {
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let line = |c: &Value| {
        format!("{} {}: {} -> {}", text(&c["day"]), text(&c["what"]), text(&c["before"]), text(&c["after"]))
    };
    story["changes"].as_array().unwrap().iter().map(line).collect()
}

#[test]
fn renames_and_moves_are_followed_and_listed() {
    let sandbox = start("", &[]);
    sandbox.git(&["mv", "rack.yaml", "steering.yaml"]);
    sandbox.commit_on("2027-01-02", "move");
    sandbox.write("steering.yaml", hub("steering-rack", 2, "    formerly: [rack]\n"));
    sandbox.commit_on("2027-01-03", "rename");
    let expected = [
        "2027-01-01 added: - -> -",
        "2027-01-01 count: - -> 1",
        "2027-01-02 moved to another file: rack.yaml -> steering.yaml",
        "2027-01-03 renamed: rack -> steering-rack",
        "2027-01-03 count: 1 -> 2",
    ];
    assert_eq!(changes(&sandbox, &["rack"]), expected);
    assert_eq!(changes(&sandbox, &["steering-rack"]), expected);
    let page = sandbox.tierod(&["history", "rack"]).ended(0).out;
    assert!(page.starts_with("steering-rack  (part), formerly rack\n"), "{page}");
    let error = sandbox.tierod(&["history", "steering-rak"]).ended(2).err;
    assert!(error.contains("did you mean `steering-rack`?"), "{error}");
    let error = sandbox.tierod(&["history", "rak"]).ended(2).err;
    assert!(error.contains("did you mean `rack`?"), "an id that lived once: {error}");
}

#[test]
fn the_order_is_that_of_the_commits_and_not_of_their_dates() {
    let sandbox = start("", &[]);
    for (day, count) in [("2027-03-01", 2), ("2026-12-01", 3), ("2027-02-01", 4)] {
        sandbox.write("rack.yaml", hub("rack", count, ""));
        sandbox.commit_on(day, "count");
    }
    let counts: Vec<String> = changes(&sandbox, &["rack"]).split_off(2);
    assert_eq!(counts, ["2027-03-01 count: 1 -> 2", "2026-12-01 count: 2 -> 3", "2027-02-01 count: 3 -> 4"]);
}

/// A merge is one commit of the branch on which it was made.
#[test]
fn merges_count_once() {
    let sandbox = start("", &[]);
    sandbox.git(&["switch", "-qc", "side"]);
    for (day, count) in [("2027-01-02", 2), ("2027-01-03", 3)] {
        sandbox.write("rack.yaml", hub("rack", count, ""));
        sandbox.commit_on(day, "on the side");
    }
    sandbox.git(&["switch", "-q", "main"]);
    sandbox.write("other.yaml", hub("link", 2, ""));
    sandbox.commit_on("2027-01-04", "on main");
    sandbox.git(&["merge", "-q", "--no-ff", "--no-edit", "side"]);
    let merge = sandbox.git(&["rev-parse", "HEAD"]);
    let story = story_in(&sandbox, &sandbox.path(), &["rack"]);
    assert_eq!(lines(&story)[2..], ["2027-03-19 count: 1 -> 3"]);
    assert_eq!(story["changes"][2]["commit"], merge.trim());
    assert_eq!(changes(&sandbox, &["rack", "--rev", "side"]).len(), 4);
}

#[test]
fn uncommitted_changes_come_last() {
    let sandbox = start("", &[]);
    sandbox.write("rack.yaml", hub("rack", 2, ""));
    sandbox.git(&["add", "."]);
    sandbox.write("rack.yaml", hub("rack", 3, ""));
    let last = |args: &[&str]| changes(&sandbox, &[&["rack"], args].concat()).pop().unwrap();
    assert_eq!(last(&[]), "2027-03-19 count: 1 -> 3", "the day of the check");
    assert_eq!(last(&["--staged"]), "2027-03-19 count: 1 -> 2");
    assert_eq!(last(&["--rev", "HEAD"]), "2027-01-01 count: - -> 1");
    std::fs::remove_file(sandbox.path_of("rack.yaml")).unwrap();
    assert_eq!(last(&[]), "2027-03-19 removed: - -> -");
    assert_eq!(story_in(&sandbox, &sandbox.path(), &["rack"])["removed"]["commit"], Value::Null);
}

#[test]
fn a_project_root_that_had_another_name() {
    for (from, to) in [("car/", "t9/data/"), ("", "car/"), ("car/", "")] {
        for format in ["files", "reftable"] {
            let sandbox = start(from, &["--ref-format", format]);
            if !from.is_empty() || !to.is_empty() {
                for file in ["tierod.yaml", "chain.yaml", "rack.yaml"] {
                    let to = sandbox.path_of(&format!("{to}{file}"));
                    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
                    std::fs::rename(sandbox.path_of(&format!("{from}{file}")), to).unwrap();
                }
            }
            let root = format!("./{to}");
            let expected = ["2027-01-01 added: - -> -", "2027-01-01 count: - -> 1"];
            assert_eq!(
                changes(&sandbox, &["rack", &root]),
                expected,
                "before it is committed, {from} to {to}, {format}"
            );
            sandbox.commit_on("2027-01-02", "rename");
            assert_eq!(changes(&sandbox, &["rack", &root]), expected, "{from} to {to}, {format}");
            sandbox.write(&format!("{to}rack.yaml"), hub("rack", 2, ""));
            sandbox.commit_on("2027-01-03", "change");
            assert_eq!(changes(&sandbox, &["rack", &root]).pop().unwrap(), "2027-01-03 count: 1 -> 2");
        }
    }
    // A second project root has no history in the first.
    let sandbox = start("one/", &[]);
    sandbox.small_root("two/");
    sandbox.write("two/rack.yaml", hub("rack", 5, ""));
    sandbox.commit_on("2027-01-02", "another car");
    assert_eq!(changes(&sandbox, &["rack", "two"]), ["2027-01-02 added: - -> -", "2027-01-02 count: - -> 5"]);
}

#[test]
fn broken_yaml_is_skipped_and_counted() {
    let sandbox = start("", &[]);
    for (day, text) in [("2027-01-02", "parts: {rack".to_owned()), ("2027-01-03", hub("rack", 2, ""))] {
        sandbox.write("rack.yaml", text);
        sandbox.commit_on(day, "text");
    }
    assert_eq!(changes(&sandbox, &["rack"])[2..], ["2027-01-03 count: 1 -> 2"]);
    assert_eq!(story_in(&sandbox, &sandbox.path(), &["rack"])["unreadable_versions"], 1);
    let page = sandbox.tierod(&["history", "rack"]).ended(0).out;
    assert!(page.contains("1 version of record files could not be read"), "{page}");
}

#[test]
fn ignored_files_and_other_project_roots_are_not_included() {
    let sandbox = start("", &[]);
    let settings = format!("{}ignore: [old]\n", crate::support::SETTINGS);
    sandbox.write("tierod.yaml", settings);
    sandbox.write("old/a.yaml", hub("ignored", 1, ""));
    sandbox.write("nested/tierod.yaml", "");
    sandbox.write("nested/a.yaml", hub("nested", 1, ""));
    sandbox.commit_on("2027-01-02", "more");
    for id in ["ignored", "nested"] {
        sandbox.tierod(&["history", id]).ended(2);
    }
    assert_eq!(changes(&sandbox, &["rack"]).len(), 2);
}

/// What libgit2 cannot read is read by one git process that stays open, not by one for each commit.
#[cfg(unix)]
#[test]
fn a_long_history_needs_few_processes() {
    use std::os::unix::fs::PermissionsExt as _;
    const COMMITS: usize = 40;
    let sandbox = Sandbox::new();
    sandbox.git(&["init", "-q", "-b", "main", "--ref-format=reftable"]);
    sandbox.small_root("car/");
    for count in 1..=COMMITS {
        sandbox.write("car/rack.yaml", hub("rack", count as u32, ""));
        sandbox.commit_on("2027-01-02", "a change");
    }
    let log = sandbox.outside().join("processes");
    let path = std::env::var("PATH").unwrap();
    sandbox
        .write("../bin/git", format!("#!/bin/sh\necho \"$*\" >> '{}'\nPATH='{path}' exec git \"$@\"\n", log.display()));
    let bin = sandbox.outside().join("bin");
    std::fs::set_permissions(bin.join("git"), std::fs::Permissions::from_mode(0o755)).unwrap();
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path_of("car"));
    command.env("PATH", format!("{}:{path}", bin.display())).args(["history", "rack", "--format", "json"]);
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let story: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(story["changes"].as_array().unwrap().len() >= COMMITS, "{story}");
    let processes = std::fs::read_to_string(log).unwrap();
    assert!((1..20).contains(&processes.lines().count()), "{processes}");
}

fn check(sandbox: &Sandbox, folder: &Path) -> Value {
    sandbox.tierod_in(folder, &["check", "--format", "json"]).json()
}

#[test]
fn a_missing_or_shallow_history_is_reported() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let status = |sandbox: &Sandbox| {
        let report = check(sandbox, &sandbox.path());
        (report["history"].as_str().unwrap().to_owned(), report["history_note"].as_str().unwrap_or("").to_owned())
    };
    assert_eq!(status(&sandbox), ("off".to_owned(), "the project is not in a git repository".to_owned()));
    let page = sandbox.tierod(&["check"]).ended(0).out;
    assert!(page.contains("\nhistory checks skipped: the project is not in a git repository\n"), "{page}");
    sandbox.git(&["init", "-q", "-b", "main"]);
    // Before the first commit no history is missing.
    assert_eq!(status(&sandbox), ("on".to_owned(), String::new()));
    let error = sandbox.tierod(&["history", "hub"]).ended(2).err;
    assert!(error.contains("no history to show") && error.contains("commit the records"), "{error}");
    sandbox.git(&["commit", "-q", "--allow-empty", "-m", "nothing"]);
    assert_eq!(status(&sandbox), ("on".to_owned(), String::new()));
    sandbox.commit_on("2027-01-01", "records");
    assert_eq!(status(&sandbox), ("on".to_owned(), String::new()));
    assert!(!sandbox.tierod(&["check"]).ended(0).out.contains("history checks skipped"));
    sandbox.write("rack.yaml", hub("rack", 1, ""));
    sandbox.commit_on("2027-01-02", "rack");

    for format in ["files", "reftable"] {
        let clone = sandbox.outside().join(format!("shallow-{format}"));
        let origin = format!("file://{}", sandbox.path().display());
        let ref_format = format!("--ref-format={format}");
        sandbox.git(&["clone", "-q", "--depth=1", &ref_format, &origin, clone.to_str().unwrap()]);
        let report = check(&sandbox, &clone);
        assert_eq!(report["history"], "shallow", "{format}");
        assert!(report["history_note"].as_str().unwrap().contains("git fetch --unshallow"));
        let page = sandbox.tierod_in(&clone, &["history", "rack"]).ended(0).out;
        assert!(page.contains("the first commits are missing"), "{page}");
        sandbox.git_in(&clone, &["fetch", "-q", "--unshallow"]);
        assert_eq!(check(&sandbox, &clone)["history"], "on", "{format}");
        assert_eq!(lines(&story_in(&sandbox, &clone, &["rack"])), changes_of(&sandbox, "rack"));
    }
}

fn changes_of(sandbox: &Sandbox, id: &str) -> Vec<String> {
    changes(sandbox, &[id])
}

/// The commits of the first-parent chain in which a part's count differs, from git and another reader of YAML.
fn by_git(sandbox: &Sandbox, prefix: &str, id: &str) -> Vec<String> {
    let chain = sandbox.git(&["rev-list", "--first-parent", "--reverse", "HEAD"]);
    let mut last: Option<u64> = None;
    let mut changed = Vec::new();
    for commit in chain.lines() {
        let files = sandbox.git(&["ls-tree", "-r", "--name-only", commit]);
        let mut now = None;
        for file in files.lines().filter(|file| file.starts_with(prefix) && file.ends_with(".yaml")) {
            let text = sandbox.git(&["show", &format!("{commit}:{file}")]);
            let yaml: serde_yaml::Value = serde_yaml::from_str(&text).unwrap_or_default();
            now = now.or_else(|| yaml.get("parts")?.get(id)?.get("count")?.as_u64());
        }
        if now != last {
            changed.push(format!("{} {now:?}", &commit[..10]));
        }
        last = now;
    }
    changed
}

/// Many commits of all sorts, in every repository format of this git: the changes are the same as in git.
#[test]
fn the_changes_are_the_same_as_in_git() {
    for init in [&[][..], &["--ref-format=reftable"], &["--object-format=sha256"]] {
        let prefix = "car/data/";
        let sandbox = start(prefix, init);
        let mut state = 7_u32;
        for number in 0..24_u32 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let file = format!("{prefix}{}.yaml", ["rack", "deep/rack"][(number / 9 % 2) as usize]);
            let day = format!("2027-01-{:02}", 2 + number);
            match state >> 28 {
                0..=3 => sandbox.write("outside.txt", number.to_string()),
                4..=5 => sandbox.write(&format!("{prefix}other.yaml"), hub("link", number + 1, "")),
                6 => {
                    sandbox.git(&["switch", "-qc", &format!("side-{number}")]);
                    sandbox.write(&format!("{prefix}side.yaml"), hub("side", number + 1, ""));
                    sandbox.commit_on(&day, "side");
                    sandbox.git(&["switch", "-q", "main"]);
                    sandbox.git(&["merge", "-q", "--no-ff", "--no-edit", &format!("side-{number}")]);
                }
                _ => {
                    for old in ["rack", "deep/rack"] {
                        let _ = std::fs::remove_file(sandbox.path_of(&format!("{prefix}{old}.yaml")));
                    }
                    sandbox.write(&file, hub("rack", number % 5 + 1, ""));
                }
            }
            sandbox.commit_on(&day, "step");
        }
        for id in ["rack", "link"] {
            let story = story_in(&sandbox, &sandbox.path(), &[id, "car/data"]);
            let changes = story["changes"].as_array().unwrap().iter().filter(|c| c["what"] == "count");
            let ours: Vec<String> = changes
                .map(|c| {
                    format!(
                        "{} {:?}",
                        &c["commit"].as_str().unwrap()[..10],
                        c["after"].as_str().map(|n| n.parse::<u64>().unwrap())
                    )
                })
                .collect();
            let git = by_git(&sandbox, prefix, id);
            assert!(git.len() > 1, "nothing to compare: {git:?}");
            assert_eq!(ours, git, "{init:?} {id}");
        }
        // Only git's own folder was changed.
        assert_eq!(sandbox.git(&["status", "--porcelain"]), "");
        let graph = sandbox.tierod(&["graph", "--format", "json", "car/data"]).ended(0).json();
        let ids: BTreeSet<String> =
            records_in_graph(&graph).iter().map(|p| p.split(' ').nth(1).unwrap().to_owned()).collect();
        for id in ids {
            sandbox.tierod(&["history", &id, "car/data"]).ended(0);
        }
    }
}

/// The value of a target over the season, next to its limit.
#[test]
fn a_target_is_listed_with_its_values() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let target = |limit: &str, estimate: &str| {
        format!(
            "targets:\n  track:\n    of: car\n    at-most: {limit}\n    estimate: {estimate}\n    serves: {{skidpad: A wide car turns late.}}\n"
        )
    };
    for (day, text) in [
        ("2027-01-01", target("1.2 m", "1.25 m")),
        ("2027-01-11", target("1.2 m", "1.22 m")),
        (
            "2027-01-21",
            target("1.22 m", "1.21 m")
                + "revisions:\n  track-january: {of: track, from: 1.2 m, to: 1.22 m, date: 2027-01-20, agreed-by: team lead, reason: The hubs are bought.}\n",
        ),
    ] {
        sandbox.write("track.yaml", text);
        sandbox.commit_on(day, "track");
    }
    let story = story_in(&sandbox, &sandbox.path(), &["track"]);
    let values: Vec<String> = story["values"]
        .as_array()
        .unwrap()
        .iter()
        .map(|v| {
            format!(
                "{} {} {} {}",
                v["day"].as_str().unwrap(),
                v["value"],
                v["limit"]["at_most"],
                v["status"].as_str().unwrap()
            )
        })
        .collect();
    assert_eq!(
        values,
        ["2027-01-01 1.25 1.2 at risk", "2027-01-11 1.22 1.2 at risk", "2027-01-21 1.21 1.22 on target"]
    );
    let page = sandbox.tierod(&["history", "track"]).ended(0).out;
    for line in [
        "   value  █▄▂  1.25 m → 1.21 m",
        " at most  ▁▁▄  1.2 m → 1.22 m",
        "2027-01-21",
        "revision track-january: to  1.2 m   1.22 m",
    ] {
        assert!(page.contains(line), "{line}\n{page}");
    }
}

/// A revision that is edited later to fit records nothing: the change was not agreed at that time.
#[test]
fn a_revision_that_is_edited_later_records_nothing() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let chain = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    sandbox.commit_on("2027-01-01", "the limit first set");
    let moved = |limit: &str| {
        sandbox.write("chain.yaml", chain.replace("at-most: 5.2 s", &format!("at-most: {limit}")));
        sandbox.write(
            "revisions.yaml",
            format!("revisions: {{slower: {{of: circle-time, from: 5.2 s, to: {limit}, date: 2027-02-01, agreed-by: team lead, reason: The track is wet.}}}}"),
        );
    };
    let unrecorded = |folder: &Path| {
        let report = check(&sandbox, folder);
        let findings = report["findings"].as_array().unwrap().iter();
        findings.filter(|finding| finding["check"] == "unrecorded-revision").count()
    };
    moved("5.3 s");
    sandbox.commit_on("2027-02-01", "moved on record");
    assert_eq!(unrecorded(&sandbox.path()), 0);
    moved("5.4 s");
    assert_eq!(unrecorded(&sandbox.path()), 1, "not committed yet");
    let delta = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).json();
    assert!(delta["limits_changed"][0]["revision"].is_null(), "{}", delta["limits_changed"]);
    sandbox.commit_on("2027-03-01", "moved again by editing what was agreed");
    assert_eq!(unrecorded(&sandbox.path()), 1);
    // Another notation of the same value is not an edit.
    moved("5300 ms");
    assert_eq!(unrecorded(&sandbox.path()), 1, "the end was another one in between");
}
