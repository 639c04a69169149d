//! Which of a limit and a result was committed first, if one of them or both came in with a merge.

use serde_json::Value;

use crate::support::Sandbox;

/// The record file of a target with a limit.
pub(crate) fn track(id: &str, limit: &str, more: &str) -> String {
    format!("targets: {{{id}: {{of: car, at-most: {limit}, serves: {{skidpad: A wide car turns late.}}{more}}}}}\n")
}

/// The record file of a measurement.
pub(crate) fn rig(id: &str, of: &str, value: &str, date: &str, more: &str) -> String {
    format!("results: {{{id}: {{of: {of}, value: {value}, date: {date}, evidence: [chain.yaml]{more}}}}}\n")
}

pub(crate) fn limit(sandbox: &Sandbox, day: &str, limit: &str) {
    sandbox.write("track.yaml", track("track", limit, ""));
    sandbox.commit_on(day, "limit");
}

/// A measurement of this date, committed on this day.
pub(crate) fn result(sandbox: &Sandbox, day: &str, date: &str) {
    sandbox.write("rig.yaml", rig("rig", "track", "1.25 m", date, ""));
    sandbox.commit_on(day, "result");
}

pub(crate) fn other(sandbox: &Sandbox, day: &str, count: u32) {
    sandbox.write("other.yaml", format!("parts: {{link: {{in: suspension, count: {count}}}}}\n"));
    sandbox.commit_on(day, "another file");
}

/// A repository whose limit of 1.2 m the result of 1.25 m misses.
pub(crate) fn start(format: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.git(&["init", "-q", "-b", "main", "--ref-format", format]);
    sandbox.small_root("");
    limit(&sandbox, "2027-01-01", "1.2 m");
    sandbox
}

pub(crate) fn branch(sandbox: &Sandbox, name: &str) {
    sandbox.git(&["switch", "-qc", name]);
}

pub(crate) fn switch(sandbox: &Sandbox, name: &str) {
    sandbox.git(&["switch", "-q", name]);
}

pub(crate) fn merge(sandbox: &Sandbox, day: &str, branches: &[&str]) {
    sandbox.git_on(day, &[&["merge", "-q", "--no-ff", "--no-edit"], branches].concat());
}

pub(crate) fn name(sandbox: &Sandbox, revision: &str) -> String {
    sandbox.git(&["rev-parse", revision])[..10].to_owned()
}

/// The message of `target-after-result`, the same with the existing cache and without a cache.
#[track_caller]
pub(crate) fn reported(sandbox: &Sandbox) -> Option<String> {
    let say = || {
        let report = sandbox.tierod(&["check", "--format", "json"]).json();
        let mut found = report["findings"].as_array().unwrap().iter().filter(|f| f["check"] == "target-after-result");
        let first = found.next().map(|finding| finding["message"].as_str().unwrap().to_owned());
        assert!(found.next().is_none());
        first
    };
    let first = say();
    assert_eq!(say(), first, "from the cache");
    std::fs::remove_dir_all(sandbox.path_of(".git/tierod")).unwrap();
    assert_eq!(say(), first, "without the cache");
    // The audit agrees.
    let audit: Value = sandbox.tierod(&["audit", "--format", "json"]).json();
    let target = audit["targets"].as_array().unwrap().iter().find(|target| target["id"] == "track").unwrap();
    assert_eq!(target["after_result"], first.is_some(), "{target}");
    first
}

#[track_caller]
pub(crate) fn assert_reported(sandbox: &Sandbox, day: &str, commit: &str) {
    let expected = format!("the limit of track changed from at most 1.2 m to at most 1.3 m on {day} ({commit}), after");
    let reported = reported(sandbox);
    assert!(reported.as_ref().is_some_and(|reported| reported.starts_with(&expected)), "{reported:?}, not {expected}");
}

#[test]
fn both_on_one_branch() {
    for format in ["files", "reftable"] {
        let sandbox = start(format);
        branch(&sandbox, "side");
        result(&sandbox, "2027-02-03", "2027-02-03");
        limit(&sandbox, "2027-02-03", "1.3 m");
        let moved = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        other(&sandbox, "2027-02-04", 1);
        merge(&sandbox, "2027-02-05", &["side"]);
        assert_reported(&sandbox, "2027-02-03", &moved);
        let story = sandbox.tierod(&["history", "track", "--format", "json"]).ended(0).json();
        let mut changes = story["changes"].as_array().unwrap().iter();
        let moved_there = changes.rfind(|change| change["what"] == "at-most").unwrap();
        assert_eq!(moved_there["commit"].as_str().unwrap()[..10], name(&sandbox, "HEAD"));
        assert_eq!(moved_there["branch_commit"]["commit"].as_str().unwrap()[..10], moved);
        let page = sandbox.tierod(&["history", "track"]).ended(0).out;
        assert!(page.contains(&format!("at-most, written on 2027-02-03 in {moved}")), "{page}");

        let sandbox = start(format);
        branch(&sandbox, "side");
        limit(&sandbox, "2027-02-03", "1.3 m");
        result(&sandbox, "2027-02-03", "2027-02-03");
        switch(&sandbox, "main");
        merge(&sandbox, "2027-02-05", &["side"]);
        assert_eq!(reported(&sandbox), None, "the limit was first");
    }
}

/// Neither commit descends from the other: the dates decide, and the date of the merge does not count.
#[test]
fn one_on_a_branch_and_one_next_to_it() {
    for (written, after) in [("2027-02-01", false), ("2027-02-03", false), ("2027-02-04", true)] {
        let sandbox = start("files");
        branch(&sandbox, "side");
        limit(&sandbox, written, "1.3 m");
        let moved = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        result(&sandbox, "2027-02-06", "2027-02-03");
        merge(&sandbox, "2027-02-08", &["side"]);
        if after {
            assert_reported(&sandbox, written, &moved);
        } else {
            assert_eq!(reported(&sandbox), None, "{written}");
        }

        // The result is added after the merge.
        let sandbox = start("files");
        branch(&sandbox, "side");
        limit(&sandbox, written, "1.3 m");
        let moved = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        other(&sandbox, "2027-02-02", 1);
        merge(&sandbox, "2027-02-05", &["side"]);
        result(&sandbox, "2027-02-06", "2027-02-03");
        if after {
            assert_reported(&sandbox, written, &moved);
        } else {
            assert_eq!(reported(&sandbox), None, "{written}");
        }
    }
}

/// A commit before the fork is earlier than every commit on the branch, whatever the dates are.
#[test]
fn the_result_before_the_fork() {
    let sandbox = start("files");
    result(&sandbox, "2027-02-03", "2027-02-03");
    branch(&sandbox, "side");
    other(&sandbox, "2027-02-03", 1);
    limit(&sandbox, "2027-02-01", "1.3 m");
    let moved = name(&sandbox, "HEAD");
    switch(&sandbox, "main");
    merge(&sandbox, "2027-02-05", &["side"]);
    assert_reported(&sandbox, "2027-02-01", &moved);
}

/// The main branch was merged into a feature branch that then became the main branch: first parents follow this.
#[test]
fn the_main_branch_merged_into_the_own_one() {
    let sandbox = start("files");
    branch(&sandbox, "own");
    other(&sandbox, "2027-02-01", 1);
    switch(&sandbox, "main");
    result(&sandbox, "2027-02-03", "2027-02-03");
    limit(&sandbox, "2027-02-03", "1.3 m");
    let moved = name(&sandbox, "HEAD");
    switch(&sandbox, "own");
    merge(&sandbox, "2027-02-05", &["main"]);
    switch(&sandbox, "main");
    sandbox.git(&["merge", "-q", "--ff-only", "own"]);
    assert_reported(&sandbox, "2027-02-03", &moved);
}

#[test]
fn branches_of_branches_and_many_at_once() {
    // The limit on a branch of the branch that has the result.
    let sandbox = start("files");
    branch(&sandbox, "side");
    result(&sandbox, "2027-02-03", "2027-02-03");
    branch(&sandbox, "inner");
    limit(&sandbox, "2027-02-03", "1.3 m");
    let moved = name(&sandbox, "HEAD");
    switch(&sandbox, "side");
    other(&sandbox, "2027-02-04", 1);
    merge(&sandbox, "2027-02-05", &["inner"]);
    switch(&sandbox, "main");
    sandbox.write("third.yaml", "parts: {nut: {in: suspension}}\n");
    sandbox.commit_on("2027-02-05", "third");
    merge(&sandbox, "2027-02-06", &["side"]);
    assert_reported(&sandbox, "2027-02-03", &moved);

    // A merge of two branches, of which one has both.
    let sandbox = start("files");
    branch(&sandbox, "one");
    other(&sandbox, "2027-02-01", 1);
    switch(&sandbox, "main");
    branch(&sandbox, "two");
    result(&sandbox, "2027-02-03", "2027-02-03");
    limit(&sandbox, "2027-02-03", "1.3 m");
    let moved = name(&sandbox, "HEAD");
    switch(&sandbox, "main");
    merge(&sandbox, "2027-02-05", &["one", "two"]);
    assert_reported(&sandbox, "2027-02-03", &moved);
}

/// A branch that is merged repeatedly is read from the commit of the last merge on.
#[test]
fn a_branch_that_is_merged_again() {
    let sandbox = start("files");
    branch(&sandbox, "side");
    limit(&sandbox, "2027-01-10", "1.1 m");
    switch(&sandbox, "main");
    merge(&sandbox, "2027-01-11", &["side"]);
    assert_eq!(reported(&sandbox), None);
    switch(&sandbox, "side");
    limit(&sandbox, "2027-01-12", "1.2 m");
    result(&sandbox, "2027-02-03", "2027-02-03");
    limit(&sandbox, "2027-02-03", "1.3 m");
    let moved = name(&sandbox, "HEAD");
    switch(&sandbox, "main");
    merge(&sandbox, "2027-02-05", &["side"]);
    let reported = reported(&sandbox).unwrap();
    assert!(reported.contains(&format!("on 2027-02-03 ({moved})")), "{reported}");
}

/// The first value of a result is read from its branch, however the branch was merged.
#[test]
fn a_result_that_is_rewritten_on_a_branch() {
    let write = |sandbox: &Sandbox, day: &str, value: &str, notes: &str| {
        sandbox.write("rig.yaml", rig("rig", "track", value, "2027-02-03", notes));
        sandbox.commit_on(day, "result");
    };
    let reported = |sandbox: &Sandbox| {
        let report = sandbox.tierod(&["check", "--format", "json"]).json();
        let all = report["findings"].as_array().unwrap().iter();
        let mut all = all.filter(|finding| finding["check"] == "rewritten-result");
        all.next().map(|finding| finding["message"].as_str().unwrap().to_owned())
    };
    for nested in [false, true] {
        let sandbox = start("files");
        branch(&sandbox, "side");
        if nested {
            other(&sandbox, "2027-02-02", 1);
            branch(&sandbox, "inner");
        }
        write(&sandbox, "2027-02-03", "1.25 m", "");
        let first = name(&sandbox, "HEAD");
        write(&sandbox, "2027-02-04", "1.15 m", "");
        let second = name(&sandbox, "HEAD");
        if nested {
            switch(&sandbox, "side");
            merge(&sandbox, "2027-02-04", &["inner"]);
        }
        switch(&sandbox, "main");
        merge(&sandbox, "2027-02-05", &["side"]);
        let expected = format!(
            "the value of rig changed from `1.25 m` (2027-02-03, {first}) to `1.15 m` (2027-02-04, {second}) without a note"
        );
        assert_eq!(reported(&sandbox), Some(expected));
        // A note, on the main branch and since.
        write(&sandbox, "2027-02-06", "1.15 m", ", notes: The tape was read from its wrong end.");
        assert_eq!(reported(&sandbox), None);
        write(&sandbox, "2027-02-07", "1.15 m", "");
        assert!(reported(&sandbox).is_some(), "the note is gone");
        write(&sandbox, "2027-02-08", "1.25 m", "");
        assert_eq!(reported(&sandbox), None, "restored");
    }
    // A note on the branch, with the change.
    let sandbox = start("files");
    branch(&sandbox, "side");
    write(&sandbox, "2027-02-03", "1.25 m", "");
    write(&sandbox, "2027-02-04", "1.15 m", ", notes: The tape was read from its wrong end.");
    switch(&sandbox, "main");
    merge(&sandbox, "2027-02-05", &["side"]);
    assert_eq!(reported(&sandbox), None);
    write(&sandbox, "2027-02-06", "1.15 m", "");
    assert!(reported(&sandbox).is_some(), "the note is gone");
}

/// A history of random commits, branches and merges, as `git fast-import` reads it; commit N is the branch `cN`.
fn random_history(seed: u32, commits: usize) -> String {
    let mut state = seed;
    let mut draw = |below: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as usize % below
    };
    let mut out = String::new();
    // The content of each commit: the limit, and the values of two results.
    let mut held: Vec<[usize; 3]> = Vec::new();
    let mut heads = vec![0];
    for number in 0..commits {
        let head = draw(heads.len());
        let mut parents = if number == 0 { Vec::new() } else { vec![heads[head]] };
        let mut now = parents.first().map_or([1, 0, 0], |parent| held[*parent]);
        if heads.len() > 1 && draw(3) == 0 {
            let other = heads[draw(heads.len())];
            if other != parents[0] {
                parents.push(other);
                (0..3)
                    .filter(|_| draw(2) == 0)
                    .collect::<Vec<_>>()
                    .into_iter()
                    .for_each(|at| now[at] = held[other][at]);
            }
        } else if number > 0 {
            now[draw(3)] = draw(4);
        }
        let time = 1_800_000_000 + 86_400 * (number - draw(3).min(number));
        out += &format!("commit refs/heads/c{number}\nmark :{}\n", number + 1);
        out += &format!("author T <t@example.org> {time} +0000\ncommitter T <t@example.org> {time} +0000\ndata 1\nx\n");
        for (at, parent) in parents.iter().enumerate() {
            out += &format!("{} :{}\n", if at == 0 { "from" } else { "merge" }, parent + 1);
        }
        let [limit, one, two] = now;
        let chain = track("track", &format!("1.{limit} m"), "");
        let result = |id: &str, value: usize| match value {
            0 => String::new(),
            _ => {
                // With a limit of 1.1 m the first is met and the last missed.
                let value = format!("1.{}5 m, date: 2027-01-1{value}", value - 1);
                format!("  {id}: {{of: track, value: {value}, evidence: [chain.yaml]}}\n")
            }
        };
        let results = format!("results:\n{}{}", result("rig", one), result("tape", two));
        for (path, text) in [("track.yaml", chain), ("rig.yaml", results), ("chain.yaml", String::from("parts:\n"))] {
            out += &format!("M 100644 inline {path}\ndata {}\n{text}\n", text.len());
        }
        out += "M 100644 inline tierod.yaml\ndata 13\nseason: 2027\n\n";
        held.push(now);
        if draw(4) == 0 && heads.len() < 4 {
            heads.push(number);
        } else {
            heads[head] = number;
        }
    }
    out
}

/// Whatever was read before, of any branch, the history is the same as without a cache.
#[test]
fn what_was_read_before_changes_nothing() {
    const COMMITS: usize = 16;
    let (mut after, mut rewritten) = (0, 0);
    for seed in 0..12 {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main"]);
        sandbox.write("stream", random_history(seed, COMMITS));
        let stream = std::fs::File::open(sandbox.path_of("stream")).unwrap();
        let import = sandbox.command("git", &sandbox.path()).args(["fast-import", "--quiet"]).stdin(stream).status();
        assert!(import.unwrap().success());
        let tip = format!("c{}", COMMITS - 1);
        sandbox.git(&["checkout", "-q", "-f", "--detach", &tip]);
        let all = || {
            let ask = |args: &[&str]| sandbox.tierod(&[args, &["--rev", &tip, "--format", "json"]].concat()).out;
            [ask(&["check"]), ask(&["history", "track"]), ask(&["audit"])]
        };
        let fresh = all();
        assert_eq!(all(), fresh, "seed {seed}: from the cache");
        std::fs::remove_dir_all(sandbox.path_of(".git/tierod")).unwrap();
        for number in 0..COMMITS {
            sandbox.tierod(&["check", "--rev", &format!("c{number}")]);
        }
        assert_eq!(all(), fresh, "seed {seed}: after every other commit");
        after += usize::from(fresh[0].contains("target-after-result"));
        rewritten += usize::from(fresh[0].contains("rewritten-result"));
    }
    assert!(after > 2 && rewritten > 2, "nothing to compare: {after}, {rewritten}");
}

/// The changes of one commit are in the order of its file, whichever of them came from another branch before.
#[test]
fn the_order_within_a_commit() {
    let sandbox = start("files");
    let results = |ids: &[&str]| {
        let one =
            |id: &&str| format!("  {id}: {{of: track, value: 1.1 m, date: 2027-01-05, evidence: [chain.yaml]}}\n");
        sandbox.write("rig.yaml", format!("results:\n{}", ids.iter().map(one).collect::<String>()));
        sandbox.commit_on("2027-01-05", "results");
    };
    branch(&sandbox, "side");
    results(&["tape"]);
    switch(&sandbox, "main");
    results(&["rig", "tape"]);
    let show = |rev: &str| sandbox.tierod(&["history", "track", "--rev", rev, "--format", "json"]).ended(0).out;
    let fresh = show("main");
    std::fs::remove_dir_all(sandbox.path_of(".git/tierod")).unwrap();
    show("side");
    assert_eq!(show("main"), fresh);
}
