//! What a comparison says of records that have a new id, and of files that cannot be read.

use crate::git_hooks::parts;
use crate::support::Sandbox;

/// A repository with an error in its last commit: a part that serves a record that does not exist.
fn with_an_error() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("radiator.yaml", parts(&["radiator"]).replace("circle-time", "circle-tim"));
    sandbox.commit_on("2027-03-01", "first");
    sandbox
}

#[test]
fn an_error_about_a_renamed_record_is_not_new() {
    let sandbox = with_an_error();
    sandbox.write("radiator.yaml", parts(&["cooler"]).replace("circle-time", "circle-tim"));
    sandbox.git(&["add", "."]);
    let out = sandbox.tierod(&["check", "--staged"]).ended(0).out;
    assert!(out.contains("new: 0 errors") && out.contains("existing: 1 error"), "{out}");
    let words = out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("cooler seems to have a new id: if so, add `formerly: [radiator]` to it"), "{out}");
    let delta = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).ended(0).json();
    assert_eq!((&delta["new"], &delta["fixed"]), (&serde_json::json!([]), &serde_json::json!([])));
    assert_eq!(delta["renamed"][0]["add"], "formerly: [radiator]");
    // Another error in it is new.
    let more = parts(&["cooler", "hose"]).replace("circle-time", "circle-tim");
    sandbox.write("radiator.yaml", more);
    sandbox.git(&["add", "."]);
    let out = sandbox.tierod(&["check", "--staged"]).ended(1).out;
    assert!(out.contains("new: 1 error") && out.contains("existing: 1 error"), "{out}");
}

/// With a file that cannot be read nothing is known of the values, so that nothing gets better by it.
#[test]
fn a_broken_file_fixes_nothing() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write(
        "budget.yaml",
        "targets:\n  suspension-mass:\n    of: suspension\n    at-most: 10 kg\n    total: mass\n    \
         serves: {circle-time: A lighter car turns faster.}\n    verify: {by: test, with: scales, due: 2027-06-01}\n",
    );
    let heavy =
        parts(&["left"]).replace("    verify", "    amounts: {mass: {value: 18 kg, basis: weighed}}\n    verify");
    sandbox.write("heavy.yaml", &heavy);
    sandbox.commit_on("2027-03-01", "first");
    let readable = sandbox.tierod(&["check", "--format", "json"]).json();
    assert!(readable["findings"].as_array().unwrap().iter().any(|finding| finding["check"] == "over-budget"));
    sandbox.write("heavy.yaml", heavy.replace("parts:", "parts: {"));
    for (base, head) in [("HEAD", None), ("HEAD", Some("HEAD~1"))] {
        // The second time with the broken file in base.
        if head.is_some() {
            sandbox.commit_on("2027-03-02", "broken");
        }
        let args: Vec<&str> = ["delta", base].into_iter().chain(head).chain(["--format", "json"]).collect();
        let delta = sandbox.tierod(&args).json();
        let fixed: Vec<_> = delta["fixed"].as_array().unwrap().iter().map(|finding| &finding["check"]).collect();
        assert!(fixed.iter().all(|check| *check == "unreadable-file"), "{fixed:?}");
        for key in ["values", "causes", "status_changes"] {
            assert_eq!(delta[key], serde_json::json!([]), "{key}: {delta}");
        }
        assert_eq!(delta["records"]["removed"], serde_json::json!([]));
        assert_eq!(delta["records"]["added"], serde_json::json!([]));
        let sides = ["before", "after"].map(|side| delta["amounts"]["mass"][side].as_f64());
        let unknown = usize::from(head.is_none());
        assert_eq!((sides[unknown], sides[1 - unknown]), (None, Some(18.0)), "{delta}");
    }
    sandbox.git(&["checkout", "-q", "HEAD~1", "--", "heavy.yaml"]);
    let out = sandbox.tierod(&["check", "--staged"]).ended(0).out;
    assert!(out.lines().any(|line| line.starts_with("uncovered: 0 errors   2 warnings")), "{out}");
}

#[test]
fn the_report_says_what_is_taken_as_it_is() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let settings = std::fs::read_to_string(sandbox.path_of("tierod.yaml")).unwrap();
    for (day, future) in [("2027-01-15", false), ("2029-01-15", true)] {
        sandbox.write("tierod.yaml", format!("{settings}history: {{since: {day}}}\n"));
        let out = sandbox.tierod(&["check", "--on", "2027-03-19"]).out;
        let line = out.lines().find(|line| line.starts_with("history checks start after ")).unwrap();
        assert!(line.contains(day) && line.contains("in the future") == future, "{line}");
    }
}
