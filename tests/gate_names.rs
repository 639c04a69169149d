//! What `delta` names: the edited key, its share of the change, reasons of changed limits, and renamed records.

use serde_json::{Value, json};

use crate::support::Sandbox;

const SETTINGS: &str = "\
season: 2027
as-of: 2027-03-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
growth:
  mass: {estimated: 20 %, drawn: 5 %, weighed: 0 %}
";

/// An event that loses 2 points per kilogram, and 10 points per second.
const CHAIN: &str = "\
goals:
  top-ten: {place: 10, reason: A place among ten keeps the workshop., lead: team lead}
events:
  skidpad:
    plan: 50 pts
    lead: dynamics lead
    reads: {mass: car-mass, time: circle-time}
    score: {formula: 80 pts - 2 pts * mass / 1 kg - 10 pts * (time / 1 s - 5)}
    serves: {top-ten: Cheapest points of all.}
systems:
  suspension: {in: car, lead: suspension lead}
targets:
  car-mass:
    of: car
    at-most: 20 kg
    total: mass
    lead: chief engineer
    serves: {skidpad: A lighter car is faster on the circle.}
    verify: {by: test, with: scales, due: 2027-06-01}
  circle-time:
    of: car
    at-most: 5.6 s
    formula: 5 s + car-mass * 0.01 s/kg
    lead: dynamics lead
    serves: {skidpad: It is what is timed.}
    verify: {by: test, with: timing gates, due: 2027-06-01}
";

const PARTS: &str = "\
parts:
  hub:
    in: suspension
    count: 2
    amounts: {mass: {value: 1.20 kg, basis: estimated}}
    serves: {circle-time: It holds the wheel.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
  arm:
    in: suspension
    amounts: {mass: {value: 3 kg, basis: weighed}}
    serves: {circle-time: It guides the wheel.}
    verify: {by: inspection, with: ruler, due: 2027-06-01}
";

/// The root above, committed.
fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", CHAIN);
    sandbox.write("parts.yaml", PARTS);
    sandbox.commit_on("2027-03-01", "first");
    sandbox
}

#[track_caller]
fn edit(sandbox: &Sandbox, path: &str, old: &str, new: &str) {
    let text = std::fs::read_to_string(sandbox.path_of(path)).unwrap();
    assert_eq!(text.matches(old).count(), 1, "{path}: {old}");
    sandbox.write(path, text.replace(old, new));
}

#[track_caller]
fn answer(sandbox: &Sandbox) -> Value {
    let json: Value = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).json();
    adds_up(&json);
    json
}

/// The causes and `other` add up to the whole change, of the points and of each amount.
#[track_caller]
pub(crate) fn adds_up(json: &Value) {
    let causes = || json["causes"].as_array().unwrap().iter().chain([&json["other"]]);
    let number = |value: &Value| value.as_f64().unwrap_or(0.0);
    if let (Some(before), Some(after)) = (json["points"]["before"].as_f64(), json["points"]["after"].as_f64()) {
        let sum: f64 = causes().map(|cause| number(&cause["points"])).sum();
        assert!((sum - (after - before)).abs() < 1e-9, "{sum} of {} points\n{:#}", after - before, json["causes"]);
    }
    for (name, amount) in json["amounts"].as_object().unwrap() {
        let sum: f64 = causes().map(|cause| number(&cause["amounts"][name]["change"])).sum();
        let whole = number(&amount["after"]) - number(&amount["before"]);
        assert!((sum - whole).abs() < 1e-9 * number(&amount["after"]).max(1.0), "{sum} of {whole} {name}");
    }
}

/// A cause as one line: kind, name, texts or numbers, points and kilograms with two digits.
fn line(cause: &Value) -> String {
    let text = |side: &str| cause["edited"][side]["text"].as_str().unwrap_or("none").to_owned();
    let key = |side: &str| {
        let edited = &cause["edited"][side];
        format!("{} {}", edited["record"].as_str().unwrap_or("-"), edited["key"].as_str().unwrap_or("-"))
    };
    let number = |value: &Value| value.as_f64().map_or("none".to_owned(), |number| format!("{number:+.2}"));
    format!(
        "{} {}: {} {} > {} {}, {} pts, {} kg",
        cause["what"].as_str().unwrap(),
        cause["id"].as_str().unwrap(),
        key("before"),
        text("before"),
        key("after"),
        text("after"),
        number(&cause["points"]),
        number(&cause["amounts"]["mass"]["change"])
    )
}

#[track_caller]
fn assert_causes(json: &Value, expected: &[&str]) {
    let lines: Vec<String> = json["causes"].as_array().unwrap().iter().map(line).collect();
    assert_eq!(lines, expected);
    assert_eq!(json["other"], Value::Null);
}

/// 2 x (1.20 kg + 20 %) to 2 x (0.80 kg + 5 %) is 1.2 kg less: 2 x 0.40 kg at the mean growth of 12.5 %, and
/// 2 x 15 % of the mean of 1.00 kg. A kilogram is worth 2 points, and 0.1 points by the time.
#[test]
fn value_and_basis_of_an_estimate_are_two_causes() {
    let sandbox = repository();
    edit(&sandbox, "parts.yaml", "{value: 1.20 kg, basis: estimated}", "{value: 0.80 kg, basis: drawn}");
    let json = answer(&sandbox);
    assert_causes(
        &json,
        &[
            "value hub.mass: hub amounts.mass.value 1.20 kg > hub amounts.mass.value 0.80 kg, +1.89 pts, -0.90 kg",
            "basis hub.mass: hub amounts.mass.basis estimated > hub amounts.mass.basis drawn, +0.63 pts, -0.30 kg",
        ],
    );
    let edit = json!({"record": "hub", "kind": "part", "key": "amounts.mass", "before": "1.20 kg estimated", "after": "0.80 kg drawn"});
    assert_eq!(json["edits"], json!([edit]));
    let out = sandbox.tierod(&["delta", "HEAD"]).ended(0).out;
    for line in [
        "\n  hub.mass  1.2 kg → 0.8 kg   +1.89 pts, mass -0.9 kg\n   edited  hub: amounts.mass.value\n",
        "\n  hub.mass  estimated (20 %) → drawn (5 %)   +0.63 pts, mass -0.3 kg\n   edited  hub: amounts.mass.basis\n",
        "\nedited keys (1)\n  hub: amounts.mass 1.20 kg estimated → 0.80 kg drawn\n",
    ] {
        assert!(out.contains(line), "{line}\n{out}");
    }
    let page = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).ended(0).out.replace('\u{202f}', " ");
    for line in [
        "\n- `hub.mass` 1.2 kg → 0.8 kg, +1.89 pts, mass −0.9 kg (hub\\: amounts.mass.value): ",
        "\n- `hub.mass` estimated (20 %) → drawn (5 %), +0.63 pts, mass −0.3 kg (hub\\: amounts.mass.basis): ",
        "\n- `hub` `amounts.mass`: 1.20 kg estimated → 0.80 kg drawn\n",
    ] {
        assert!(page.contains(line), "{line}\n{page}");
    }
}

#[test]
fn count_system_and_settings_are_causes() {
    let sandbox = repository();
    edit(&sandbox, "parts.yaml", "count: 2", "count: 3");
    assert_causes(&answer(&sandbox), &["count hub.count: hub count 2 > hub count 3, -3.02 pts, +1.44 kg"]);
    sandbox.commit_on("2027-03-02", "three hubs");
    edit(&sandbox, "tierod.yaml", "estimated: 20 %", "estimated: 25 %");
    let growth = "settings growth.mass.estimated: - growth.mass.estimated 20 % > - growth.mass.estimated 25 %, -0.38 pts, +0.18 kg";
    assert_causes(&answer(&sandbox), &[growth]);
    sandbox.commit_on("2027-03-03", "more growth");
    edit(&sandbox, "chain.yaml", "  suspension:", "  wheels: {in: car, lead: suspension lead}\n  suspension:");
    edit(&sandbox, "parts.yaml", "  hub:\n    in: suspension", "  hub:\n    in: wheels");
    assert_causes(&answer(&sandbox), &["system hub.in: hub in suspension > hub in wheels, none pts, none kg"]);
}

/// The result replaces a formula whose input changes in the same commit: 0.1 s less than the formula gave.
#[test]
fn a_new_result_is_a_cause_also_if_what_it_replaces_changes() {
    let sandbox = repository();
    edit(&sandbox, "parts.yaml", "value: 3 kg", "value: 5 kg");
    sandbox.write(
        "results.yaml",
        "results:\n  first-run: {of: circle-time, value: 5.00 s ± 0.01 s, date: 2027-03-18, evidence: [chain.yaml]}\n",
    );
    let json = answer(&sandbox);
    // 2 kg more cost 4 points, and 0.2 points by the time before the result, none after it: 0.1 in the mean.
    assert_causes(
        &json,
        &[
            "value arm.mass: arm amounts.mass.value 3 kg > arm amounts.mass.value 5 kg, -4.10 pts, +2.00 kg",
            "source circle-time: circle-time formula 5 s + car-mass * 0.01 s/kg > first-run value 5.00 s ± 0.01 s, +0.69 pts, none kg",
        ],
    );
    sandbox.commit_on("2027-03-18", "measured");
    std::fs::remove_file(sandbox.path_of("results.yaml")).unwrap();
    let json = answer(&sandbox);
    assert_causes(
        &json,
        &[
            "source circle-time: first-run value 5.00 s ± 0.01 s > circle-time formula 5 s + car-mass * 0.01 s/kg, -0.79 pts, none kg",
        ],
    );
}

#[test]
fn added_and_removed_parts_and_events_are_causes() {
    let sandbox = repository();
    edit(&sandbox, "parts.yaml", &PARTS[PARTS.find("  arm:").unwrap()..], "");
    let chain = CHAIN.replace(
        "systems:\n",
        "  design: {plan: 30 pts, expect: 40 pts, lead: team lead, serves: {top-ten: It is judged.}}\nsystems:\n",
    );
    sandbox.write("chain.yaml", chain);
    assert_causes(
        &answer(&sandbox),
        &[
            "added design: - - none > - - none, +40.00 pts, none kg",
            "removed arm.mass: arm amounts.mass.value 3 kg > - - none, +6.30 pts, -3.00 kg",
        ],
    );
}

#[test]
fn a_formula_is_a_cause_next_to_its_inputs() {
    let sandbox = repository();
    edit(&sandbox, "chain.yaml", "5 s + car-mass * 0.01 s/kg", "5 s + car-mass * 0.02 s/kg");
    edit(&sandbox, "parts.yaml", "value: 3 kg", "value: 4 kg");
    assert_causes(
        &answer(&sandbox),
        &[
            "value arm.mass: arm amounts.mass.value 3 kg > arm amounts.mass.value 4 kg, -2.15 pts, +1.00 kg",
            "formula circle-time: circle-time formula 5 s + car-mass * 0.01 s/kg > circle-time formula 5 s + car-mass * 0.02 s/kg, -0.64 pts, none kg",
        ],
    );
}

const REVISION: &str = "revisions:\n  car-mass-march: {of: car-mass, from: 20 kg, to: 22 kg, date: 2027-03-18, agreed-by: chief \
                        engineer, reason: The loom is heavier.}\n";

#[test]
fn a_changed_limit_has_the_reason_the_role_and_the_date_of_its_revision() {
    let sandbox = repository();
    edit(&sandbox, "chain.yaml", "at-most: 20 kg", "at-most: 22 kg");
    edit(&sandbox, "chain.yaml", "at-most: 5.6 s", "at-most: 5.7 s");
    sandbox.write("revisions.yaml", REVISION);
    let limits = answer(&sandbox)["limits_changed"].clone();
    let of = |limit: &Value| ["id", "revision", "agreed_by", "day", "reason"].map(|key| limit[key].clone());
    let agreed = ["car-mass", "car-mass-march", "chief engineer", "2027-03-18", "The loom is heavier."];
    assert_eq!(of(&limits[0]), agreed.map(Value::from));
    assert_eq!(of(&limits[1]), [json!("circle-time"), Value::Null, Value::Null, Value::Null, Value::Null]);
    let out = sandbox.tierod(&["delta", "HEAD"]).out;
    assert!(out.contains("\n  car-mass-march: agreed by chief engineer, 2027-03-18: The loom is heavier.\n"), "{out}");
    assert!(out.contains("≤ 5.7 s  no revision"), "{out}");
    let page = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).out.replace('\u{202f}', " ");
    assert!(page.contains("| `car-mass-march` (chief engineer, 2027-03-18\\: The loom is heavier.) |"), "{page}");
    assert!(page.contains("| ≤ 5.7 s | **no revision** |"), "{page}");
}

/// A result of the hub, so that there is something that a rename makes stale.
const RESULT: &str = "results:\n  hub-gauge: {of: hub, outcome: pass, date: 2027-03-05, evidence: [tierod.yaml]}\n";

#[test]
fn a_file_that_git_moved_is_no_difference() {
    let sandbox = repository();
    sandbox.write("results.yaml", RESULT);
    sandbox.commit_on("2027-03-05", "measured");
    let prints = |sandbox: &Sandbox| {
        let check = sandbox.tierod(&["check", "--format", "json"]).json();
        let findings = check["findings"].as_array().unwrap().clone();
        findings.into_iter().map(|finding| finding["fingerprint"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let before = prints(&sandbox);
    assert!(!before.is_empty(), "the test needs a finding");
    sandbox.write("a/b/keep.txt", "");
    sandbox.git(&["mv", "parts.yaml", "a/b/hub.yaml"]);
    sandbox.git(&["mv", "results.yaml", "a/parts.yaml"]);
    let staged = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0).json();
    assert_eq!(staged["findings"], json!([]));
    sandbox.commit_on("2027-03-10", "moved");
    assert_eq!(prints(&sandbox), before);
    let json = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "json"]).ended(0).json();
    for key in ["new", "fixed", "values", "causes", "edits", "renamed", "limits_changed"] {
        assert_eq!(json[key], json!([]), "{key}");
    }
    assert_eq!(json["records"], json!({"added": [], "removed": [], "renamed": [], "edited": []}));
    // An edit in the commit that moves the file is only the edit.
    sandbox.git(&["mv", "a/b/hub.yaml", "parts.yaml"]);
    edit(&sandbox, "parts.yaml", "value: 3 kg", "value: 4 kg");
    let json = answer(&sandbox);
    assert_eq!(json["edits"].as_array().unwrap().len(), 1, "{}", json["edits"]);
    assert_eq!(json["records"]["added"], json!([]));
}

/// Renames the hub, with everything that names it.
fn rename_hub(sandbox: &Sandbox) {
    edit(sandbox, "parts.yaml", "  hub:", "  wheel-carrier:");
    edit(sandbox, "results.yaml", "of: hub,", "of: wheel-carrier,");
}

/// The line that is proposed, added where it is proposed, makes the two records one.
#[test]
fn the_line_for_a_renamed_record_is_proposed() {
    let sandbox = repository();
    sandbox.write("results.yaml", RESULT);
    sandbox.commit_on("2027-03-05", "measured");
    rename_hub(&sandbox);
    edit(&sandbox, "parts.yaml", "value: 1.20 kg", "value: 1.10 kg");
    let json = answer(&sandbox);
    let expected = json!([{"from": "hub", "to": "wheel-carrier", "kind": "part", "formerly": false, "path": "parts.yaml",
                           "line": 2, "add": "formerly: [hub]", "alike": 6.0 / 7.0}]);
    assert_eq!(json["renamed"], expected);
    assert_eq!(json["records"]["added"], json!([{"id": "wheel-carrier", "kind": "part"}]));
    let out = sandbox.tierod(&["delta", "HEAD"]).out;
    let lines = "\npossible renames without `formerly` (1)\n  part hub → wheel-carrier  86 % of the keys are the same\n      fix  add \
                 `formerly: [hub]` to wheel-carrier (parts.yaml:2)\n";
    assert!(out.contains(lines), "{out}");
    let page = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).out.replace('\u{202f}', " ");
    let line = "\n- part `hub` → `wheel-carrier`: add `formerly: [hub]` to `wheel-carrier` in `parts.yaml:2`\n";
    assert!(page.contains(line), "{page}");

    let text = std::fs::read_to_string(sandbox.path_of("parts.yaml")).unwrap();
    let mut lines: Vec<&str> = text.lines().collect();
    let add = format!("    {}", expected[0]["add"].as_str().unwrap());
    lines.insert(2, &add);
    sandbox.write("parts.yaml", lines.join("\n"));
    let json = answer(&sandbox);
    let known = json!([{"from": "hub", "to": "wheel-carrier", "kind": "part", "formerly": true, "path": "parts.yaml", "line": 2,
                        "add": null, "alike": null}]);
    assert_eq!(json["renamed"], known);
    assert_eq!((&json["records"]["added"], &json["records"]["removed"]), (&json!([]), &json!([])));
    assert_causes(
        &json,
        &[
            "value wheel-carrier.mass: hub amounts.mass.value 1.20 kg > wheel-carrier amounts.mass.value 1.10 kg, +0.50 pts, -0.24 kg",
        ],
    );
    let keys: Vec<&Value> = json["edits"].as_array().unwrap().iter().map(|edit| &edit["key"]).collect();
    assert_eq!(keys, ["of", "amounts.mass"], "not `formerly`, which only belongs to the rename");
}

/// An earlier `formerly` is kept in the line that is proposed.
#[test]
fn a_second_rename_keeps_the_first_one() {
    let sandbox = repository();
    edit(&sandbox, "parts.yaml", "  hub:\n", "  hub:\n    formerly: [carrier]\n");
    sandbox.commit_on("2027-03-02", "renamed before");
    edit(&sandbox, "parts.yaml", "  hub:\n", "  wheel-carrier:\n");
    assert_eq!(answer(&sandbox)["renamed"][0]["add"], "formerly: [carrier, hub]");
}

/// Each record is in at most one pair, and records that are not alike are in none.
#[test]
fn only_records_that_are_alike_are_proposed_and_each_once() {
    let sandbox = repository();
    let part = |id: &str, mass: &str, with: &str| {
        format!(
            "  {id}:\n    in: suspension\n    amounts: {{mass: {mass}}}\n    serves: {{circle-time: It holds {with}.}}\n    \
             verify: {{by: inspection, with: {with}, due: 2027-06-01}}\n"
        )
    };
    let more = |parts: &[String]| sandbox.write("more.yaml", format!("parts:\n{}", parts.concat()));
    more(&[part("bolt-left", "1 kg", "a nut"), part("bolt-right", "1 kg", "a nut"), part("fan", "2 kg", "air")]);
    sandbox.commit_on("2027-03-02", "more parts");
    more(&[part("screw-right", "1 kg", "a nut"), part("pump", "3 kg", "water")]);
    let pairs = |json: &Value| {
        let all = json["renamed"].as_array().unwrap().iter();
        all.map(|own| format!("{} {}", own["from"].as_str().unwrap(), own["to"].as_str().unwrap())).collect::<Vec<_>>()
    };
    assert_eq!(pairs(&answer(&sandbox)), ["bolt-right screw-right"], "the ids that are more alike");
    more(&[part("screw-a", "1 kg", "a nut"), part("screw-b", "1 kg", "a nut"), part("screw-c", "1 kg", "a nut")]);
    assert_eq!(pairs(&answer(&sandbox)), ["bolt-left screw-a", "bolt-right screw-b"]);
    // Another kind is another thing.
    sandbox.write(
        "more.yaml",
        "requirements:\n  bolt: {of: suspension, lead: x, serves: {circle-time: It holds a nut.}}\n",
    );
    assert_eq!(pairs(&answer(&sandbox)), [""; 0]);
}

/// Also of an import that changes hundreds of amounts, each cause has its share.
#[test]
fn hundreds_of_causes_have_their_shares() {
    let sandbox = repository();
    let import = |kg: &str, basis: &str| {
        let part = |number| {
            format!("  bracket-{number}:\n    in: suspension\n    amounts: {{mass: {{value: {kg}, basis: {basis}}}}}\n")
        };
        sandbox.write("more.yaml", format!("parts:\n{}", (0..150).map(part).collect::<String>()));
    };
    import("0.010 kg", "estimated");
    sandbox.commit_on("2027-03-02", "brackets");
    import("0.012 kg", "weighed");
    let json = answer(&sandbox);
    assert_eq!(json["other"], Value::Null, "points are linear here");
    let causes = json["causes"].as_array().unwrap();
    assert_eq!(causes.len(), 300, "value and basis of each");
    for (what, grams, points) in [("value", 2.2, -4.62e-3), ("basis", -2.2, 4.62e-3)] {
        let all: Vec<&Value> = causes.iter().filter(|cause| cause["what"] == what).collect();
        assert_eq!(all.len(), 150);
        for cause in all {
            let change = cause["amounts"]["mass"]["change"].as_f64().unwrap();
            assert!((change * 1000.0 - grams).abs() < 1e-9, "{cause}");
            assert!((cause["points"].as_f64().unwrap() - points).abs() < 1e-9, "{cause}");
        }
    }
    let out = sandbox.tierod(&["delta", "HEAD"]).out;
    assert!(out.contains("\n  and 288 more causes"), "{out}");
}

/// If two values exchange their direction, neither change can be evaluated without the other.
#[test]
fn what_cannot_be_split_is_other() {
    let sandbox = repository();
    let with = |first: &str, second: &str| {
        let targets = format!(
            "  left:\n    of: car\n    at-most: 9 s\n    {first}\n  right:\n    of: car\n    at-most: 9 s\n    {second}\n"
        );
        let chain = CHAIN.replace("mass / 1 kg -", "mass / 1 kg - 1 pts * left / 1 s -");
        sandbox.write("chain.yaml", chain.replace("time: circle-time}", "time: circle-time, left: left}") + &targets);
    };
    with("formula: right + 1 s", "estimate: 2 s");
    sandbox.commit_on("2027-03-02", "from right to left");
    with("estimate: 5 s", "formula: left - 1 s");
    let json = answer(&sandbox);
    let causes: Vec<String> = json["causes"].as_array().unwrap().iter().map(line).collect();
    assert_eq!(
        causes,
        [
            "source left: left formula right + 1 s > left estimate 5 s, none pts, none kg",
            "source right: right estimate 2 s > right formula left - 1 s, none pts, none kg"
        ]
    );
    assert!((json["other"]["points"].as_f64().unwrap() + 2.0).abs() < 1e-9, "{}", json["other"]);
    let out = sandbox.tierod(&["delta", "HEAD"]).out;
    assert!(out.contains("\n  other   -2.00 pts\n"), "{out}");
    let page = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).out.replace('\u{202f}', " ");
    assert!(page.contains("\n- other: −2.00 pts\n"), "{page}");
}
