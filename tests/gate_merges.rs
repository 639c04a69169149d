//! What git's hooks see of a merge, and of other ways to create commits.

use crate::gate_base::{commit, four_errors, on_branch, try_git};
use crate::git_hooks::parts;
use crate::support::{Answer, Sandbox};

/// Two branches that each add a record, merged into one that stops or not. Returns the answer of `git merge`.
fn merged(sandbox: &Sandbox, left: &str, right: &str) -> Answer {
    sandbox.commit_on("2027-03-19", "first");
    sandbox.tierod(&["hook", "install"]).ended(0);
    sandbox.git(&["checkout", "-qb", "side"]);
    commit(sandbox, "left.yaml", left);
    sandbox.git(&["checkout", "-q", "main"]);
    commit(sandbox, "right.yaml", right);
    try_git(sandbox, &sandbox.path(), &["merge", "--no-edit", "side"])
}

#[test]
fn a_merge_of_two_records_with_one_id_is_stopped() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let stopped = merged(&sandbox, &parts(&["tilt"]), &parts(&["tilt"])).ended(1);
    let said = stopped.out + &stopped.err;
    assert!(said.contains("duplicate-id") && said.contains("new: 1 error"), "{said}");
    assert_eq!(sandbox.git(&["log", "-1", "--format=%s"]).trim(), "right.yaml", "the merge was committed");
    // The fix: rename one of them, and complete the merge.
    sandbox.write("right.yaml", parts(&["tilt-sensor"]));
    sandbox.git(&["add", "."]);
    let made = try_git(&sandbox, &sandbox.path(), &["commit", "-q", "--no-edit"]).ended(0);
    assert!(made.err.contains("new: 0 errors"), "{}", made.err);
    assert_eq!(sandbox.git(&["rev-list", "--parents", "-1", "HEAD"]).split_whitespace().count(), 3);
}

/// Two branches of 8 kg each against a limit of 10 kg: each is within it, and the merge is over it. It is an error about
/// the car, which is reported, and stops the merge if the settings say so.
#[test]
fn a_merge_of_two_masses_over_a_limit_is_reported() {
    let levels = "levels: {over-budget: error}\n";
    for (settings, level, code) in [
        ("", "1 warning", 0),
        (levels, "new: 1 error", 0),
        (&format!("{levels}stops: {{commit: all}}\n"), "new: 1 error", 1),
    ] {
        let sandbox = Sandbox::repository();
        sandbox.small_root("");
        let before = std::fs::read_to_string(sandbox.path_of("tierod.yaml")).unwrap();
        sandbox.write("tierod.yaml", before + settings);
        sandbox.write(
            "budget.yaml",
            "targets:\n  suspension-mass:\n    of: suspension\n    at-most: 10 kg\n    total: mass\n    \
             serves: {circle-time: A lighter car turns faster.}\n    verify: {by: test, with: scales, due: 2027-06-01}\n",
        );
        let heavy = |id: &str| {
            let text = parts(&[id]);
            text.replace("    verify", "    amounts: {mass: {value: 8 kg, basis: weighed}}\n    verify")
        };
        let said = merged(&sandbox, &heavy("left"), &heavy("right"));
        let text = said.out + &said.err;
        assert!(text.contains("over-budget") && text.contains("16 kg") && text.contains(level), "{settings}: {text}");
        assert_eq!(said.code, code, "{settings}: {text}");
    }
}

/// What README says about hooks: git runs none for these, so only CI checks them.
#[test]
fn git_runs_no_hook_for_some_ways_to_create_commits() {
    let ways: [(&str, &[&str]); 6] = [
        ("fast-forward", &["merge", "-q", "--ff-only", "side"]),
        ("cherry-pick", &["cherry-pick", "side"]),
        ("rebase", &["rebase", "-q", "main", "side"]),
        ("revert", &["revert", "--no-edit", "side"]),
        ("merge --no-verify", &["merge", "-q", "--no-edit", "--no-ff", "--no-verify", "side"]),
        ("merge", &["merge", "-q", "--no-edit", "--no-ff", "side"]),
    ];
    for (name, args) in ways {
        let sandbox = on_branch("main");
        sandbox.git(&["checkout", "-qb", "side"]);
        // Of a revert, the commit before is the broken one.
        if name == "revert" {
            commit(&sandbox, "bad.yaml", four_errors());
            std::fs::remove_file(sandbox.path_of("bad.yaml")).unwrap();
            sandbox.commit_on("2027-03-19", "fixed");
        } else {
            commit(&sandbox, "bad.yaml", four_errors());
            sandbox.git(&["checkout", "-q", "main"]);
        }
        if name == "rebase" {
            commit(&sandbox, "own.yaml", parts(&["own"]));
        }
        sandbox.tierod(&["hook", "install"]).ended(0);
        let answer = try_git(&sandbox, &sandbox.path(), args);
        let asked = name == "merge";
        // What a side of the merge has already is not new, so the hook runs and does not stop it.
        let ran = [&answer.out, &answer.err].iter().any(|text| text.contains("new: 0 errors"));
        assert_eq!((answer.code, ran), (0, asked), "{name}: {}{}", answer.out, answer.err);
        assert!(sandbox.path_of("bad.yaml").exists(), "{name}");
        sandbox.tierod(&["check"]).ended(1);
    }
    let sandbox = on_branch("main");
    sandbox.tierod(&["hook", "install"]).ended(0);
    sandbox.write("bad.yaml", four_errors());
    sandbox.git(&["add", "."]);
    try_git(&sandbox, &sandbox.path(), &["commit", "-qm", "broken"]).ended(1);
    sandbox.git(&["commit", "-qm", "broken", "--no-verify"]);
}
