//! Times of the history: 2,000 commits over 2,000 records, against git reading the same versions.
//!
//! `cargo bench --bench history`, on one core with `taskset -c 0` before it. The reference is `git log --raw` on the
//! project root and `git cat-file --batch` of all versions in it.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark prints, and stops when it cannot run")]

use std::fmt::Write as _;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use trace::history::Past;
use trace::snapshot::{Request, State};

const FILES: usize = 40;
const RECORDS: usize = 50;
const COMMITS: usize = 2_000;

/// A file of records, each with a mass that the commits change.
fn file(number: usize, masses: &[u32]) -> String {
    let mut text = String::from("parts:\n");
    for (at, mass) in masses.iter().enumerate() {
        let _ = write!(
            text,
            "  part-{number}-{at}:\n    title: Part {at} of file {number}\n    in: suspension\n    count: 2\n    amounts:\n      mass: {{value: {mass} g, basis: drawn}}\n      cost: 14 EUR\n    serves:\n      car-mass: It carries the load of its neighbours, and that load takes this much material.\n    verify: {{by: inspection, with: bench scale, due: 2027-04-20}}\n\n"
        );
    }
    text
}

/// The commits as `git fast-import` reads them.
fn stream() -> String {
    let mut masses = vec![vec![500_u32; RECORDS]; FILES];
    let mut out = String::new();
    let mut state = 1_u32;
    let mut random = |below: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as usize % below
    };
    for commit in 0..COMMITS {
        let time = 1_780_000_000 + commit * 3_600;
        let _ = write!(out, "commit refs/heads/main\ncommitter Team <team@example.org> {time} +0100\ndata 4\nstep\n");
        let mut put = |path: &str, text: &str| {
            let _ = write!(out, "M 100644 inline {path}\ndata {}\n{text}\n", text.len());
        };
        if commit == 0 {
            put("car/tierod.yaml", "growth: {mass: {drawn: 5 %, weighed: 0 %}}\n");
            put(
                "car/chain.yaml",
                "systems: {suspension: {in: car}}\ntargets: {car-mass: {of: car, at-most: 9 t, total: mass}}\n",
            );
            (0..FILES).for_each(|number| put(&format!("car/parts-{number}.yaml"), &file(number, &masses[number])));
        } else {
            for _ in 0..=random(2) {
                let number = random(FILES);
                for _ in 0..=random(3) {
                    masses[number][random(RECORDS)] = 400 + random(200) as u32;
                }
                put(&format!("car/parts-{number}.yaml"), &file(number, &masses[number]));
            }
        }
    }
    out
}

fn git(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new("git");
    command.current_dir(folder).args(args).env("GIT_CONFIG_GLOBAL", "/dev/null").env("GIT_CONFIG_NOSYSTEM", "1");
    command
}

/// Git alone: the log of the project root, and every version in it. Returns the time, the versions and the bytes.
fn by_git(folder: &Path) -> (f64, usize, usize) {
    let start = Instant::now();
    let log = git(
        folder,
        &["log", "--first-parent", "--raw", "--no-abbrev", "--no-renames", "--root", "--format=", "--", "car"],
    );
    let log = { log }.output().unwrap().stdout;
    let text = String::from_utf8(log).unwrap();
    let blobs: String = text.lines().filter_map(|line| Some(line.split(' ').nth(3)?.to_owned() + "\n")).collect();
    let mut child = git(folder, &["cat-file", "--batch"]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    let (mut input, versions) = (child.stdin.take().unwrap(), blobs.lines().count());
    let writer = std::thread::spawn(move || input.write_all(blobs.as_bytes()).unwrap());
    let mut all = Vec::new();
    child.stdout.take().unwrap().read_to_end(&mut all).unwrap();
    writer.join().unwrap();
    child.wait().unwrap();
    (start.elapsed().as_secs_f64() * 1e3, versions, all.len())
}

/// The median of some runs, in milliseconds.
fn median(runs: usize, mut run: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..runs)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[runs / 2]
}

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let folder = folder.path();
    assert!(git(folder, &["init", "-q", "-b", "main"]).status().unwrap().success());
    let mut import = git(folder, &["fast-import", "--quiet"]).stdin(Stdio::piped()).spawn().unwrap();
    import.stdin.take().unwrap().write_all(stream().as_bytes()).unwrap();
    assert!(import.wait().unwrap().success());
    for args in [&["repack", "-adq"][..], &["reset", "-q", "--hard"]] {
        assert!(git(folder, args).status().unwrap().success());
    }
    let request = Request { cwd: folder.to_owned(), path: Some(folder.join("car")), state: State::Worktree };
    let project = trace::Project::open(&request);
    let loaded = project.load().unwrap();
    let day = schema::Day::parse("2027-03-19").unwrap();
    let mut reference = Vec::new();
    let mut read = (0, 0);
    for _ in 0..3 {
        let (time, versions, bytes) = by_git(folder);
        reference.push(time);
        read = (versions, bytes);
    }
    reference.sort_by(f64::total_cmp);
    let by_git = reference[1];
    let from_git = median(3, || drop(Past::load_uncached(&project, &loaded, day)));
    let past = Past::load(&project, &loaded, day);
    let kept = median(11, || drop(Past::load(&project, &loaded, day)));
    let history = past.complete().unwrap();
    // A few commits change a number into what it was.
    let count = git(folder, &["rev-list", "--count", "HEAD", "--", "car"]).output().unwrap().stdout;
    assert_eq!(
        history.commits.len().to_string(),
        String::from_utf8(count).unwrap().trim(),
        "the steps are those of git"
    );
    let (steps, records) = (history.commits.len(), FILES * RECORDS);
    println!("{steps} commits, {records} records, {} versions of {} MB", read.0, read.1 / 1_000_000);
    println!("  git log and cat-file     {by_git:8.1} ms");
    println!("  the history from git     {from_git:8.1} ms, {:.2} times that", from_git / by_git);
    println!("  the history from cache   {kept:8.1} ms");
    let tierod = |args: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_tierod"));
        let status = command.current_dir(folder.join("car")).args(args).stdout(Stdio::null()).status().unwrap();
        assert!(status.code().is_some_and(|code| code < 2), "{args:?}");
    };
    let first = median(3, || {
        std::fs::remove_dir_all(folder.join(".git/tierod")).unwrap();
        tierod(&["audit"]);
    });
    let second = median(5, || tierod(&["audit"]));
    let check = median(5, || tierod(&["check"]));
    println!("  audit, whole, first run  {first:8.1} ms, {:.2} times git", first / by_git);
    println!("  audit, second run        {second:8.1} ms, {:.2} times a check", second / check);
    println!("  check                    {check:8.1} ms");
}
