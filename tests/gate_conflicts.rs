//! Files that cannot be read, above all those with conflict markers of a merge: what only follows from them is held back.

use serde_json::Value;

use crate::support::{Answer, CHAIN, SETTINGS, Sandbox};

/// A project in several files: the chain without its part, and parts next to it.
fn project() -> Sandbox {
    let sandbox = Sandbox::repository();
    let (chain, parts) = CHAIN.split_once("parts:\n").unwrap();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", chain);
    sandbox.write("parts.yaml", format!("parts:\n{parts}"));
    sandbox.commit_on("2027-03-01", "Start");
    sandbox
}

/// Edits a line of a file on two branches in two ways, and merges them.
fn conflict(sandbox: &Sandbox, path: &str, before: &str, sides: [&str; 2]) {
    let text = std::fs::read_to_string(sandbox.path_of(path)).unwrap();
    assert!(text.contains(before), "{text}");
    sandbox.git(&["checkout", "-q", "-b", "other"]);
    sandbox.write(path, text.replace(before, sides[0]));
    sandbox.commit_on("2027-03-02", "One way");
    sandbox.git(&["checkout", "-q", "main"]);
    sandbox.write(path, text.replace(before, sides[1]));
    sandbox.commit_on("2027-03-03", "Another way");
    let merge = sandbox.command("git", &sandbox.path()).args(["merge", "-q", "other"]).output().unwrap();
    assert!(!merge.status.success(), "a conflict");
}

fn lines(answer: &Answer) -> Vec<String> {
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let line = |f: &Value| {
        format!("{}:{} {} {} {}", text(&f["path"]), f["line"], text(&f["level"]), text(&f["check"]), text(&f["record"]))
    };
    answer.json()["findings"].as_array().unwrap().iter().map(line).collect()
}

#[test]
fn conflict_markers_are_named_and_nothing_that_follows_from_them() {
    let sandbox = project();
    conflict(&sandbox, "chain.yaml", "at-most: 5.2 s", ["at-most: 5.1 s", "at-most: 5.3 s"]);
    let marker = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    let line = 1 + marker.lines().position(|line| line.starts_with("<<<<<<< ")).unwrap();

    let answer = sandbox.tierod(&["check", "--format", "json"]).ended(1);
    assert_eq!(lines(&answer), [format!("chain.yaml:{line} error unreadable-file -")]);
    let report = answer.json();
    let finding = &report["findings"][0];
    assert_eq!(finding["message"], "the file has the conflict markers of an unfinished merge");
    assert_eq!(finding["column"], 1);
    assert_eq!(
        finding["help"],
        "keep what is right of both sides, and remove the lines that begin with `<<<<<<<`, `|||||||`, `=======` and \
         `>>>>>>>`"
    );
    // The part names the system and the target of the file.
    assert_eq!(report["summary"]["held_back"], 2);
    let text = sandbox.tierod(&["check"]).ended(1).out;
    assert!(text.contains("\nheld back: 2 findings that may only follow from a file that cannot be read\n"), "{text}");

    // With the base between the sides, and in the index.
    sandbox.git(&["checkout", "-q", "--conflict=diff3", "chain.yaml"]);
    assert!(std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap().contains("||||||| "));
    assert_eq!(
        lines(&sandbox.tierod(&["check", "--format", "json"])),
        [format!("chain.yaml:{line} error unreadable-file -")]
    );
    sandbox.git(&["add", "-A"]);
    let staged = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(1);
    assert_eq!(lines(&staged), [format!("chain.yaml:{line} error unreadable-file -")]);

    // Committed as it is: nothing is fixed by that, and nothing but the file is new.
    sandbox.commit_on("2027-03-04", "Merge other");
    let delta = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "json"]).ended(1).json();
    assert_eq!((delta["new"].as_array().unwrap().len(), delta["fixed"].as_array().unwrap().len()), (1, 0), "{delta}");

    // One marker that was overlooked.
    let rest: Vec<&str> =
        marker.lines().filter(|line| !line.starts_with("<<<<") && !line.starts_with("====")).collect();
    sandbox.write("chain.yaml", rest.join("\n"));
    let report = sandbox.tierod(&["check", "--format", "json"]).ended(1);
    let left = 1 + rest.iter().position(|line| line.starts_with(">>>>>>> ")).unwrap();
    assert_eq!(lines(&report), [format!("chain.yaml:{left} error unreadable-file -")]);
    assert!(report.json()["findings"][0]["message"].as_str().unwrap().contains("conflict markers"));
}

#[test]
fn conflict_markers_in_the_settings() {
    let sandbox = project();
    sandbox.write("cad/part.yaml", "shape: box\n");
    sandbox.write("tierod.yaml", format!("{SETTINGS}ignore: [\"cad/**\"]\n"));
    sandbox.commit_on("2027-03-01", "Ignore the drawings");
    conflict(&sandbox, "tierod.yaml", "as-of: 2027-03-19", ["as-of: 2027-06-10", "as-of: 2027-06-20"]);
    let answer = sandbox.tierod(&["check", "--format", "json", "--on", "2027-06-15"]).ended(1);
    assert_eq!(lines(&answer), ["tierod.yaml:2 error unreadable-file -"]);
    let text = sandbox.tierod(&["check", "--on", "2027-06-15"]).ended(1).out;
    assert!(text.contains("conflict markers") && text.contains("held back: "), "{text}");
}

/// A text that is valid YAML is a conflict too if both sides are there.
#[test]
fn a_conflict_in_valid_yaml() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let both = "<<<<<<< HEAD\nleft\n=======\nright\n>>>>>>> other\n";
    let lone = "a heading\n=======\n";
    for (text, line) in [(both, Some(2)), (lone, None)] {
        sandbox
            .write("notes.yaml", format!("systems: {{brakes: {{in: car, lead: brakes lead, notes: \"\n{text}\"}}}}\n"));
        let found = lines(&sandbox.tierod(&["check", "--format", "json"]));
        let expected = line.map(|line: u32| format!("notes.yaml:{line} error unreadable-file -"));
        assert_eq!(found, expected.into_iter().collect::<Vec<_>>(), "{text}");
    }
}

/// While a file cannot be read, what the others lack by themselves is reported, and an id that is in no file.
#[test]
fn what_is_wrong_in_the_other_files_is_still_reported() {
    let sandbox = project();
    sandbox.write(
        "parts.yaml",
        "\
parts:
  hub:
    in: suspention
    titel: Hub
    serves: {circle-time: todo, circle-tim: It holds the wheel.}
    verify: {by: inspection, with: gauge, due: 2027-02-01}
  arm: {in: suspension, count: 0, serves: {circle-time: It guides the wheel.}}
results:
  run: {of: circle-time, value: 5.1 s ± 0.02 s, date: 2027-03-01, evidence: [a.csv]}
",
    );
    let all = lines(&sandbox.tierod(&["check", "--format", "json"]));
    let broken = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap() + "lists: [\n";
    sandbox.write("chain.yaml", broken);
    let kept = lines(&sandbox.tierod(&["check", "--format", "json"]));
    assert_eq!(
        kept,
        [
            "chain.yaml:19 error unreadable-file -",
            "parts.yaml:4 error unknown-key hub",
            "parts.yaml:7 error bad-value arm",
            "parts.yaml:3 error unknown-reference hub",
            "parts.yaml:5 error unknown-reference hub",
            "parts.yaml:5 warning no-reason hub",
            "parts.yaml:9 warning no-evidence run",
        ]
    );
    let missing: Vec<&String> = all.iter().filter(|line| !kept.contains(line)).collect();
    assert_eq!(missing, ["parts.yaml:6 warning verification-overdue hub", "parts.yaml:7 warning no-verification arm"]);
}

/// A file of waivers that cannot be read: what it may accept is held back, too.
#[test]
fn findings_that_an_unreadable_waiver_may_accept() {
    let sandbox = project();
    sandbox.write("more.yaml", "targets: {mass: {of: suspension, at-most: 3 kg, serves: {circle-time: todo}}}\n");
    let waiver = "waivers:\n  w: {check: no-reason, of: mass, until: 2027-04-30, agreed-by: lead, reason: We wait.}\n";
    sandbox.write("waivers.yaml", waiver);
    let found = lines(&sandbox.tierod(&["check", "--format", "json"]));
    assert!(found.contains(&"more.yaml:1 warning no-verification mass".to_owned()), "{found:?}");
    assert!(!found.iter().any(|line| line.contains("no-reason")), "{found:?}");
    sandbox.write("waivers.yaml", format!("{waiver}  x: {{\n"));
    let found = lines(&sandbox.tierod(&["check", "--format", "json"]));
    assert_eq!(found, ["waivers.yaml:4 error unreadable-file -", "more.yaml:1 warning no-verification mass"]);
}

/// A commit that only repairs a file adds no finding to the files next to it.
#[test]
fn a_repaired_file_brings_no_findings_of_others() {
    let sandbox = project();
    sandbox.write(
        "goal.yaml",
        "targets: {late: {of: car, at-most: 1 s, lead: lead, estimate: 2 s, serves: {skidpad: It counts.}}}\n",
    );
    let chain = std::fs::read_to_string(sandbox.path_of("parts.yaml")).unwrap();
    sandbox.commit_on("2027-03-02", "Add a target that is at risk");
    sandbox.write("parts.yaml", format!("<<<<<<< HEAD\n{chain}=======\n>>>>>>> x\n"));
    sandbox.commit_on("2027-03-03", "Break the parts");
    sandbox.write("parts.yaml", chain);
    sandbox.commit_on("2027-03-04", "Repair the parts");
    let delta = |base: &str, head: &str| sandbox.tierod(&["delta", base, head, "--format", "json"]).json();
    let count = |delta: &Value, key: &str| delta[key].as_array().unwrap().len();
    let repaired = delta("HEAD~1", "HEAD");
    assert_eq!((count(&repaired, "new"), count(&repaired, "fixed")), (0, 1), "{repaired}");
    let broken = delta("HEAD~2", "HEAD~1");
    assert_eq!((count(&broken, "new"), count(&broken, "fixed")), (1, 0), "{broken}");
}

/// A name that does not exist is one error: the lead and the total of its system are not known.
#[test]
fn what_follows_from_an_unknown_system_is_not_reported() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let records = |system: &str| {
        format!(
            "
systems:
  brakes: {{in: car, lead: brakes lead}}
targets:
  brakes-mass:
    of: brakes
    at-most: 10 kg
    total: mass
    serves: {{circle-time: A light car turns faster.}}
    verify: {{by: test, with: scales, due: 2027-06-01}}
parts:
  disc:
    in: brakes
    amounts: {{mass: 4 kg}}
    serves: {{circle-time: It stops the car.}}
    verify: {{by: test, with: scales, due: 2027-06-01}}
  caliper:
    in: {system}
    amounts: {{mass: 4 kg}}
    serves: {{circle-time: It holds the pads.}}
    verify: {{by: test, with: scales, due: 2027-06-01}}
"
        )
    };
    sandbox.write("parts.yaml", records("brakes"));
    assert_eq!(lines(&sandbox.tierod(&["check", "--format", "json"])), [""; 0]);
    sandbox.write("parts.yaml", records("braces"));
    assert_eq!(
        lines(&sandbox.tierod(&["check", "--format", "json"])),
        ["parts.yaml:18 error unknown-reference caliper"]
    );
}
