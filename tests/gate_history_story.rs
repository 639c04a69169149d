//! `history` of a record shows every change of it.

use serde_json::Value;

use crate::history_merges::other;
use crate::support::Sandbox;

fn story(sandbox: &Sandbox, id: &str) -> Vec<String> {
    let story = sandbox.tierod(&["history", id, "--format", "json"]).ended(0).json();
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let changes = story["changes"].as_array().unwrap().iter();
    changes
        .map(|c| format!("{} {}: {} -> {}", text(&c["day"]), text(&c["what"]), text(&c["before"]), text(&c["after"])))
        .collect()
}

#[test]
fn history_shows_every_change() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let write = |day: &str, path: &str, text: &str| {
        sandbox.write(path, text);
        sandbox.commit_on(day, "step");
    };
    write("2027-01-01", "rack.yaml", "parts: {rack: {in: suspension, count: 1}}\n");
    write(
        "2027-01-02",
        "rack.yaml",
        "parts: {rack: {in: suspension, count: 1, title: Rack, lead: x, notes: Bought.}}\n",
    );
    write("2027-01-03", "rack.yaml", "parts: {rack: {in: suspension, count: 1, title: Steering rack, lead: y}}\n");
    write("2027-01-04", "rack.yaml", "");
    write("2027-01-05", "steering.yaml", "parts: {rack: {in: suspension, count: 2, title: Steering rack, lead: y}}\n");
    sandbox.git(&["mv", "steering.yaml", "front.yaml"]);
    sandbox.commit_on("2027-01-06", "move");
    sandbox.git(&["rm", "-q", "front.yaml"]);
    write(
        "2027-01-07",
        "gear.yaml",
        "parts: {gear: {in: suspension, count: 2, title: Steering rack, lead: y, formerly: [rack]}}\n",
    );
    write(
        "2027-01-08",
        "test.yaml",
        "results: {pull: {of: gear, outcome: pass, date: 2027-01-08, evidence: [chain.yaml]}}\n",
    );
    sandbox.git(&["rm", "-q", "test.yaml", "gear.yaml"]);
    sandbox.commit_on("2027-01-09", "remove");
    let expected = [
        "2027-01-01 added: - -> -",
        "2027-01-01 count: - -> 1",
        "2027-01-02 lead: - -> x",
        "2027-01-02 notes: - -> Bought.",
        "2027-01-02 title: - -> Rack",
        "2027-01-03 lead: x -> y",
        "2027-01-03 notes: Bought. -> -",
        "2027-01-03 title: Rack -> Steering rack",
        "2027-01-04 removed: - -> -",
        "2027-01-05 added again: - -> -",
        "2027-01-05 count: 1 -> 2",
        "2027-01-05 moved to another file: rack.yaml -> steering.yaml",
        "2027-01-06 moved to another file: steering.yaml -> front.yaml",
        "2027-01-07 moved to another file: front.yaml -> gear.yaml",
        "2027-01-07 renamed: rack -> gear",
        "2027-01-08 result pull: outcome: - -> pass",
        "2027-01-09 removed: - -> -",
        "2027-01-09 result pull: removed: - -> -",
    ];
    let mut found = story(&sandbox, "gear");
    found.sort();
    assert_eq!(found, expected);
    let page = sandbox.tierod(&["history", "gear"]).ended(0).out;
    for words in ["added again", "moved to another file", "title", "lead", "notes", "removed", "renamed"] {
        assert!(page.lines().any(|line| line.contains(words)), "{words}\n{page}");
    }
}

#[test]
fn history_outside_of_git_names_the_way_in() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let error = sandbox.tierod(&["history", "hub"]).ended(2).err;
    assert!(error.contains("not in a git repository") && error.contains("run `git init`, then commit"), "{error}");
    sandbox.git(&["init", "-q"]);
    let error = sandbox.tierod(&["history", "hub"]).ended(2).err;
    assert!(!error.contains("git init") && error.contains("commit the records"), "{error}");
    other(&sandbox, "2027-01-01", 1);
    sandbox.tierod(&["history", "hub"]).ended(0);
}
