//! The formats of `check`: each has every finding, and all end with the same status.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::support::{Answer, SETTINGS, Sandbox};

const FORMATS: [&str; 6] = ["terminal", "json", "sarif", "lines", "github", "gitlab"];

/// A repository whose project root `car 1` has an error, a warning, a note and a waived finding.
fn mixed() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("car 1/");
    sandbox.write(
        "car 1/tierod.yaml",
        format!("{SETTINGS}levels: {{no-reason: warning, no-verification: note, no-lead: warning}}\n"),
    );
    sandbox.write(
        "car 1/more.yaml",
        "\
parts:
  arm:
    in: suspension
    serves: {circle-tim: It holds the hub.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
  link:
    in: suspension
    serves: {circle-time: Link}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
  rod:
    in: suspension
    serves: {circle-time: It steers the wheel.}
  bolt:
    in: suspension
    serves: {circle-time: It holds the rod.}
waivers:
  late: {check: no-verification, of: bolt, until: 2027-06-01, agreed-by: chief engineer, reason: The rig is lent out.}
",
    );
    sandbox
}

fn check(sandbox: &Sandbox, format: &str) -> Answer {
    sandbox.tierod(&["check", "--format", format, "car 1"])
}

fn text<'v>(value: &'v Value, at: &str) -> &'v str {
    value.pointer(at).unwrap_or_else(|| panic!("{at} in {value}")).as_str().unwrap()
}

/// Parses a line as the pattern `%f:%l:%c: %t%*[^:]: %m` of editors does (Vim, `:help errorformat`; from memory):
/// path, line, column, the first letter of the level, message.
fn parsed(line: &str) -> Option<(&str, u32, u32, char, &str)> {
    line.match_indices(':').find_map(|(end, _)| {
        let mut rest = line[end + 1..].splitn(4, ':');
        let (row, column) = (rest.next()?.parse().ok()?, rest.next()?.parse().ok()?);
        let level = rest.next()?.strip_prefix(' ')?;
        let message = rest.next()?.strip_prefix(' ')?;
        let kind = level.chars().next()?;
        (end > 0 && level.len() > 1 && !message.is_empty()).then_some((&line[..end], row, column, kind, message))
    })
}

#[test]
fn no_format_drops_a_finding_and_all_end_with_the_same_status() {
    let sandbox = mixed();
    let report = check(&sandbox, "json").ended(1).json();
    // Check and place of each finding without a waiver, from the JSON answer.
    let all: Vec<(String, String, u64)> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (text(one, "/check").to_owned(), text(one, "/level").to_owned(), one["line"].as_u64().unwrap()))
        .collect();
    let levels: BTreeSet<&str> = all.iter().map(|(_, level, _)| level.as_str()).collect();
    assert_eq!(levels, ["error", "note", "warning"].into(), "{all:?}");
    assert_eq!(report["summary"]["waived"], 1);

    for format in FORMATS {
        let answer = check(&sandbox, format).ended(1);
        let found: Vec<(String, String, u64)> = match format {
            "json" => continue,
            "terminal" => answer
                .out
                .lines()
                .filter(|line| line.contains("more.yaml:"))
                .map(|line| {
                    let words: Vec<&str> = line.split("  ").map(str::trim).filter(|word| !word.is_empty()).collect();
                    let row = words[1].split(':').nth(1).unwrap().parse().unwrap();
                    (words[2].to_owned(), words[0].to_owned(), row)
                })
                .collect(),
            "lines" => answer
                .out
                .lines()
                .map(|line| {
                    let (path, row, _, kind, message) = parsed(line).unwrap_or_else(|| panic!("{line}"));
                    assert_eq!(path, "car 1/more.yaml");
                    let level = ["error", "warning", "note"].into_iter().find(|level| level.starts_with(kind));
                    let check = message.rsplit_once(" [").unwrap().1.trim_end_matches(']');
                    (check.to_owned(), level.unwrap().to_owned(), row.into())
                })
                .collect(),
            "github" => answer
                .out
                .lines()
                .map(|line| {
                    let (head, _) = line.strip_prefix("::").unwrap().split_once("::").unwrap();
                    let (command, properties) = head.split_once(' ').unwrap();
                    let value = |name: &str| {
                        let mut all = properties.split(',').filter_map(|property| property.split_once('='));
                        all.find(|(key, _)| *key == name).unwrap().1.to_owned()
                    };
                    assert_eq!(value("file"), "car 1/more.yaml");
                    let check = value("title").split("%3A").next().unwrap().to_owned();
                    (check, command.replace("notice", "note"), value("line").parse().unwrap())
                })
                .collect(),
            "gitlab" => {
                let list = answer.json();
                let prints: BTreeSet<&str> =
                    list.as_array().unwrap().iter().map(|one| text(one, "/fingerprint")).collect();
                assert_eq!(prints.len(), all.len(), "the forge shows one finding a fingerprint");
                list.as_array()
                    .unwrap()
                    .iter()
                    .map(|one| {
                        assert_eq!(text(one, "/location/path"), "car 1/more.yaml");
                        assert!(!text(one, "/description").is_empty());
                        let level = match text(one, "/severity") {
                            "major" => "error",
                            "minor" => "warning",
                            severity => severity,
                        };
                        let level = level.replace("info", "note");
                        (
                            text(one, "/check_name").to_owned(),
                            level,
                            one["location"]["lines"]["begin"].as_u64().unwrap(),
                        )
                    })
                    .collect()
            }
            _ => {
                let log = answer.json();
                let results = log["runs"][0]["results"].as_array().unwrap();
                let (waived, stand): (Vec<&Value>, Vec<&Value>) =
                    results.iter().partition(|one| !one["suppressions"].as_array().unwrap().is_empty());
                let accepted: Vec<&str> = waived.iter().map(|one| text(one, "/suppressions/0/justification")).collect();
                assert_eq!(accepted, ["waiver `late`"]);
                stand
                    .iter()
                    .map(|one| {
                        let at = &one["locations"][0]["physicalLocation"];
                        assert_eq!(text(at, "/artifactLocation/uri"), "car%201/more.yaml");
                        let row = at["region"]["startLine"].as_u64().unwrap();
                        (text(one, "/ruleId").to_owned(), text(one, "/level").to_owned(), row)
                    })
                    .collect()
            }
        };
        let mut expected = all.clone();
        if format == "terminal" {
            // The worst come last, where a screen ends.
            expected.sort_by_key(|(_, level, _)| ["note", "warning", "error"].iter().position(|word| word == level));
        }
        assert_eq!(found, expected, "{format}");
    }

    // Findings below error level do not change the status, in any format.
    let more = std::fs::read_to_string(sandbox.path_of("car 1/more.yaml")).unwrap();
    sandbox.write("car 1/more.yaml", more.replace("circle-tim:", "circle-time:"));
    for format in FORMATS {
        check(&sandbox, format).ended(0);
    }
    // A failure is printed only to stderr, in any format.
    for format in FORMATS {
        let answer = sandbox.tierod(&["check", "--format", format, "nowhere"]).ended(2);
        assert!(answer.out.is_empty() && answer.err.contains("nowhere"), "{format}: {}", answer.out);
    }
}

#[test]
fn a_sarif_log_has_the_tool_rules_places_and_fingerprints() {
    let sandbox = mixed();
    let log = check(&sandbox, "sarif").ended(1).json();
    let run = &log["runs"][0];
    assert_eq!((text(&log, "/version"), text(run, "/tool/driver/name")), ("2.1.0", "tierod"));
    assert_eq!(run["columnKind"], "unicodeCodePoints");
    let error = &run["results"][0];
    assert_eq!(
        text(error, "/message/text"),
        "no record with id `circle-tim`. Fix: did you mean `circle-time`?",
        "two sentences: what is wrong, and how to fix it"
    );
    assert_eq!(
        error["locations"][0]["physicalLocation"]["region"],
        serde_json::json!({"startLine": 4, "startColumn": 14})
    );
    assert_eq!(text(error, "/locations/0/logicalLocations/0/name"), "arm");
    assert_eq!(text(error, "/locations/0/logicalLocations/0/kind"), "part");
    let rule = &run["tool"]["driver"]["rules"][usize::try_from(error["ruleIndex"].as_u64().unwrap()).unwrap()];
    assert_eq!(rule["id"], error["ruleId"]);
    let json = check(&sandbox, "json").json();
    assert_eq!(error["partialFingerprints"]["tierodFinding/v1"], json["findings"][0]["fingerprint"]);
}

/// The kind of a record that could not be read is in the log, too.
#[test]
fn a_record_that_cannot_be_read_has_its_kind_in_the_log() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("bad.yaml", "targets:\n  b: 7\n");
    let log = sandbox.tierod(&["check", "--format", "sarif"]).ended(1).json();
    let at = &log["runs"][0]["results"][0]["locations"][0]["logicalLocations"][0];
    assert_eq!((text(at, "/name"), text(at, "/kind")), ("b", "target"));
}

/// Hostile values, names and files cannot end a line, begin a command or move the cursor.
#[test]
fn hostile_texts_stay_one_line_and_one_command() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write(
        "a,b%0A;.yaml",
        "parts:\n  arm:\n    in: suspension\n    serves: {circle-time: It holds.}\n    verify: {by: \"x\\r\\n::error::y %0A\\e[2J,\"}\n",
    );
    let json = sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
    let number = json["findings"].as_array().unwrap().len();
    for format in ["lines", "github"] {
        let out = sandbox.tierod(&["check", "--format", format]).ended(1).out;
        assert_eq!(out.lines().count(), number, "{format}: {out}");
        assert!(!out.chars().any(|c| c.is_control() && c != '\n'), "{format}: {out:?}");
        assert!(out.contains("::error::y"), "the value is shown: {out}");
        match format {
            "lines" => assert!(out.lines().all(|line| parsed(line).is_some_and(|(path, ..)| path == "a,b%0A;.yaml"))),
            _ => assert!(out.lines().all(|line| line.starts_with("::error file=a%2Cb%250A;.yaml,line=")), "{out}"),
        }
    }
    for format in ["sarif", "gitlab"] {
        sandbox.tierod(&["check", "--format", format]).ended(1).json();
    }
}

/// Lines have paths relative to the current folder; forges need paths from the top of the repository.
#[test]
fn paths_are_relative_to_what_each_format_needs() {
    let sandbox = mixed();
    let below = sandbox.path_of("car 1");
    let first = |format: &str| {
        let out = sandbox.tierod_in(&below, &["check", "--format", format]).ended(1).out;
        out.lines().next().unwrap().to_owned()
    };
    assert!(first("lines").starts_with("more.yaml:4:14: error: "), "{}", first("lines"));
    assert!(first("github").starts_with("::error file=car 1/more.yaml,line=4,col=14,"), "{}", first("github"));
}

#[test]
fn a_root_without_findings_has_none_in_any_format() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let out = |format: &str| sandbox.tierod(&["check", "--format", format]).ended(0);
    assert_eq!(out("lines").out, "");
    assert_eq!(out("github").out, "");
    assert_eq!(out("gitlab").json(), serde_json::json!([]));
    // Without the list of results, a log would mean that no check was run.
    assert_eq!(out("sarif").json()["runs"][0]["results"], serde_json::json!([]));
}

/// The comparison of two revisions has the same formats: a log with the state of every finding, and only the new
/// findings in formats that show them next to the change.
#[test]
fn a_comparison_has_the_state_of_each_finding() {
    let sandbox = mixed();
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-q", "-m", "Start"]);
    let more = std::fs::read_to_string(sandbox.path_of("car 1/more.yaml")).unwrap();
    // The warning is fixed, the note is accepted, and an error is new.
    let more = more.replace("circle-time: Link", "circle-time: It carries the thrust.");
    let waiver =
        "  too: {check: no-verification, of: rod, until: 2027-06-01, agreed-by: chief engineer, reason: No rig yet.}\n";
    sandbox.write("car 1/more.yaml", more + waiver);
    sandbox.write(
        "car 1/new.yaml",
        "parts:\n  new:\n    in: suspention\n    serves: {circle-time: It damps.}\n    verify: {by: inspection, with: gauge, due: 2027-06-01}\n",
    );
    let delta = |format: &str| sandbox.tierod(&["delta", "HEAD", "--root", "car 1", "--format", format]).ended(1);
    let log = delta("sarif").json();
    let states: BTreeSet<String> = log["runs"][0]["results"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            let waived = if one["suppressions"] == serde_json::json!([]) { "" } else { ", waived" };
            let record = text(one, "/locations/0/logicalLocations/0/name");
            format!("{} {record}: {}{waived}", text(one, "/ruleId"), text(one, "/baselineState"))
        })
        .collect();
    let expected = [
        "no-reason link: absent",
        "no-verification bolt: unchanged, waived",
        "no-verification rod: unchanged, waived",
        "unknown-reference arm: unchanged",
        "unknown-reference new: new",
    ];
    let missing: Vec<&str> = expected.into_iter().filter(|one| !states.contains(*one)).collect();
    assert!(missing.is_empty(), "{missing:?} not among {states:#?}");
    let out = delta("lines").out;
    assert!(out.starts_with("car 1/new.yaml:3:9: error: ") && !out.contains("more.yaml"), "{out}");
    let out = delta("github").out;
    assert!(out.starts_with("::error file=car 1/new.yaml,line=3,col=9,") && !out.contains("more.yaml"), "{out}");
    let list = delta("gitlab").json();
    let paths: BTreeSet<&str> = list.as_array().unwrap().iter().map(|one| text(one, "/location/path")).collect();
    assert_eq!(paths, ["car 1/new.yaml"].into());
}
