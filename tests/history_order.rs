//! Difficult shapes of branches for the question which of a limit and a result was committed first.

use crate::history_merges::{
    assert_reported, branch, limit, merge, name, other, reported, result, rig, start, switch, track,
};
use crate::support::Sandbox;

/// A feature that is merged through another branch: the limit does not descend from the result, and is older.
#[test]
fn through_an_integration_branch() {
    let sandbox = start("files");
    branch(&sandbox, "feature");
    limit(&sandbox, "2027-02-01", "1.3 m");
    switch(&sandbox, "main");
    result(&sandbox, "2027-02-03", "2027-02-03");
    branch(&sandbox, "develop");
    merge(&sandbox, "2027-02-04", &["feature"]);
    other(&sandbox, "2027-02-04", 1);
    switch(&sandbox, "main");
    merge(&sandbox, "2027-02-05", &["develop"]);
    assert_eq!(reported(&sandbox), None);
}

/// The feature branch was updated by a merge of the main branch, which had the result; its clock is behind.
#[test]
fn after_the_main_branch_was_merged_in() {
    for format in ["files", "reftable"] {
        for day in ["2027-02-03", "2027-02-02"] {
            let sandbox = start(format);
            branch(&sandbox, "side");
            other(&sandbox, "2027-02-01", 1);
            switch(&sandbox, "main");
            result(&sandbox, "2027-02-03", "2027-02-03");
            switch(&sandbox, "side");
            merge(&sandbox, "2027-02-03", &["main"]);
            limit(&sandbox, day, "1.3 m");
            let moved = name(&sandbox, "HEAD");
            switch(&sandbox, "main");
            merge(&sandbox, "2027-02-05", &["side"]);
            assert_reported(&sandbox, day, &moved);
        }
    }
}

/// A branch is merged after the result was added, and again after the limit changed.
#[test]
fn one_branch_merged_twice() {
    for on_main in [false, true] {
        let sandbox = start("files");
        if on_main {
            result(&sandbox, "2027-02-03", "2027-02-03");
        }
        branch(&sandbox, "side");
        if on_main {
            // A merge that is read, because it changes a result.
            sandbox.write("more.yaml", "results: {x: {of: track, outcome: pass, date: 2027-02-02}}\n");
            sandbox.commit_on("2027-02-03", "another result");
        } else {
            result(&sandbox, "2027-02-03", "2027-02-03");
        }
        switch(&sandbox, "main");
        merge(&sandbox, "2027-02-03", &["side"]);
        switch(&sandbox, "side");
        limit(&sandbox, "2027-02-03", "1.3 m");
        let moved = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        merge(&sandbox, "2027-02-05", &["side"]);
        assert_reported(&sandbox, "2027-02-03", &moved);
    }
}

/// Each on its own branch, merged together or one after the other: the dates decide.
#[test]
fn each_on_its_own_branch() {
    for at_once in [false, true] {
        for (day, after) in [("2027-02-03", false), ("2027-02-10", true)] {
            let sandbox = start("files");
            branch(&sandbox, "one");
            result(&sandbox, "2027-02-03", "2027-02-03");
            switch(&sandbox, "main");
            branch(&sandbox, "two");
            limit(&sandbox, day, "1.3 m");
            let moved = name(&sandbox, "HEAD");
            switch(&sandbox, "main");
            other(&sandbox, "2027-02-10", 1);
            if at_once {
                merge(&sandbox, "2027-02-12", &["one", "two"]);
            } else {
                merge(&sandbox, "2027-02-11", &["one"]);
                merge(&sandbox, "2027-02-12", &["two"]);
            }
            if after {
                assert_reported(&sandbox, day, &moved);
            } else {
                assert_eq!(reported(&sandbox), None, "at once: {at_once}");
            }
        }
    }
}

/// The limit was changed in the merge commit that also adds the result.
#[test]
fn a_limit_that_the_merge_itself_changed() {
    let sandbox = start("files");
    branch(&sandbox, "side");
    result(&sandbox, "2027-02-03", "2027-02-03");
    switch(&sandbox, "main");
    other(&sandbox, "2027-02-03", 1);
    sandbox.git(&["merge", "-q", "--no-ff", "--no-commit", "side"]);
    limit(&sandbox, "2027-02-03", "1.3 m");
    assert_reported(&sandbox, "2027-02-03", &name(&sandbox, "HEAD"));
}

/// Changes of a merge are found on their branch before the merge is committed, too.
#[test]
fn a_merge_that_is_not_committed_yet() {
    for format in ["files", "reftable"] {
        let sandbox = start(format);
        branch(&sandbox, "side");
        limit(&sandbox, "2027-02-01", "1.3 m");
        switch(&sandbox, "main");
        result(&sandbox, "2027-02-06", "2027-02-03");
        sandbox.git(&["merge", "-q", "--no-ff", "--no-commit", "side"]);
        assert_eq!(reported(&sandbox), None);
        let staged = sandbox.tierod(&["check", "--staged", "--format", "json"]).json();
        assert!(!staged.to_string().contains("target-after-result"), "{staged}");
        sandbox.git_on("2027-02-08", &["commit", "-q", "--no-edit"]);
        assert_eq!(reported(&sandbox), None);
    }
}

/// The branch forked from a commit that did not change the project root.
#[test]
fn an_unfinished_merge_from_a_commit_without_record_changes() {
    for committed in [false, true] {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main"]);
        sandbox.small_root("car/");
        let write = |path: &str, text: &str| {
            sandbox.write(path, text);
            sandbox.commit_on("2027-02-03", "step");
        };
        write("car/track.yaml", &track("track", "1.2 m", ""));
        write("car/rig.yaml", &rig("rig", "track", "1.25 m", "2027-02-03", ""));
        write("outside.txt", "not a record");
        branch(&sandbox, "side");
        write("car/track.yaml", &track("track", "1.3 m", ""));
        let moved = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        sandbox.git(&["merge", "-q", "--no-ff", "--no-commit", "side"]);
        if committed {
            sandbox.git_on("2027-02-03", &["commit", "-q", "--no-edit"]);
        }
        let report = sandbox.tierod(&["check", "car", "--format", "json"]).json().to_string();
        let reported = format!("changed from at most 1.2 m to at most 1.3 m on 2027-02-03 ({moved})");
        assert!(report.contains(&reported), "committed: {committed}\n{report}");
    }
}

/// Later renames of records, and of the project root, do not change what was committed on a branch.
#[test]
fn renamed_after_the_merge() {
    for after in [false, true] {
        let sandbox = start("files");
        branch(&sandbox, "side");
        limit(&sandbox, if after { "2027-02-04" } else { "2027-02-01" }, "1.3 m");
        let moved = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        result(&sandbox, "2027-02-06", "2027-02-03");
        merge(&sandbox, "2027-02-08", &["side"]);
        sandbox.write("track.yaml", track("track-width", "1.3 m", ", formerly: [track]"));
        sandbox.write("rig.yaml", rig("bench", "track-width", "1.25 m", "2027-02-03", ", formerly: [rig]"));
        sandbox.commit_on("2027-02-09", "other names");
        let report = sandbox.tierod(&["check", "--format", "json"]).json().to_string();
        let reported = format!("changed from at most 1.2 m to at most 1.3 m on 2027-02-04 ({moved})");
        assert_eq!(report.contains("target-after-result"), after, "{report}");
        assert_eq!(report.contains(&reported), after, "{report}");
    }
}

#[test]
fn a_project_root_that_was_renamed_before_the_merge() {
    for format in ["files", "reftable"] {
        let sandbox = Sandbox::new();
        sandbox.git(&["init", "-q", "-b", "main", "--ref-format", format]);
        sandbox.small_root("car/");
        let write = |path: &str, text: &str, day: &str| {
            sandbox.write(path, text);
            sandbox.commit_on(day, "step");
        };
        write("car/track.yaml", &track("track", "1.2 m", ""), "2027-01-01");
        branch(&sandbox, "side");
        write("car/track.yaml", &track("track", "1.3 m", ""), "2027-02-01");
        switch(&sandbox, "main");
        write("car/rig.yaml", &rig("rig", "track", "1.25 m", "2027-02-03", ""), "2027-02-06");
        sandbox.git(&["mv", "car", "vehicle"]);
        sandbox.commit_on("2027-02-07", "rename");
        merge(&sandbox, "2027-02-08", &["side"]);
        let report = sandbox.tierod(&["check", "vehicle", "--format", "json"]).json().to_string();
        assert!(!report.contains("target-after-result"), "{format}: {report}");
    }
}

/// A branch that changes only the target's title does not change its limit.
#[test]
fn a_branch_that_changes_another_key_of_the_target() {
    let sandbox = start("files");
    limit(&sandbox, "2027-01-02", "1.3 m");
    branch(&sandbox, "side");
    let text = std::fs::read_to_string(sandbox.path_of("track.yaml")).unwrap();
    sandbox.write("track.yaml", text.replace("{of:", "{title: Track, of:"));
    sandbox.commit_on("2027-02-01", "title");
    switch(&sandbox, "main");
    limit(&sandbox, "2027-02-02", "1.2 m");
    result(&sandbox, "2027-02-03", "2027-02-03");
    sandbox.git(&["merge", "-q", "--no-ff", "--no-commit", "-s", "ours", "side"]);
    limit(&sandbox, "2027-02-08", "1.3 m");
    assert_reported(&sandbox, "2027-02-08", &name(&sandbox, "HEAD"));
}

/// A clone without the start of a branch has a shallow history, whatever the main branch has.
#[test]
fn a_clone_without_the_start_of_a_branch() {
    let sandbox = start("files");
    branch(&sandbox, "side");
    result(&sandbox, "2027-02-03", "2027-02-03");
    for number in 1..4 {
        other(&sandbox, "2027-02-04", number);
    }
    limit(&sandbox, "2027-02-08", "1.3 m");
    let moved = name(&sandbox, "HEAD");
    for number in 4..7 {
        other(&sandbox, "2027-02-09", number);
    }
    switch(&sandbox, "main");
    sandbox.write("third.yaml", "parts: {nut: {in: suspension}}\n");
    sandbox.commit_on("2027-02-09", "third");
    merge(&sandbox, "2027-02-10", &["side"]);
    assert_reported(&sandbox, "2027-02-08", &moved);
    let url = format!("file://{}", sandbox.path().display());
    for depth in 3..8 {
        let clone = format!("clone-{depth}");
        sandbox.git(&["clone", "-q", "--depth", &depth.to_string(), &url, &clone]);
        let folder = sandbox.path_of(&clone);
        let check = || sandbox.tierod_in(&folder, &["check", "--format", "json"]).json();
        assert_eq!(check()["history"], "shallow", "depth {depth}");
        let output = sandbox.command("git", &folder).args(["fetch", "-q", "--unshallow"]).output().unwrap();
        assert!(output.status.success());
        assert!(check().to_string().contains(&moved), "depth {depth}");
    }
}

/// A result is rewritten on one of two branches that are merged together, in either order.
#[test]
fn rewritten_on_one_of_two_branches() {
    let value = |sandbox: &Sandbox, value: &str| {
        let text = rig("rig", "track", value, "2027-02-03", "");
        sandbox.write("rig.yaml", text);
        // On the same day it would be a typing error that was put right.
        sandbox.commit_on(if value == "1.15 m" { "2027-02-04" } else { "2027-02-03" }, "result");
    };
    for order in [["one", "two"], ["two", "one"]] {
        let sandbox = start("files");
        branch(&sandbox, "one");
        value(&sandbox, "1.25 m");
        branch(&sandbox, "two");
        value(&sandbox, "1.15 m");
        switch(&sandbox, "one");
        other(&sandbox, "2027-02-04", 1);
        switch(&sandbox, "main");
        merge(&sandbox, "2027-02-05", &order);
        let report = sandbox.tierod(&["check", "--format", "json"]).json().to_string();
        assert!(report.contains("the value of rig changed from `1.25 m` (2027-02-03"), "{order:?}: {report}");
    }
    // On its own branch, after the result was added.
    let sandbox = start("files");
    value(&sandbox, "1.25 m");
    branch(&sandbox, "one");
    value(&sandbox, "1.15 m");
    let second = name(&sandbox, "HEAD");
    switch(&sandbox, "main");
    merge(&sandbox, "2027-02-05", &["one"]);
    let report = sandbox.tierod(&["check", "--format", "json"]).json().to_string();
    assert!(report.contains(&format!("to `1.15 m` (2027-02-04, {second}) without a note")), "{report}");
    // The merge commit rewrites the result of its branch.
    let sandbox = start("files");
    branch(&sandbox, "one");
    value(&sandbox, "1.25 m");
    switch(&sandbox, "main");
    sandbox.git(&["merge", "-q", "--no-ff", "--no-commit", "one"]);
    value(&sandbox, "1.15 m");
    let report = sandbox.tierod(&["check", "--format", "json"]).json().to_string();
    assert!(report.contains("the value of rig changed from `1.25 m` (2027-02-03"), "{report}");
}
