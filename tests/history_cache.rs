//! The cache of the history changes only the time: whatever happens to it, the answer is the same as without it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use sha2::{Digest as _, Sha256};

use crate::support::Sandbox;

fn rack(count: usize, mass: &str) -> String {
    format!(
        "targets:\n  rack-force: {{of: rack, at-most: 300 N, estimate: 310 N, serves: {{circle-time: It turns the wheel.}}}}\nparts:\n  rack:\n    in: suspension\n    count: {count}\n    amounts: {{mass: {mass}}}\n    serves: {{circle-time: It turns the wheel.}}\n"
    )
}

/// A season of some commits with findings of the history checks.
fn season() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    for number in 1..=6 {
        sandbox.write("rack.yaml", rack(number, &format!("1.{number} kg")));
        let result = "results:\n  rig: {of: rack, outcome: pass, date: 2027-01-02, evidence: [chain.yaml]}\n";
        sandbox.write("rig.yaml", if number > 2 { result } else { "" });
        sandbox.commit_on(&format!("2027-01-{number:02}"), "step");
    }
    sandbox
}

fn folder(sandbox: &Sandbox) -> PathBuf {
    sandbox.path_of(".git/tierod")
}

/// Everything that depends on the history.
#[track_caller]
fn answer(sandbox: &Sandbox) -> String {
    let check = sandbox.tierod(&["check", "--format", "json"]).ended(0).out;
    check + &sandbox.tierod(&["history", "rack", "--format", "json"]).ended(0).out
}

/// The answer of a repository without a cache.
#[track_caller]
fn without(sandbox: &Sandbox) -> String {
    let _ = std::fs::remove_dir_all(folder(sandbox));
    let answer = answer(sandbox);
    assert!(answer.contains("stale-result") && answer.contains("no-action"), "{answer}");
    answer
}

fn files(sandbox: &Sandbox) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder(sandbox)).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
}

#[test]
fn damaged_files_are_not_used() {
    let sandbox = season();
    let expected = without(&sandbox);
    assert_eq!(answer(&sandbox), expected, "from the cache");
    let files = files(&sandbox);
    assert_eq!(files.len(), 3, "{files:?}");
    for file in files {
        let whole = std::fs::read(&file).unwrap();
        for region in 0..24 {
            let at = region * (whole.len() - 1) / 23;
            let mut damaged = whole.clone();
            damaged[at] ^= 0x15;
            std::fs::write(&file, &damaged).unwrap();
            assert_eq!(answer(&sandbox), expected, "{} with byte {at} damaged", file.display());
            std::fs::write(&file, &whole[..at]).unwrap();
            assert_eq!(answer(&sandbox), expected, "{} cut at {at}", file.display());
        }
        std::fs::write(&file, "").unwrap();
        assert_eq!(answer(&sandbox), expected);
    }
}

/// The cache file whose name begins with this.
#[track_caller]
fn file(sandbox: &Sandbox, name: &str) -> PathBuf {
    let named = |file: &PathBuf| file.file_name().unwrap().to_str().unwrap().starts_with(name);
    files(sandbox).into_iter().find(named).unwrap()
}

/// Takes a number as `postcard` writes it.
fn take_number(bytes: &mut &[u8]) -> usize {
    let mut number = 0;
    for shift in (0..).step_by(7) {
        let (first, rest) = bytes.split_first().unwrap();
        *bytes = rest;
        number |= usize::from(first & 0x7f) << shift;
        if first & 0x80 == 0 {
            break;
        }
    }
    number
}

/// The checksum of cache files: HMAC with SHA-256 (RFC 2104), with the key in the user's home.
fn checksum(sandbox: &Sandbox, parts: &[&[u8]]) -> [u8; 32] {
    let secret = std::fs::read(sandbox.outside().join("home/.local/state/tierod/key")).unwrap();
    let block = |pad: u8| (0..64).map(|at| pad ^ secret.get(at).unwrap_or(&0)).collect::<Vec<u8>>();
    let inner = Sha256::digest([block(0x36), parts.concat()].concat());
    Sha256::digest([block(0x5c), inner.to_vec()].concat()).into()
}

/// A cache file with its values changed and all checksums right, as a build with other sources would write it.
#[track_caller]
fn forged(
    sandbox: &Sandbox,
    (file, whole): (&Path, &[u8]),
    sources: impl Fn(&str) -> String,
    change: impl Fn(&[u8]) -> Vec<u8>,
) -> Vec<u8> {
    let name = file.file_name().unwrap().to_str().unwrap();
    let ends: Vec<usize> = whole.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1).collect();
    let (head, rest) = whole.split_at(ends[2]);
    let head = std::str::from_utf8(head).unwrap();
    let own = head.lines().nth(1).unwrap().strip_prefix("sources ").unwrap();
    assert!(own.len() == 64 && own.bytes().all(|digit| digit.is_ascii_hexdigit()), "{head}");
    let head = head.replace(own, &sources(own));
    let length = u32::from_le_bytes(rest[..4].try_into().unwrap()) as usize;
    let mut list = rest[36..36 + length].to_vec();
    let (read, mut values) = (list.clone(), &rest[36 + length..]);
    let (mut read, mut changed) = (&read[..], Vec::new());
    for _ in 0..take_number(&mut read) {
        let key = take_number(&mut read);
        read = &read[key..];
        let (value, others) = values.split_at(take_number(&mut read));
        values = others;
        let value = change(value);
        assert_eq!(take_number(&mut read), 32);
        let at = length - read.len();
        list[at..at + 32].copy_from_slice(&checksum(sandbox, &[&value]));
        read = &read[32..];
        changed.extend(value);
    }
    assert!(read.is_empty() && values.is_empty());
    assert_ne!(changed, rest[36 + length..], "the values differ");
    let sum = checksum(sandbox, &[name.as_bytes(), b"\n", head.as_bytes(), &list]);
    [head.as_bytes(), &(length as u32).to_le_bytes(), &sum, &list, &changed].concat()
}

/// The bytes with one part in place of another of the same length.
fn replaced(bytes: &[u8], old: &[u8], new: &[u8]) -> Vec<u8> {
    assert_eq!(old.len(), new.len());
    let mut bytes = bytes.to_vec();
    let mut at = 0;
    while let Some(found) = bytes[at..].windows(old.len()).position(|part| part == old) {
        bytes[at + found..at + found + old.len()].copy_from_slice(new);
        at += found + old.len();
    }
    bytes
}

/// The hash of other sources.
fn of_another_build(own: &str) -> String {
    own.chars().map(|digit| if digit == '0' { '1' } else { '0' }).collect()
}

/// The evaluated states of another build, with values times 1.5.
#[test]
fn numbers_of_another_build_are_not_used() {
    let sandbox = season();
    sandbox.tierod(&["check"]).ended(0);
    std::fs::remove_dir_all(folder(&sandbox)).unwrap();
    let history = || sandbox.tierod(&["history", "car.mass", "--format", "json"]).ended(0);
    let numbers = || -> Vec<f64> {
        let answer = history().json();
        answer["values"].as_array().unwrap().iter().map(|value| value["si"].as_f64().unwrap()).collect()
    };
    let expected = history().out;
    let values = numbers();
    assert_eq!(values.len(), 6, "{expected}");
    let file = file(&sandbox, "states-");
    let whole = std::fs::read(&file).unwrap();
    let more = |bytes: &[u8]| {
        let change = |bytes: Vec<u8>, value: &f64| replaced(&bytes, &value.to_le_bytes(), &(value * 1.5).to_le_bytes());
        values.iter().rev().fold(bytes.to_vec(), change)
    };
    // It would be used if this build had written it: only the hash decides.
    std::fs::write(&file, forged(&sandbox, (&file, &whole), str::to_owned, more)).unwrap();
    assert_eq!(numbers(), values.iter().map(|value| value * 1.5).collect::<Vec<f64>>());
    std::fs::write(&file, forged(&sandbox, (&file, &whole), of_another_build, more)).unwrap();
    assert_eq!(history().out, expected, "of another build");
    assert_eq!(std::fs::read(&file).unwrap(), whole, "replaced by the numbers of this build");
    // Not even one digit may differ, or be missing.
    let last = |own: &str| format!("{}{}", &own[..63], if own.ends_with('0') { '1' } else { '0' });
    std::fs::write(&file, forged(&sandbox, (&file, &whole), last, more)).unwrap();
    assert_eq!(history().out, expected, "with another last digit");
    std::fs::write(&file, forged(&sandbox, (&file, &whole), |own| own[..16].to_owned(), more)).unwrap();
    assert_eq!(history().out, expected, "with a part of the hash");
    // The beginning of an older format: its number, the version of the crate, and the prefix.
    let body = forged(&sandbox, (&file, &whole), str::to_owned, more);
    let head = whole.iter().enumerate().filter(|(_, byte)| **byte == b'\n').nth(2).unwrap().0 + 1;
    std::fs::write(&file, [&b"2\x000.1.0\0\n"[..], &body[head..]].concat()).unwrap();
    assert_eq!(history().out, expected, "of an older format");
}

/// The same for the log of the history.
#[test]
fn a_log_of_another_build_is_not_used() {
    let sandbox = season();
    let history = || sandbox.tierod(&["history", "rack", "--format", "json"]).ended(0).out;
    let expected = without(&sandbox);
    let rack = history();
    let file = file(&sandbox, "history-");
    let whole = std::fs::read(&file).unwrap();
    let other = |bytes: &[u8]| replaced(bytes, b"1.3 kg", b"7.3 kg");
    std::fs::write(&file, forged(&sandbox, (&file, &whole), str::to_owned, other)).unwrap();
    assert!(rack.contains("1.3 kg") && history() == rack.replace("1.3 kg", "7.3 kg"), "only the hash decides");
    std::fs::write(&file, forged(&sandbox, (&file, &whole), of_another_build, other)).unwrap();
    assert_eq!(answer(&sandbox), expected);
    assert_eq!(std::fs::read(&file).unwrap(), whole, "replaced by the log of this build");
}

/// The same for decoded records.
#[test]
fn records_of_another_build_are_not_used() {
    let sandbox = season();
    let worth = |args: &[&str]| sandbox.tierod(args).ended(0).out;
    let commands: [&[&str]; 3] = [
        &["values", "--format", "json"],
        &["check", "--staged", "--all", "--format", "json"],
        &["delta", "HEAD~1", "--format", "json"],
    ];
    let answers = || commands.map(worth);
    let _ = std::fs::remove_dir_all(folder(&sandbox));
    let expected = answers();
    assert_eq!(answers(), expected, "from the cache");
    let file = file(&sandbox, "records-");
    let whole = std::fs::read(&file).unwrap();
    let other = |bytes: &[u8]| replaced(bytes, &310_f64.to_le_bytes(), &250_f64.to_le_bytes());
    std::fs::write(&file, forged(&sandbox, (&file, &whole), str::to_owned, other)).unwrap();
    assert_ne!(answers(), expected, "only the hash decides");
    std::fs::write(&file, forged(&sandbox, (&file, &whole), of_another_build, other)).unwrap();
    assert_eq!(answers(), expected, "of another build");
    // Entries of other files, as after a change of branch, are not used, because entries are found by content.
    sandbox.write("rack.yaml", rack(6, "2.6 kg"));
    let edited = answers();
    assert_ne!(edited, expected);
    let _ = std::fs::remove_dir_all(folder(&sandbox));
    assert_eq!(answers(), edited);
}

/// Errors in a file are reported in each run, at their current positions.
#[test]
fn errors_are_found_again_next_to_cached_records() {
    let sandbox = season();
    sandbox.write("wrong.yaml", "parts:\n  link: {in: suspension, inn: rack}\n  link: {in: nowhere}\n");
    sandbox.write("broken.yaml", "parts: {a\n");
    for args in [&["check", "--format", "json"][..], &["check", "--staged", "--format", "json"], &["values"]] {
        let _ = std::fs::remove_dir_all(folder(&sandbox));
        let cold = sandbox.tierod(args);
        let warm = sandbox.tierod(args);
        assert_eq!((&warm.out, &warm.err), (&cold.out, &cold.err), "{args:?}");
        if args.len() == 3 {
            assert!(warm.out.contains("unreadable-file") && warm.out.contains("duplicate-id"), "{}", warm.out);
        }
    }
    // With a further line above the records, the same records are at other positions.
    sandbox.write("rack.yaml", format!("# A comment\n{}", rack(6, "1.6 kg")));
    let cold = sandbox.tierod(&["check"]).out;
    assert_eq!(sandbox.tierod(&["check"]).out, cold);
}

/// Without a repository there is no cache.
#[test]
fn no_repository_no_cache() {
    let sandbox = season();
    let expected = sandbox.tierod(&["values"]).ended(0).out;
    std::fs::remove_dir_all(sandbox.path_of(".git")).unwrap();
    let names = || -> BTreeSet<_> {
        std::fs::read_dir(sandbox.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect()
    };
    let before = names();
    assert_eq!(sandbox.tierod(&["values"]).ended(0).out, expected);
    assert_eq!(names(), before);
}

/// Rebases, amended commits, cherry-picks and switches leave a cache of commits that no longer exist.
#[test]
fn the_chain_of_commits_decides() {
    let sandbox = season();
    let expect = |what: &str| {
        let with = answer(&sandbox);
        // A second run uses only the cache.
        assert_eq!(answer(&sandbox), with, "{what}");
        let kept: Vec<(PathBuf, Vec<u8>)> =
            files(&sandbox).into_iter().map(|file| (file.clone(), std::fs::read(file).unwrap())).collect();
        assert_eq!(without(&sandbox), with, "{what}");
        for (file, bytes) in kept {
            std::fs::write(file, bytes).unwrap();
        }
    };
    expect("as it was made");
    sandbox.write("rack.yaml", rack(9, "1.9 kg"));
    expect("not committed");
    sandbox.git(&["commit", "-qa", "--amend", "-m", "amended"]);
    expect("amended");
    sandbox.git(&["switch", "-qc", "side", "HEAD~2"]);
    sandbox.write("more.yaml", "parts:\n  link: {in: suspension, serves: {circle-time: It links.}}\n");
    sandbox.commit_on("2027-02-01", "side");
    expect("on a side branch");
    sandbox.git(&["rebase", "-q", "main"]);
    expect("rebased");
    sandbox.git(&["switch", "-q", "main"]);
    expect("back on main");
    sandbox.git(&["cherry-pick", "side"]);
    expect("cherry-picked");
    sandbox.git(&["reset", "-q", "--hard", "HEAD~3"]);
    expect("reset");
    sandbox.git(&["switch", "-q", "side"]);
    sandbox.tierod(&["check", "--rev", "main~1"]);
    expect("after a look at an older revision");
    sandbox.write("tierod.yaml", format!("{}ignore: [more.yaml]\n", crate::support::SETTINGS));
    expect("with other settings");
}

/// A folder that became another project root was part of this one before.
#[test]
fn a_project_root_that_was_added_inside() {
    let sandbox = season();
    sandbox.write("deep/link.yaml", "parts:\n  link: {in: suspension, serves: {circle-time: It links.}}\n");
    sandbox.commit_on("2027-02-01", "a part");
    sandbox.write("deep/tierod.yaml", "");
    sandbox.commit_on("2027-02-02", "another project root");
    sandbox.tierod(&["check"]);
    sandbox.tierod(&["history", "link"]).ended(2);
    sandbox.git(&["reset", "-q", "--hard", "HEAD~1"]);
    let link = |sandbox: &Sandbox| sandbox.tierod(&["history", "link", "--format", "json"]).ended(0).out;
    let with = link(&sandbox);
    without(&sandbox);
    assert_eq!(with, link(&sandbox));
}

#[test]
fn many_at_once() {
    let sandbox = season();
    let expected = without(&sandbox);
    std::fs::remove_dir_all(folder(&sandbox)).unwrap();
    for _ in 0..4 {
        let start = |_| {
            let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
            command.args(["check", "--format", "json"]).stdout(Stdio::piped()).spawn().unwrap()
        };
        let all: Vec<_> = (0..4).map(start).collect();
        for child in all {
            let output = child.wait_with_output().unwrap();
            assert!(expected.starts_with(&*String::from_utf8_lossy(&output.stdout)), "{output:?}");
        }
        assert_eq!(answer(&sandbox), expected);
        std::fs::remove_file(files(&sandbox).pop().unwrap()).unwrap();
    }
}

#[test]
fn killed_at_any_moment() {
    let sandbox = season();
    let expected = without(&sandbox);
    for delay in 0..10 {
        std::fs::remove_dir_all(folder(&sandbox)).unwrap();
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        let mut child = command.arg("check").stdout(Stdio::null()).spawn().unwrap();
        std::thread::sleep(Duration::from_millis(delay * 6));
        child.kill().unwrap();
        child.wait().unwrap();
        assert_eq!(answer(&sandbox), expected, "killed after {} ms", delay * 6);
    }
}

/// Nothing is written if the cache folder cannot be created or is a link, and that is not an error.
#[test]
fn without_a_cache_folder() {
    let sandbox = season();
    let expected = without(&sandbox);
    std::fs::remove_dir_all(folder(&sandbox)).unwrap();
    std::fs::write(folder(&sandbox), "a file").unwrap();
    assert_eq!(answer(&sandbox), expected);
    assert_eq!(std::fs::read_to_string(folder(&sandbox)).unwrap(), "a file");
    #[cfg(unix)]
    {
        std::fs::remove_file(folder(&sandbox)).unwrap();
        let elsewhere = sandbox.outside().join("elsewhere");
        std::fs::create_dir(&elsewhere).unwrap();
        std::os::unix::fs::symlink(&elsewhere, folder(&sandbox)).unwrap();
        assert_eq!(answer(&sandbox), expected);
        assert_eq!(std::fs::read_dir(&elsewhere).unwrap().count(), 0, "written through a link");
    }
}

/// A linked working tree shares the cache of its repository, and has no own cache.
#[test]
fn linked_working_trees_share_it() {
    let sandbox = season();
    let tree = sandbox.outside().join("tree");
    sandbox.git(&["worktree", "add", "-q", tree.to_str().unwrap()]);
    sandbox.tierod_in(&tree, &["check"]).ended(0);
    assert!(!files(&sandbox).is_empty());
    assert!(!sandbox.path_of(".git/worktrees/tree/tierod").exists());
    assert_eq!(sandbox.git_in(&tree, &["status", "--porcelain"]), "");
}
