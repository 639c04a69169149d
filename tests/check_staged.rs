//! `check --staged`: only findings that the commit adds are reported; existing findings are counted.

use crate::git_hooks::parts;
use crate::support::{Answer, Sandbox};

/// A part in an unknown system: an error at any stage.
fn broken(id: &str) -> String {
    format!(
        "parts:\n  {id}:\n    in: nowhere\n    serves: {{circle-time: It holds the sensor.}}\n    lead: suspension lead\n    \
         verify: {{by: inspection, with: gauge, due: 2027-06-01}}\n"
    )
}

/// Parts without verification: one warning each.
fn bare(ids: &[&str]) -> String {
    let lines =
        ids.iter().map(|id| format!("  {id}: {{in: suspension, serves: {{circle-time: It holds {id} up.}}}}\n"));
    "parts:\n".to_owned() + &lines.collect::<String>()
}

/// A repository that has an error and a warning in its last commit.
fn with_an_old_error() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("old.yaml", broken("old-bracket"));
    sandbox.write("bare.yaml", bare(&["bare-one"]));
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "with an old error"]);
    sandbox
}

/// The records that have findings.
fn with_findings(answer: &Answer) -> Vec<String> {
    let json = answer.json();
    let mut all: Vec<String> =
        json["findings"].as_array().unwrap().iter().map(|it| it["record"].as_str().unwrap().to_owned()).collect();
    all.dedup();
    all
}

#[test]
fn existing_findings_are_counted_and_do_not_block() {
    let sandbox = with_an_old_error();
    let plain = sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
    let (errors, warnings) = (&plain["summary"]["error"], &plain["summary"]["warning"]);
    assert_eq!((errors, warnings), (&1.into(), &1.into()));
    sandbox.write("fine.yaml", parts(&["fine"]));
    sandbox.git(&["add", "."]);
    let out = sandbox.tierod(&["check", "--staged"]).ended(0).out;
    assert!(!out.contains("old-bracket") && !out.contains("bare-one"), "{out}");
    assert!(out.contains("new: 0 errors"), "{out}");
    let line = "existing: 1 error   1 warning ";
    assert!(out.lines().any(|it| it.starts_with(line) && it.contains("`tierod check --staged --all`")), "{out}");
    let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0).json();
    assert_eq!(json["findings"], serde_json::json!([]));
    assert_eq!(json["summary"]["error"], 0);
    assert_eq!(json["summary"]["as_before"]["error"], 1);
    assert_eq!(json["summary"]["as_before"]["warning"], *warnings);
    assert_eq!(json["summary"]["records"], plain["summary"]["records"].as_u64().unwrap() + 1);
    // All findings, as in the working tree.
    let all = sandbox.tierod(&["check", "--staged", "--all", "--format", "json"]).ended(1).json();
    assert_eq!(all["findings"], plain["findings"]);
    assert_eq!(all["summary"].get("as_before"), None);
    assert!(sandbox.tierod(&["check", "--staged", "--all"]).ended(1).out.contains("old-bracket"));
    let misused = sandbox.tierod(&["check", "--all"]).ended(2).err;
    assert!(misused.contains("--staged"), "{misused}");
}

#[test]
fn new_errors_are_reported_and_block() {
    let sandbox = with_an_old_error();
    sandbox.write("new.yaml", broken("new-bracket"));
    sandbox.git(&["add", "."]);
    let answer = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1);
    assert_eq!(with_findings(&answer), ["new-bracket"]);
    let out = sandbox.tierod(&["check", "--staged"]).ended(1).out;
    assert!(
        out.contains("new.yaml:3:9") && out.contains("new: 1 error ") && out.contains("existing: 1 error "),
        "{out}"
    );
    // A second error in a record that had one before.
    sandbox.git(&["rm", "-qf", "new.yaml"]);
    sandbox.write("old.yaml", broken("old-bracket").replace("circle-time", "no-such-time"));
    sandbox.git(&["add", "."]);
    let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1).json();
    let new: Vec<&str> = json["findings"].as_array().unwrap().iter().map(|it| it["field"].as_str().unwrap()).collect();
    assert_eq!(new, ["serves.no-such-time"]);
    // A new warning is reported, and blocks nothing.
    sandbox.git(&["checkout", "-qf", "HEAD", "--", "old.yaml"]);
    sandbox.write("bare.yaml", bare(&["bare-one", "bare-two"]));
    sandbox.git(&["add", "."]);
    assert_eq!(with_findings(&sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0)), ["bare-two"]);
}

#[test]
fn moving_or_fixing_a_broken_record_adds_no_finding() {
    let sandbox = with_an_old_error();
    sandbox.git(&["mv", "old.yaml", "older.yaml"]);
    let moved = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0);
    assert_eq!(with_findings(&moved), [""; 0]);
    assert_eq!(moved.json()["summary"]["as_before"]["error"], 1);
    sandbox.git(&["rm", "-qf", "older.yaml", "bare.yaml"]);
    let out = sandbox.tierod(&["check", "--staged"]).ended(0).out;
    assert!(!out.contains("existing:"), "nothing is left to count: {out}");
    // An error that a change causes in another record is new, too.
    sandbox.git(&["reset", "-q", "--hard"]);
    let chain = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    sandbox.write("chain.yaml", chain.replace("  suspension: {in: car, lead: suspension lead}", "  other: {in: car}"));
    sandbox.git(&["add", "."]);
    let answer = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1);
    assert!(with_findings(&answer).contains(&"hub".to_owned()), "{}", answer.out);
}

#[cfg(unix)]
#[test]
fn the_hook_stops_only_new_errors() {
    let sandbox = with_an_old_error();
    sandbox.tierod(&["hook", "install"]).ended(0);
    let commit = |message: &str| {
        let output = sandbox.command("git", &sandbox.path()).args(["commit", "-qm", message]).output().unwrap();
        let said = [output.stdout, output.stderr].concat();
        (output.status.code().unwrap(), String::from_utf8_lossy(&said).into_owned())
    };
    sandbox.write("fine.yaml", parts(&["fine"]));
    sandbox.git(&["add", "."]);
    let (code, said) = commit("an old error does not block");
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("existing: 1 error") && !said.contains("old-bracket"), "{said}");
    sandbox.write("new.yaml", broken("new-bracket"));
    sandbox.git(&["add", "."]);
    let (code, said) = commit("a new one does");
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("new.yaml:3:9") && !said.contains("old.yaml"), "{said}");
    sandbox.write("new.yaml", parts(&["new-bracket"]));
    sandbox.git(&["add", "."]);
    assert_eq!(commit("fixed").0, 0);
    // `commit FILE` uses its own index; the base is still the last commit.
    sandbox.write("new.yaml", broken("new-bracket"));
    let output = sandbox.command("git", &sandbox.path()).args(["commit", "-qm", "only", "new.yaml"]).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
}

/// The report of the last commit is kept between runs: by commit and date, and it changes no answer.
#[test]
fn the_kept_report_of_the_last_commit_changes_no_answer() {
    let sandbox = with_an_old_error();
    let remove = || std::fs::remove_dir_all(sandbox.path_of(".git/tierod")).unwrap();
    let staged = |on: &str| sandbox.tierod(&["check", "--staged", "--format", "json", "--on", on]).json();
    sandbox.write("fine.yaml", parts(&["fine"]));
    sandbox.write("new.yaml", bare(&["bare-two"]));
    sandbox.git(&["add", "."]);
    let days = ["2027-03-19", "2027-08-19"];
    let fresh = days.map(|day| {
        let _ = std::fs::remove_dir_all(sandbox.path_of(".git/tierod"));
        staged(day)
    });
    assert_ne!(fresh[0], fresh[1], "what is overdue depends on the date");
    remove();
    for _ in 0..2 {
        assert_eq!(days.map(staged), fresh);
    }
    let kept = || {
        let names = std::fs::read_dir(sandbox.path_of(".git/tierod")).unwrap();
        names.filter_map(|entry| entry.unwrap().file_name().into_string().ok()).any(|name| name.starts_with("reports-"))
    };
    assert!(kept());
    // The next commit has its own report.
    sandbox.git(&["commit", "-qm", "more"]);
    sandbox.write("more.yaml", bare(&["bare-three"]));
    sandbox.git(&["add", "."]);
    let after = staged(days[0]);
    remove();
    assert_eq!(staged(days[0]), after);
    assert_eq!(after["summary"]["as_before"]["warning"], 2, "{after}");
}
