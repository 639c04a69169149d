//! Records that say the same for many: groups of parts, repeated reasons, waivers of a system, and reasons that are none.

use serde_json::Value;

use crate::support::Sandbox;

/// A day in the test stage.
const TEST_DAY: &str = "2027-05-10";

/// 120 small parts in a system, each with these keys.
fn small_parts(keys: &str) -> String {
    let part = |number: u32| format!("  bolt-{number:03}: {{in: fasteners{keys}}}\n");
    format!("parts:\n{}", (1..=120).map(part).collect::<String>())
}

const GROUP: &str = "\
systems:
  fasteners:
    in: suspension
    for-parts:
      serves: {circle-time: They hold the suspension to the frame.}
      verify: {by: inspection, with: torque wrench, due: 2027-06-01}
";

const NO_GROUP: &str = "systems:\n  fasteners: {in: suspension}\n";

fn root(files: &[(&str, &str)]) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    for (path, text) in files {
        sandbox.write(path, text);
    }
    sandbox
}

fn check(sandbox: &Sandbox, args: &[&str]) -> Value {
    let mut all = vec!["check", "--format", "json"];
    all.extend(args);
    sandbox.tierod(&all).json()
}

/// The findings, each as `level check record field line`.
fn findings(sandbox: &Sandbox, args: &[&str]) -> Vec<String> {
    let report = check(sandbox, args);
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    let line = |f: &Value| {
        let words = ["level", "check", "record", "field"].map(|key| text(&f[key]));
        format!("{} {}:{}", words.join(" "), text(&f["path"]), f["line"])
    };
    report["findings"].as_array().unwrap().iter().map(line).collect()
}

#[test]
fn a_group_gives_small_parts_their_reason_and_their_plan() {
    let parts = small_parts("");
    let without = root(&[("group.yaml", NO_GROUP), ("parts.yaml", &parts)]);
    let on_test_day = ["--on", TEST_DAY];
    let found = findings(&without, &on_test_day);
    let of = |name: &str| found.iter().filter(|finding| finding.contains(name)).count();
    assert_eq!((of(" no-parent "), of(" no-verification ")), (120, 120));

    let with = root(&[("group.yaml", GROUP), ("parts.yaml", &parts)]);
    assert_eq!(findings(&with, &on_test_day), [""; 0]);

    // The links are those of the parts, everywhere.
    let why = with.tierod(&["why", "bolt-007"]).ended(0).out;
    assert!(why.contains("└─ circle-time  (inherited from fasteners)"), "{why}");
    assert!(why.contains("They hold the suspension to the frame."), "{why}");
    let graph = with.tierod(&["graph", "--format", "json"]).ended(0).json();
    let edges = graph["edges"].as_array().unwrap();
    let inherited: Vec<_> = edges.iter().filter(|edge| edge["inherited_from"] == "fasteners").collect();
    assert_eq!(inherited.len(), 120);
    for edge in inherited {
        assert_eq!((&edge["to"], &edge["link"]), (&"circle-time".into(), &"serves".into()));
        assert_eq!(edge["reason"], "They hold the suspension to the frame.");
    }
    let own = edges.iter().find(|edge| edge["from"] == "hub" && edge["link"] == "serves").unwrap();
    assert_eq!(own["inherited_from"], Value::Null);
    let below = with.tierod(&["why", "circle-time"]).ended(0).out;
    assert!(below.contains("bolt-120  (inherited from fasteners)"), "{below}");
    let audit = with.tierod(&["audit", "--format", "json"]).json();
    let inspections = audit["verification"].as_array().unwrap().iter().find(|line| line["method"] == "inspection");
    assert_eq!(inspections.unwrap()["planned"], 121);
}

#[test]
fn the_innermost_group_counts_and_each_key_on_its_own() {
    let sandbox = root(&[(
        "group.yaml",
        "
systems:
  fasteners:
    in: suspension
    for-parts:
      serves: {circle-time: They hold the suspension to the frame.}
      verify: {by: inspection, with: torque wrench, due: 2027-06-01}
  pins: {in: fasteners, for-parts: {serves: {skid-grip: They keep the toe in the circle.}}}
targets:
  skid-grip:
    of: suspension
    at-least: 1.4
    estimate: 1.5
    safety-critical: true
    serves: {circle-time: Grip is what the circle needs.}
    verify: {by: test, with: skidpad, due: 2027-06-01}
parts:
  bolt: {in: fasteners}
  pin: {in: pins}
  own: {in: pins, serves: {circle-time: A reason of its own.}, verify: {by: test, due: 2027-06-02}}
",
    )]);
    assert_eq!(findings(&sandbox, &["--on", TEST_DAY]), [""; 0]);
    let edges = sandbox.tierod(&["graph", "--format", "json"]).ended(0).json()["edges"].as_array().unwrap().clone();
    let of = |from: &str| {
        let own = edges.iter().filter(|edge| edge["from"] == from && edge["link"] == "serves");
        own.map(|edge| format!("{} {}", edge["to"].as_str().unwrap(), edge["inherited_from"])).collect::<Vec<_>>()
    };
    assert_eq!(of("bolt"), ["circle-time \"fasteners\""]);
    assert_eq!(of("pin"), ["skid-grip \"pins\""]);
    assert_eq!(of("own"), ["circle-time null"]);
    assert_eq!(of("pins"), [""; 0], "the system itself serves nothing");
}

#[test]
fn what_is_wrong_with_a_group_is_reported_once_on_its_system() {
    let of_group = |group: &str| {
        let records = format!("systems:\n  fasteners:\n    in: suspension\n    for-parts:\n      {group}\n");
        let sandbox = root(&[("group.yaml", &records), ("parts.yaml", &small_parts(""))]);
        let report = check(&sandbox, &["--on", TEST_DAY]);
        let found = findings(&sandbox, &["--on", TEST_DAY]);
        let is_missing = |text: &str| text.contains("no-verification bolt-") || text.contains("no-parent bolt-");
        let own: Vec<String> = found.into_iter().filter(|finding| !is_missing(finding)).collect();
        let first = report["findings"].as_array().unwrap().iter().find(|finding| finding["path"] == "group.yaml");
        (own, first.unwrap()["message"].as_str().unwrap().to_owned())
    };
    let verify = "verify: {by: inspection, due: 2027-06-01}";
    let (found, message) = of_group(&format!("serves: {{circle-tim: They hold it.}}\n      {verify}"));
    assert_eq!(found, ["error unknown-reference fasteners for-parts.serves.circle-tim group.yaml:5"]);
    assert_eq!(message, "no record with id `circle-tim`");

    let (found, message) = of_group(&format!("serves: {{skidpad: They hold it.}}\n      {verify}"));
    assert_eq!(found, ["warning wrong-tier fasteners for-parts.serves.skidpad group.yaml:5"]);
    assert_eq!(message, "the parts of fasteners serve the event skidpad");

    let (found, message) = of_group(&format!("serves: {{circle-time: todo}}\n      {verify}"));
    assert_eq!(found, ["error no-reason fasteners for-parts.serves.circle-time group.yaml:5"]);
    assert_eq!(message, "the reason for `serves: circle-time` is a placeholder (`todo`)");

    let (found, message) = of_group(&format!("serves: {{suspension: They hold it.}}\n      {verify}"));
    assert_eq!(found, ["error off-chain fasteners for-parts.serves group.yaml:5"]);
    assert_eq!(message, "the parts of fasteners do not lead to a goal: their chain ends at suspension");

    let serves = "serves: {circle-time: They hold it.}";
    let (found, message) = of_group(&format!("{serves}\n      verify: {{by: inspection, due: 2027-05-03}}"));
    assert_eq!(found, ["warning verification-overdue fasteners for-parts.verify.due group.yaml:6"]);
    assert_eq!(
        message,
        "verification of 120 parts of fasteners was due on 2027-05-03, 7 days ago: bolt-001, bolt-002, bolt-003, \
         bolt-004, bolt-005 and 115 more"
    );
}

/// The plan of a group is closed by a result of the system, or by results of its parts one by one.
#[test]
fn a_result_of_the_system_closes_the_plan_of_its_parts() {
    let group = GROUP.replace("2027-06-01", "2027-05-03");
    let parts = "parts: {bolt: {in: fasteners}, nut: {in: fasteners}}\n";
    let result = |of: &str| {
        let text = format!("results:\n  r: {{of: {of}, outcome: pass, date: 2027-05-02, evidence: [chain.yaml]}}\n");
        let sandbox = root(&[("group.yaml", &group), ("parts.yaml", parts), ("results.yaml", &text)]);
        let report = check(&sandbox, &["--on", TEST_DAY]);
        let messages = report["findings"].as_array().unwrap().iter();
        let audit = sandbox.tierod(&["audit", "--format", "json", "--on", TEST_DAY]).json();
        let lines = audit["verification"].as_array().unwrap();
        let inspection = lines.iter().find(|line| line["method"] == "inspection").unwrap().clone();
        let messages: Vec<String> = messages.map(|f| f["message"].as_str().unwrap().to_owned()).collect();
        (messages, inspection["closed"].as_u64().unwrap())
    };
    assert_eq!(result("fasteners"), (Vec::new(), 2));
    let (messages, passed) = result("bolt");
    assert_eq!(messages, ["verification of 1 part of fasteners was due on 2027-05-03, 7 days ago: nut"]);
    assert_eq!(passed, 1);
}

#[test]
fn a_changed_reason_of_a_group_is_in_the_history_of_its_system() {
    let sandbox = root(&[("group.yaml", GROUP), ("parts.yaml", "parts: {bolt: {in: fasteners}}\n")]);
    sandbox.commit_on("2027-03-01", "Add the fasteners");
    sandbox.write("group.yaml", GROUP.replace("to the frame", "to the uprights"));
    sandbox.commit_on("2027-03-02", "Correct the reason");
    let history = sandbox.tierod(&["history", "fasteners"]).ended(0).out;
    assert!(history.contains("for-parts.serves.circle-time") && history.contains("to the uprights"), "{history}");
}

#[test]
fn a_reason_repeated_word_for_word_is_one_note() {
    let reason = ", serves: {circle-time: It holds the  wheel on.}, verify: {by: inspection, due: 2027-06-01}";
    let same = small_parts(reason).replacen("It holds the  wheel on.", "it holds THE wheel on. ", 1);
    let sandbox = root(&[("group.yaml", NO_GROUP), ("parts.yaml", &same)]);
    // A note also in a stage in which a missing reason is an error.
    for day in ["2027-03-19", TEST_DAY] {
        let found = findings(&sandbox, &["--on", day]);
        assert_eq!(found, ["note no-reason bolt-001 serves.circle-time parts.yaml:2"]);
    }
    let report = check(&sandbox, &[]);
    let finding = &report["findings"][0];
    assert_eq!(
        finding["message"],
        "120 records give the same reason: bolt-001, bolt-002, bolt-003, bolt-004, bolt-005 and 115 more"
    );
    assert!(finding["help"].as_str().unwrap().contains("`for-parts: {serves: ...}` of their system"), "{finding}");

    let five: String = same.lines().take(6).map(|line| format!("{line}\n")).collect();
    sandbox.write("parts.yaml", five);
    assert_eq!(findings(&sandbox, &[]), [""; 0], "five may share a reason");
}

#[test]
fn a_waiver_of_a_system_accepts_the_findings_of_one_check_in_it() {
    let waiver = |check: &str, of: &str, until: &str| {
        format!(
            "waivers:\n  w: {{check: {check}, of: {of}, until: {until}, agreed-by: chief engineer, reason: The list of \
             bolts comes in April.}}\n"
        )
    };
    let parts = "\
systems:
  fasteners: {in: suspension}
  pins: {in: fasteners}
parts:
  bolt: {in: fasteners, serves: {circle-time: It holds the arm.}}
  pin: {in: pins, serves: {circle-time: It holds the wheel.}}
  other: {in: suspension, serves: {circle-time: It holds the bar.}}
targets:
  pin-strength: {of: pin, at-least: 2, estimate: 2.1, serves: {circle-time: A broken pin ends the run.}}
";
    let sandbox = root(&[("parts.yaml", parts)]);
    let bare = ["bolt", "other", "pin-strength"];
    let open = |sandbox: &Sandbox| -> Vec<String> {
        let report = check(sandbox, &["--on", "2027-03-19"]);
        let own = report["findings"].as_array().unwrap().iter().filter(|f| f["check"] == "no-verification");
        let mut ids: Vec<String> = own.map(|f| f["record"].as_str().unwrap().to_owned()).collect();
        ids.sort();
        ids
    };
    let waived = |sandbox: &Sandbox| check(sandbox, &[])["summary"]["waived"].as_u64().unwrap();
    assert_eq!(open(&sandbox), bare);
    sandbox.write("waivers.yaml", waiver("no-verification", "fasteners", "2027-04-30"));
    assert_eq!(open(&sandbox), ["other"], "those in the system and in the systems in it");
    assert_eq!(waived(&sandbox), 2);
    assert_eq!(findings(&sandbox, &[]).len(), 1);
    // A part is not a group: its waiver does not reach its targets.
    sandbox.write("waivers.yaml", waiver("no-verification", "pin", "2027-04-30"));
    assert_eq!(open(&sandbox), bare);
    assert!(findings(&sandbox, &[]).contains(&"note unused-waiver w - waivers.yaml:2".to_owned()));
    // Another check, and a waiver that has ended.
    sandbox.write("waivers.yaml", waiver("no-reason", "fasteners", "2027-04-30"));
    assert_eq!(open(&sandbox), bare);
    assert!(findings(&sandbox, &[]).contains(&"note unused-waiver w - waivers.yaml:2".to_owned()));
    sandbox.write("waivers.yaml", waiver("no-verification", "fasteners", "2027-03-18"));
    assert_eq!(open(&sandbox), bare);
    assert!(findings(&sandbox, &[]).contains(&"warning expired-waiver w until waivers.yaml:2".to_owned()));
}

#[test]
fn the_budget_that_a_part_adds_to_is_no_reason_for_it() {
    let budget = |amounts: &str, serves: &str| {
        let records = format!(
            "
systems:
  brakes: {{in: car, lead: brakes lead}}
targets:
  car-mass:
    of: car
    at-most: 20 kg
    total: mass
    serves: {{circle-time: A light car turns faster.}}
    lead: chief engineer
    verify: {{by: test, with: scales, due: 2027-06-01}}
  brakes-mass:
    of: brakes
    at-most: 10 kg
    total: mass
    share-of: car-mass
    serves: {{car-mass: Brakes are a third of the car.}}
    verify: {{by: test, with: scales, due: 2027-06-01}}
parts:
  bracket:
    in: suspension
    amounts: {{{amounts}}}
    serves: {{{serves}}}
    verify: {{by: inspection, with: gauge, due: 2027-06-01}}
"
        );
        let sandbox = root(&[("budget.yaml", &records)]);
        let about = |day: &str| {
            let found = findings(&sandbox, &["--on", day]);
            found.into_iter().filter(|finding| finding.contains("budget-only-reason")).collect::<Vec<_>>()
        };
        (about("2026-10-01"), about("2027-03-19"))
    };
    let finding = |level: &str| vec![format!("{level} budget-only-reason bracket serves budget.yaml:23")];
    let mass = "mass: 0.8 kg";
    let only = "car-mass: It weighs 0.8 kg.";
    assert_eq!(budget(mass, only), (finding("note"), finding("warning")));
    assert_eq!(budget(mass, "car-mass: It is light., circle-time: It holds the bar."), (vec![], vec![]));
    assert_eq!(budget("", only), (vec![], vec![]), "it adds nothing");
    assert_eq!(budget(mass, "brakes-mass: It replaces a part of the brakes."), (vec![], vec![]), "not its own budget");

    let group = "\
systems:
  fasteners: {in: suspension, for-parts: {serves: {all-mass: They are light.}, verify: {by: inspection}}}
targets:
  all-mass: {of: car, at-most: 20 kg, total: mass, serves: {circle-time: A light car turns faster.}}
parts:
  bolt: {in: fasteners, amounts: {mass: 0.1 kg}}
  nut: {in: fasteners, amounts: {mass: 0.1 kg}}
";
    let sandbox = root(&[("group.yaml", group)]);
    let found = findings(&sandbox, &[]);
    let own: Vec<&String> = found.iter().filter(|finding| finding.contains("budget-only-reason")).collect();
    assert_eq!(own, ["warning budget-only-reason fasteners for-parts.serves group.yaml:2"]);
}
