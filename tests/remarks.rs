//! What users remarked: findings that were wrong, missing, or did not say what to type.

use serde_json::Value;

use crate::support::Sandbox;

/// A root with more records, next to those in which no check reports a finding.
fn root_with(records: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("more.yaml", records);
    sandbox
}

/// The findings of all checks, each as `record check: message / fix`.
fn findings(sandbox: &Sandbox) -> Vec<String> {
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let text = |finding: &Value, key: &str| finding[key].as_str().unwrap_or("-").to_owned();
    let all = report["findings"].as_array().unwrap().iter();
    let mut all: Vec<String> = all
        .map(|finding| {
            let [record, check, message, fix] = ["record", "check", "message", "help"].map(|key| text(finding, key));
            format!("{record} {check}: {message} / {fix}")
        })
        .collect();
    all.sort();
    all
}

const BRAKE_LOCK: &str = "\
requirements:
  brake-lock:
    of: car
    shall: The brakes lock all four wheels.
    lead: brake lead
    safety-critical: true
    serves: {circle-time: The driver brakes as late as the others.}
    verify: {by: test, with: brake test, due: 2027-03-15}
";

const FAILED: &str = "brake-test: {of: brake-lock, outcome: fail, date: 2027-03-01, evidence: [chain.yaml]}";

/// The number of requirements that passed and that failed, among those verified by test.
fn verified(sandbox: &Sandbox) -> (u64, u64) {
    let audit = sandbox.tierod(&["audit", "--format", "json"]).json();
    let all = audit["verification"].as_array().unwrap();
    let test = all.iter().find(|line| line["method"] == "test").unwrap();
    (test["closed"].as_u64().unwrap(), test["failed"].as_u64().unwrap())
}

#[test]
fn a_number_does_not_pass_a_requirement_that_has_no_limit() {
    const FAIL: &str = "brake-lock target-missed: brake-lock failed on 2027-03-01 (brake-test) / change the car and test \
                        again; until then, a qualified person decides what the failure means";
    let later = "brake-pressure: {of: brake-lock, value: 4 MPa, date: 2027-03-10, evidence: [chain.yaml]}";
    let sandbox = root_with(&format!("{BRAKE_LOCK}results:\n  {FAILED}\n  {later}\n"));
    let missing = "brake-pressure missing-key: `outcome` is missing: brake-lock has no limit, so a number is neither a pass \
                   nor a fail / replace `value` by `outcome: pass` or `outcome: fail`, and write the number in `notes`";
    assert_eq!(findings(&sandbox), [FAIL, missing]);
    assert_eq!(verified(&sandbox), (0, 1), "the number is not counted");

    // The fix: a pass with the number in its notes.
    let fixed = later.replace("value: 4 MPa", "outcome: pass, notes: locked at 4 MPa");
    sandbox.write("more.yaml", format!("{BRAKE_LOCK}results:\n  {FAILED}\n  {fixed}\n"));
    assert_eq!(findings(&sandbox), Vec::<String>::new());
    assert_eq!(verified(&sandbox), (1, 0));

    // A result without any outcome, or with one that cannot be read, does not end the failure either.
    for broken in ["", "outcome: passed, ", "value: 4 MPa, outcome: passed, "] {
        let other = later.replace("value: 4 MPa, ", broken);
        sandbox.write("more.yaml", format!("{BRAKE_LOCK}results:\n  {FAILED}\n  {other}\n"));
        let all = findings(&sandbox);
        assert!(all[0] == FAIL && all[1].starts_with("brake-pressure "), "{all:#?}");
        assert_eq!(verified(&sandbox), (0, 1), "{broken}");
    }

    // Without another result, the verification is overdue.
    sandbox.write("more.yaml", format!("{BRAKE_LOCK}results:\n  {later}\n"));
    let all = findings(&sandbox).join("\n");
    assert!(all.contains("brake-lock verification-overdue: "), "{all}");
    assert_eq!(verified(&sandbox), (0, 0));
}

#[test]
fn a_number_does_not_pass_a_part_or_the_plan_of_a_system() {
    let sandbox = root_with(
        "\
systems:
  fasteners:
    in: car
    lead: suspension lead
    for-parts:
      serves: {circle-time: They hold the parts together.}
      verify: {by: inspection, with: list of torques, due: 2027-03-15}
parts:
  bolt: {in: fasteners}
results:
  hub-look: {of: hub, outcome: fail, date: 2027-03-01, evidence: [chain.yaml]}
  hub-runout: {of: hub, value: 0.1 mm, date: 2027-03-02, evidence: [chain.yaml]}
  torques: {of: fasteners, value: 9 N*m, date: 2027-03-02, evidence: [chain.yaml]}
  lap: {of: circle-time, value: 5.1 s ± 0.02 s, date: 2027-03-02, evidence: [chain.yaml]}
",
    );
    let start = |text: &String| text.split(" / ").next().unwrap_or("").to_owned();
    let all: Vec<String> = findings(&sandbox).iter().map(start).collect();
    let no_limit = "has no limit, so a number is neither a pass nor a fail";
    assert_eq!(
        all,
        [
            "fasteners verification-overdue: verification of 1 part of fasteners was due on 2027-03-15, 4 days ago: bolt",
            "hub target-missed: hub failed on 2027-03-01 (hub-look)",
            &format!("hub-runout missing-key: `outcome` is missing: hub {no_limit}"),
            &format!("torques missing-key: `outcome` is missing: fasteners {no_limit}"),
        ]
    );
}

#[test]
fn the_docs_say_which_results_need_an_outcome() {
    let sandbox = Sandbox::new();
    let words = |name: &str| {
        let text = sandbox.tierod(&["explain", name]).ended(0).out;
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    assert!(words("result").contains("required for a requirement, a part or a system, which have no limit"));
    assert!(words("missing-key").contains("a result without `outcome` that is `of` a requirement, a part or a system"));
}

#[test]
fn a_text_instead_of_a_list_is_shown_as_a_list() {
    let sandbox = root_with(
        "\
analyses:
  sums:
    finds: circle-time
    method: sums
    evidence: a.txt, b.txt
    informs: hub
    supersedes: 'x: [y]'
    formerly: sum
decisions:
  tyre: {criteria: circle-time}
results:
  lap: {of: circle-time, value: 5.1 s, date: 2027-03-02, evidence: tests/brake.txt}
  run: {of: circle-time, value: 5.1 s, date: 2027-03-03, evidence: {file: tests/brake.txt}}
",
    );
    let all: Vec<String> = findings(&sandbox).into_iter().filter(|text| text.contains("expected a list")).collect();
    assert_eq!(
        all,
        [
            "lap bad-value: expected a list, found `tests/brake.txt` / write `evidence: [tests/brake.txt]`",
            "run bad-value: expected a list, found a map / use a list",
            "sums bad-value: expected a list, found `a.txt, b.txt` / write `evidence: [a.txt, b.txt]`",
            "sums bad-value: expected a list, found `hub` / write `informs: [hub]`",
            "sums bad-value: expected a list, found `sum` / write `formerly: [sum]`",
            "sums bad-value: expected a list, found `x: [y]` / write `supersedes: [\"x: [y]\"]`",
            "tyre bad-value: expected a list, found `circle-time` / write `criteria: [circle-time]`",
        ]
    );
}

#[test]
fn an_earlier_id_is_answered_with_the_id_of_now() {
    let sandbox = root_with(
        "\
targets:
  grip: {of: car, at-least: 1.4, formerly: [circle-timer], formula: 7 s / track-tim * 1}
  track-time: {of: car, at-most: 5 s, estimate: 4.9 s, formerly: [track-tim, brake-locking]}
results:
  lap: {of: circle-timer, value: 1.5, date: 2027-03-02, evidence: [chain.yaml]}
waivers:
  later: {check: no-lead, of: brake-locking, reason: agreed, by: team lead, until: 2027-04-01}
",
    );
    let all: Vec<String> = findings(&sandbox).into_iter().filter(|text| text.contains("with id")).collect();
    assert_eq!(
        all,
        [
            "grip unknown-reference: no value with id `track-tim` / it is `track-time` now; use that id",
            "lap unknown-reference: no record with id `circle-timer` / it is `grip` now; use that id",
            "later unknown-reference: no record with id `brake-locking` / it is `track-time` now; use that id",
        ]
    );
}

#[test]
fn a_part_of_an_unknown_system_may_inherit_from_the_right_one() {
    let records = "\
systems:
  fasteners:
    in: car
    lead: suspension lead
    for-parts:
      serves: {circle-time: They hold the parts together.}
      verify: {by: inspection, with: list of torques, due: 2027-06-01}
parts:
  bolt: {in: fastners}
targets:
  bolt-cost: {of: fastners, lead: cost lead, at-most: 5, estimate: 4}
";
    let sandbox = root_with(records);
    let checks: Vec<String> =
        findings(&sandbox).iter().map(|text| text.split(':').next().unwrap_or("").to_owned()).collect();
    assert_eq!(
        checks,
        [
            "bolt unknown-reference",
            // A target inherits neither.
            "bolt-cost no-parent",
            "bolt-cost no-verification",
            "bolt-cost unknown-reference",
        ]
    );
    sandbox.write("more.yaml", records.replace("bolt: {in: fastners}", "bolt: {in: suspension}"));
    let all = findings(&sandbox).join("\n");
    assert!(all.contains("bolt no-parent: ") && all.contains("bolt no-verification: "), "the system is known: {all}");
}

#[test]
fn an_id_that_no_record_names_may_be_the_typing_error() {
    let part = |id: &str, serves: &str| {
        format!(
            "  {id}: {{in: suspension, serves: {{{serves}: It is stiff.}}, verify: {{by: test, with: rig, due: 2027-06-01}}}}\n"
        )
    };
    let target = "targets:\n  camber-complaince: {of: suspension, at-most: 3, estimate: 2, serves: {circle-time: It is.}, \
                  verify: {by: test, with: rig, due: 2027-06-01}}\nparts:\n";
    let helps = |parts: &str| {
        let all = findings(&root_with(&format!("{target}{parts}"))).into_iter();
        let all = all.filter(|text| text.contains(" unknown-reference: "));
        all.map(|text| text.split(" / ").last().unwrap_or("").to_owned()).collect::<Vec<_>>()
    };
    let two = part("rod", "camber-compliance") + &part("arm", "camber-compliance");
    let help = "2 records link to `camber-compliance`, none links to `camber-complaince`: is `camber-complaince` a typing \
                error?";
    assert_eq!(helps(&two), [help, help]);
    let near = "did you mean `camber-complaince`?";
    assert_eq!(helps(&part("rod", "camber-compliance")), [near], "one record alone may be wrong");
    assert_eq!(helps(&(two + &part("leg", "camber-complaince"))), [near, near], "a record names the id that exists");
}

#[test]
fn files_with_the_short_ending_are_read_as_the_docs_say() {
    let sandbox = root_with("");
    sandbox.write("short.yml", "parts:\n  rod: {in: nowhere}\n");
    let all = findings(&sandbox).join("\n");
    assert!(all.contains("rod unknown-reference: no record with id `nowhere`"), "{all}");
    let docs = sandbox.tierod(&["explain", "unreadable-file"]).ended(0).out;
    let docs = docs.split_whitespace().collect::<Vec<_>>().join(" ");
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md")).unwrap();
    for text in [docs, readme] {
        assert!(text.contains("end in `.yaml` or `.yml`"), "{text}");
    }
}
