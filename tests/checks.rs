//! Each check on records that it reports and on the same records fixed, and findings with their exact places.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::support::Sandbox;

fn findings(sandbox: &Sandbox, args: &[&str]) -> Vec<Value> {
    let mut all = vec!["check", "--format", "json"];
    all.extend(args);
    sandbox.tierod(&all).json()["findings"].as_array().unwrap().clone()
}

fn checks() -> Vec<Value> {
    let list = Sandbox::new().tierod(&["explain", "--format", "json"]).ended(0).json();
    list["checks"].as_array().unwrap().clone()
}

/// The docs of every check show records that it reports and the same records fixed: both are tested here.
#[test]
fn every_check_reports_its_bad_example_and_not_the_good_one() {
    for check in checks() {
        let name = check["check"].as_str().unwrap();
        // A check that is off at the build stage is tested at the contest.
        let (stage, day) = if check["levels"][2] == "off" { (4, "2027-07-01") } else { (2, "2027-03-19") };
        let reported = |records: &str| {
            let sandbox = Sandbox::repository();
            sandbox.small_root("");
            // The tables that the docs of `unreadable-table` describe.
            sandbox.write("track.csv", "length;curvature\n100;0.01\n");
            sandbox.write("idle.csv", "volume,von Mises\n80,10\n20,100\n");
            sandbox.write("lap.csv", "length,curvature\n100,0.01\n");
            // Checks of the history show the file after some commits.
            let states: Vec<&str> = records.split("# on ").collect();
            let records = match &states[..] {
                [only] => only,
                [..] => states.last().unwrap().split_once('\n').unwrap().1,
            };
            for (day, state) in states[1..].iter().map(|state| state.split_once('\n').unwrap()) {
                sandbox.write("example.yaml", state);
                sandbox.commit_on(day, "a state");
            }
            sandbox.write("example.yaml", records);
            let found = findings(&sandbox, &["--on", day]);
            let own = found.iter().filter(|finding| finding["check"] == name && finding["path"] == "example.yaml");
            let own: Vec<Value> = own.cloned().collect();
            for finding in &own {
                let (line, column) = (finding["line"].as_u64().unwrap(), finding["column"].as_u64().unwrap());
                let lines = records.lines().count() as u64;
                assert!((1..=lines + 1).contains(&line) && column >= 1, "{name}: {finding}");
                assert_eq!(finding["level"], check["levels"][stage], "{name} on {day}");
            }
            own.len()
        };
        let (bad, good) = (check["bad_example"].as_str().unwrap(), check["good_example"].as_str().unwrap());
        assert!(reported(bad) > 0, "{name} does not report its own example:\n{bad}");
        assert_eq!(reported(good), 0, "{name} reports what its docs call fixed:\n{good}");
    }
}

#[test]
fn the_small_root_has_no_findings() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    assert_eq!(findings(&sandbox, &[]), Vec::<Value>::new());
}

#[test]
fn registry_docs_and_explain_agree() {
    let sandbox = Sandbox::new();
    let list = sandbox.tierod(&["explain"]).ended(0).out;
    for check in checks() {
        let name = check["check"].as_str().unwrap();
        assert!(list.contains(&format!(" {name}  ")), "{name} is in the list");
        let page = sandbox.tierod(&["explain", name]).ended(0).out;
        for key in ["reports", "why", "fix"] {
            let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
            let text = check[key].as_str().unwrap();
            assert!(words(&page).contains(&words(text)), "{name}: {key} is in the page\n{page}");
        }
    }
    let error = sandbox.tierod(&["explain", "no-parnet"]).ended(2).err;
    assert!(error.contains("did you mean `no-parent`?"), "{error}");
}

/// The place, the record, the field and the message of each finding on a root with one error per record.
#[test]
fn findings_have_the_place_the_record_and_the_field() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "errors.yaml",
        "parts:
  arm:
    in: suspention
    serves: {circle-time: Arm, hubb: It holds the hub.}
  link: {in: suspension, \"serves\": {skidpad: It steers.}}
requirements:
  brake-lock:
    of: suspension
    shall: lock all wheels
    safety-critical: true
    serves: {circle-time: The rules ask for it.}
    verify: {by: analysis}
results:
  run: {of: circle-time, value: 5.1 s, date: 2027-03-01, evidence: [a.csv, chain.yaml]}
revisions:
  later: {of: circle-time, to: 5.2 s, date: 2027-03-01, agreed-by: team lead}
",
    );
    let reported: Vec<String> = findings(&sandbox, &[])
        .iter()
        .filter(|f| f["path"] == "errors.yaml")
        .map(|f| {
            let field = f["field"].as_str().unwrap_or("-");
            format!(
                "{}:{} {} {} {} {field}",
                f["line"],
                f["column"],
                f["level"].as_str().unwrap(),
                f["check"].as_str().unwrap(),
                f["record"].as_str().unwrap()
            )
        })
        .collect();
    assert_eq!(
        reported,
        [
            "3:9 error unknown-reference arm in",
            "4:32 error unknown-reference arm serves.hubb",
            "12:13 error analysis-only brake-lock verify",
            "4:27 warning no-reason arm serves.circle-time",
            "5:3 warning no-verification link verify",
            "5:37 warning wrong-tier link serves.skidpad",
            "14:69 warning no-evidence run evidence.a.csv",
            "16:3 warning no-reason later reason",
            "14:33 note no-uncertainty run value",
        ]
    );
}

#[test]
fn levels_rise_with_the_stage_and_the_settings_change_them() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("more.yaml", "parts:\n  arm: {in: suspension, serves: {circle-time: It holds the hub.}}\n");
    let level = |day: &str| findings(&sandbox, &["--on", day])[0]["level"].as_str().unwrap().to_owned();
    assert_eq!(level("2026-10-31"), "note", "concept");
    assert_eq!(level("2026-11-01"), "warning", "design");
    assert_eq!(level("2027-05-01"), "error", "test");
    sandbox.tierod(&["check", "--on", "2027-05-01"]).ended(1);
    let settings = format!("{}levels: {{no-verification: {{test: note}}}}\n", crate::support::SETTINGS);
    sandbox.write("tierod.yaml", settings);
    assert_eq!(level("2027-05-01"), "note");
    sandbox.write("tierod.yaml", format!("{}levels: {{no-verification: off}}\n", crate::support::SETTINGS));
    assert_eq!(findings(&sandbox, &[]).len(), 0);
    sandbox.write("tierod.yaml", "levels: {no-verifcation: off, bad-value: note}\n");
    let reported: Vec<String> = findings(&sandbox, &[])
        .iter()
        .filter(|f| f["path"] == "tierod.yaml")
        .map(|f| format!("{} {} {}", f["line"], f["column"], f["help"].as_str().unwrap()))
        .collect();
    assert_eq!(
        reported,
        [
            "1 10 did you mean `no-verification`?",
            "1 31 remove this line: files and records that cannot be read are errors at every stage"
        ]
    );
}

#[test]
fn a_waiver_accepts_one_finding_until_its_end_date() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let waiver = "  late: {check: no-verification, of: arm, until: 2027-03-19, agreed-by: chief engineer, reason: The rig is lent out.}\n";
    sandbox.write(
        "more.yaml",
        format!("parts:\n  arm: {{in: suspension, serves: {{circle-time: It holds the hub.}}}}\nwaivers:\n{waiver}"),
    );
    let summary = |day: &str| {
        let report = sandbox.tierod(&["check", "--format", "json", "--on", day]).json();
        let names: BTreeSet<String> =
            report["findings"].as_array().unwrap().iter().map(|f| f["check"].as_str().unwrap().to_owned()).collect();
        (report["summary"]["waived"].as_u64().unwrap(), names.into_iter().collect::<Vec<_>>())
    };
    assert_eq!(summary("2027-03-19"), (1, vec![]), "the last day counts");
    assert_eq!(summary("2027-03-20"), (0, vec!["expired-waiver".to_owned(), "no-verification".to_owned()]));
}

#[test]
fn a_bad_key_is_reported_once_and_hides_no_other_finding() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "bad.yaml",
        "targets:\n  a: {of: car, at-most: 1 sec, serves: {skidpad: It counts.}, verify: {by: tset}}\n  b: 7\nparts:\n  c: {in: suspension, serves: {a: Because., b: Because.}}\n",
    );
    let reported: Vec<String> = findings(&sandbox, &[])
        .iter()
        .map(|f| format!("{}:{} {}", f["line"], f["column"], f["check"].as_str().unwrap()))
        .collect();
    // No `no-verification` for a, whose `verify` could not be read; no `unknown-reference` for b, which is there.
    assert_eq!(
        reported,
        ["2:25 bad-value", "2:76 bad-value", "3:6 bad-value", "2:3 no-estimate", "5:3 no-verification", "2:3 no-lead"]
    );
}

#[test]
fn a_fingerprint_stays_when_lines_and_files_change() {
    let prints = |path: &str, before: &str| {
        let sandbox = Sandbox::new();
        sandbox.small_root("");
        let records =
            format!("{before}parts:\n  arm: {{in: suspension, serves: {{circle-time: It holds the hub.}}}}\n");
        sandbox.write(path, records);
        findings(&sandbox, &[]).iter().map(|f| f["fingerprint"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let one = prints("a.yaml", "");
    assert_eq!(one.len(), 1);
    assert_eq!(one, prints("deep/b.yaml", "# a comment\n\n"));
    assert_eq!(one, ["cda3da6180522fc4"], "the identity is part of the stable answer");
}
