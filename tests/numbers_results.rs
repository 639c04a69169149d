//! Results that cannot be read, contradict each other, are worse than earlier ones, or replace the parts of a section.

use serde_json::Value;

use crate::support::{CHAIN, SETTINGS, Sandbox};

/// A root with the small chain and more records.
fn root(records: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", CHAIN);
    sandbox.write("more.yaml", records);
    sandbox
}

/// The findings of these checks, each as `level check record: message`, sorted.
fn findings(sandbox: &Sandbox, checks: &[&str]) -> Vec<String> {
    let json = sandbox.tierod(&["check", "--format", "json"]).json();
    let text = |finding: &Value, key: &str| finding[key].as_str().unwrap_or("").to_owned();
    let all = json["findings"].as_array().unwrap().iter();
    let mut all: Vec<String> = all
        .filter(|finding| checks.iter().any(|check| finding["check"] == *check))
        .map(|finding| {
            let [level, check, record, message] = ["level", "check", "record", "message"].map(|key| text(finding, key));
            format!("{level} {check} {record}: {message}")
        })
        .collect();
    all.sort();
    all
}

/// The verifications of one method in the audit: planned, passed, failed.
fn audited(sandbox: &Sandbox, method: &str) -> [u64; 3] {
    let json = sandbox.tierod(&["audit", "--format", "json"]).json();
    let line = json["verification"].as_array().unwrap().iter().find(|line| line["method"] == method).unwrap().clone();
    ["planned", "closed", "failed"].map(|key| line[key].as_u64().unwrap())
}

/// A requirement on the hub with results; the chain itself has a test of `circle-time` that is not due yet.
fn trial(results: &str) -> Sandbox {
    root(&format!(
        "requirements:\n  hold:\n    of: hub\n    shall: Hold the wheel.\n    lead: x\n    serves: {{circle-time: It turns.}}\n    \
         verify: {{by: demonstration, due: 2027-03-01}}\nresults:\n{results}"
    ))
}

/// An outcome or a value that cannot be read closes nothing, in the audit too; the earlier result does not count either.
#[test]
fn what_cannot_be_read_closes_nothing() {
    let pass = "  a: {of: hold, outcome: pass, date: 2027-02-01, evidence: [chain.yaml]}\n";
    assert_eq!(audited(&trial(pass), "demonstration"), [1, 1, 0]);
    let failed = "  b: {of: hold, outcome: failed, date: 2027-02-02, evidence: [chain.yaml]}\n";
    let sandbox = trial(failed);
    assert_eq!(audited(&sandbox, "demonstration"), [1, 0, 0]);
    assert_eq!(findings(&sandbox, &["bad-value"]), ["error bad-value b: `failed` is not pass or fail"]);
    assert_eq!(audited(&trial(&format!("{pass}{failed}")), "demonstration"), [1, 0, 0]);
    // A later result that can be read closes it again.
    let later = "  c: {of: hold, outcome: fail, date: 2027-02-03, evidence: [chain.yaml]}\n";
    assert_eq!(audited(&trial(&format!("{pass}{failed}{later}")), "demonstration"), [1, 0, 1]);
    // The same for the value of a target.
    let time = |value: &str| root(&format!("results:\n  t: {{of: circle-time, value: {value}, date: 2027-03-01}}\n"));
    assert_eq!(audited(&time("5.0 s"), "test"), [1, 1, 0]);
    assert_eq!(audited(&time("5.0 s, outcome: failed"), "test"), [1, 0, 0]);
    assert_eq!(audited(&time("about five"), "test"), [1, 0, 0]);
}

/// Pass and fail on one day close nothing, in either order, until one names the other.
#[test]
fn results_of_one_day_that_contradict_each_other() {
    let two = |first: &str, second: &str, more: &str| {
        trial(&format!(
            "  a: {{of: hold, outcome: {first}, date: 2027-02-01, evidence: [chain.yaml]}}\n  b: {{of: hold, outcome: \
             {second}, date: 2027-02-01, evidence: [chain.yaml]{more}}}\n"
        ))
    };
    for (first, second, passed, failed) in [("pass", "fail", "a", "b"), ("fail", "pass", "b", "a")] {
        let sandbox = two(first, second, "");
        let message =
            format!("error contradicting-results b: hold passed ({passed}) and failed ({failed}) on 2027-02-01");
        assert_eq!(findings(&sandbox, &["contradicting-results"]), [message]);
        assert_eq!(audited(&sandbox, "demonstration"), [1, 0, 0]);
        sandbox.tierod(&["check"]).ended(1);
    }
    let sandbox = two("fail", "pass", ", supersedes: [a]");
    assert!(findings(&sandbox, &["contradicting-results", "target-missed"]).is_empty());
    assert_eq!(audited(&sandbox, "demonstration"), [1, 1, 0]);
    let sandbox = two("pass", "fail", ", supersedes: [a]");
    assert_eq!(audited(&sandbox, "demonstration"), [1, 0, 1]);
    assert!(findings(&two("pass", "pass", ""), &["contradicting-results"]).is_empty());
    // Values contradict each other by the limit, and an outcome by a value.
    let times = |first: &str, second: &str| {
        root(&format!(
            "results:\n  a: {{of: circle-time, {first}, date: 2027-03-01}}\n  b: {{of: circle-time, {second}, date: \
             2027-03-01}}\n"
        ))
    };
    for (first, second, count) in [
        ("value: 5.0 s", "value: 5.3 s", 1),
        ("value: 5.0 s", "value: 5.1 s", 0),
        ("value: 5.0 s", "outcome: fail", 1),
        ("value: 5.2 s ± 0.1 s", "outcome: fail", 0),
    ] {
        let found = findings(&times(first, second), &["contradicting-results"]);
        assert_eq!(found.len(), count, "{first}, {second}: {found:?}");
    }
}

/// What `supersedes` of a result may name.
#[test]
fn a_result_supersedes_results_of_its_record() {
    let sandbox = trial(
        "  a: {of: circle-time, value: 5.0 s, date: 2027-02-01, evidence: [chain.yaml]}\n  b: {of: hold, outcome: pass, \
         date: 2027-02-01, evidence: [chain.yaml], supersedes: [a]}\n  c: {of: hold, outcome: pass, date: 2027-02-02, \
         evidence: [chain.yaml], supersedes: [d]}\n  d: {of: hold, outcome: pass, date: 2027-02-02, evidence: \
         [chain.yaml], supersedes: [c]}\n",
    );
    assert_eq!(
        findings(&sandbox, &["unknown-reference", "reference-cycle"]),
        [
            "error reference-cycle c: `supersedes` links form a cycle: c → d → c",
            "error unknown-reference b: `a` is a result of circle-time, not of hold"
        ]
    );
}

/// A list of verifications is closed when each of its methods is.
#[test]
fn each_method_of_a_list_needs_a_result() {
    let list = |results: &str| {
        root(&format!(
            "requirements:\n  hold:\n    of: hub\n    shall: Hold the wheel.\n    lead: x\n    serves: {{circle-time: It \
             turns.}}\n    verify: [{{by: analysis, due: 2027-02-01}}, {{by: demonstration, due: 2027-03-01}}]\nresults:\n\
             {results}"
        ))
    };
    let result = |id: &str, day: &str, more: &str| {
        format!("  {id}: {{of: hold, outcome: pass, date: 2027-02-{day}, evidence: [chain.yaml]{more}}}\n")
    };
    let overdue = |sandbox: &Sandbox| findings(sandbox, &["verification-overdue"]);
    let first = list(&result("a", "01", ""));
    let open =
        "warning verification-overdue hold: verification of hold by demonstration was due on 2027-03-01, 18 days ago";
    assert_eq!(overdue(&first), [open]);
    assert_eq!((audited(&first, "analysis"), audited(&first, "demonstration")), ([1, 1, 0], [1, 0, 0]));
    // A second result of the same method closes no other one.
    assert_eq!(overdue(&list(&(result("a", "01", "") + &result("b", "02", "")))), [open]);
    let second = list(&result("a", "01", ", by: demonstration"));
    assert_eq!(
        overdue(&second),
        ["warning verification-overdue hold: verification of hold by analysis was due on 2027-02-01, 46 days ago"]
    );
    let both = list(&(result("a", "01", "") + &result("b", "02", ", by: demonstration")));
    assert!(overdue(&both).is_empty());
    assert_eq!((audited(&both, "analysis"), audited(&both, "demonstration")), ([1, 1, 0], [1, 1, 0]));
}

/// The latest measurement is used; if it is far less exact, a note says so, and its status is uncertain everywhere.
#[test]
fn a_later_worse_measurement_is_reported() {
    let sandbox = root(
        "results:\n  exact: {of: circle-time, value: 5.30 s ± 0.02 s, date: 2027-03-01, evidence: [chain.yaml]}\n  rough: \
         {of: circle-time, value: 5.10 s ± 0.40 s, date: 2027-03-02, evidence: [chain.yaml]}\n",
    );
    assert_eq!(
        findings(&sandbox, &["less-exact-result", "target-at-risk", "target-missed"]),
        [
            "note less-exact-result rough: circle-time: 5.10 s ± 0.40 s is used (rough, 2027-03-02); 5.30 s ± 0.02 s is \
             more exact (exact, 2027-03-01)",
            "warning target-at-risk circle-time: circle-time: measured 5.10 ± 0.40 s, limit at most 5.2 s is inside the \
             uncertainty; met with a probability of 69 %",
        ]
    );
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let time = values["values"].as_array().unwrap().iter().find(|value| value["id"] == "circle-time").unwrap().clone();
    assert_eq!((&time["status"], &time["value"]), (&"uncertain".into(), &5.1.into()));
    // Phi(0.5), a standard textbook result.
    assert!((time["conformance"].as_f64().unwrap() - 0.691_462_461_3).abs() < 1e-9);
    for command in [&["values"][..], &["why", "circle-time"]] {
        assert!(sandbox.tierod(command).ended(0).out.contains("uncertain"), "{command:?}");
    }
    sandbox
        .write("more.yaml", std::fs::read_to_string(sandbox.path_of("more.yaml")).unwrap().replace("± 0.40", "± 0.05"));
    assert!(findings(&sandbox, &["less-exact-result"]).is_empty());
    let sandbox = root(
        "results:\n  exact: {of: circle-time, value: 5.30 s ± 0.02 s, date: 2027-03-01, evidence: [chain.yaml]}\n  rough: \
         {of: circle-time, value: 5.10 s ± 0.40 s, date: 2027-03-02, evidence: [chain.yaml], supersedes: [exact]}\n",
    );
    assert!(findings(&sandbox, &["less-exact-result"]).is_empty());
}

/// A result without uncertainty is a note if its margin is small, and the leading inputs without one are one note.
#[test]
fn numbers_without_uncertainty() {
    let time = |value: &str| {
        let records =
            format!("results:\n  t: {{of: circle-time, value: {value}, date: 2027-03-01, evidence: [chain.yaml]}}\n");
        findings(&root(&records), &["no-uncertainty"])
    };
    let small =
        "note no-uncertainty t: circle-time: measured 5.15 s without uncertainty, 1 % from its limit at most 5.2 s";
    assert_eq!(time("5.15 s"), [small]);
    assert_eq!(time("5.15 s ± 0.01 s"), [""; 0]);
    assert_eq!(time("5.0 s"), [""; 0]);
    let sprint = |grip: &str, best: &str| {
        let records = format!(
            "events:\n  sprint:\n    plan: 40 pts\n    lead: x\n    serves: {{top-ten: It counts.}}\n    reads: {{time: \
             sprint-time}}\n    score: {{formula: most * best / time, given: {{most: 100 pts, best: {best}}}}}\n\
             targets:\n  sprint-time: {{of: car, at-most: 9 s, formula: 8 s / grip^2}}\n  grip: {{of: car, at-least: 1, \
             estimate: {grip}}}\n  tilt: {{of: car, at-most: 9 deg, estimate: 8 deg}}\n"
        );
        findings(&root(&records), &["no-uncertainty"])
    };
    assert_eq!(
        sprint("2", "4 s"),
        ["note no-uncertainty top-ten: of the inputs that change the points most, grip (+4.0 points for 1 %), sprint \
             given best (+2.0 points for 1 %) have no uncertainty"]
    );
    let grip = "note no-uncertainty top-ten: of the inputs that change the points most, grip (+4.0 points for 1 %) has no \
                uncertainty";
    assert_eq!(sprint("2", "4.0 s ± 0.1 s"), [grip]);
    assert_eq!(sprint("2.0 ± 0.1", "4.0 s ± 0.1 s"), [""; 0]);
}

/// A suspension with a corner in it, and a frame.
const SECTIONS: &str = "\
systems: {corner: {in: suspension, lead: x}, frame: {in: car, lead: x}}
targets:
  car-mass: {of: car, at-most: 192 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 31.5 kg, total: mass, share-of: car-mass}
  corner-mass: {of: corner, at-most: 11 kg, total: mass, share-of: suspension-mass}
  frame-mass: {of: frame, at-most: 162 kg, total: mass, share-of: car-mass}
parts:
  upright: {in: corner, count: 4, amounts: {mass: {value: 2.5 kg, basis: weighed}}}
  arm: {in: suspension, count: 4, amounts: {mass: {value: 4.125 kg, basis: estimated}}}
  tube: {in: frame, amounts: {mass: {value: 150 kg, basis: weighed}}}
  bracket: {in: frame, amounts: {mass: {value: 5 kg, basis: estimated}}}
";
const WEIGHED: &str = "\
results:
  weighing: {of: suspension-mass, value: 31.2 kg ± 0.2 kg, date: 2027-03-01, evidence: [chain.yaml]}
";

/// The car's total, its budgets and the tightest of them know what a section weighs, and what is not in its parts.
#[test]
fn a_weighed_section_counts_in_the_car() {
    let sandbox = root(&format!("{SECTIONS}{WEIGHED}"));
    let budgets = sandbox.tierod(&["budget", "mass", "--format", "json"]).ended(0).json();
    let car = budgets["budgets"].as_array().unwrap().iter().find(|budget| budget["id"] == "car-mass").unwrap().clone();
    let near = |value: &Value, expected: f64| {
        assert!((value.as_f64().unwrap() - expected).abs() < 1e-9, "{value} instead of {expected}");
    };
    near(&car["value"], 31.2 + 150.0 + 6.0);
    near(&car["uncertainty"], 0.2);
    // The growth of the arms is no longer in the car; that of the bracket is.
    near(&car["growth"], 1.0);
    near(&car["outside"], 0.0);
    assert!(car["not_in_parts"].is_null());
    let share =
        car["shares"].as_array().unwrap().iter().find(|share| share["id"] == "suspension-mass").unwrap().clone();
    near(&share["value"], 31.2);
    near(&share["not_in_parts"], 31.2 - 4.0 * 2.5 - 4.0 * 4.125 * 1.2);
    let values = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
    let value = |id: &str| values["values"].as_array().unwrap().iter().find(|value| value["id"] == id).unwrap().clone();
    near(&value("car.mass")["value"], 187.2);
    near(&value("suspension.mass")["value"], 31.2);
    near(&value("suspension.mass")["not_in_parts"], 1.4);
    assert_eq!(value("suspension.mass")["origin"], "result");
    let out = sandbox.tierod(&["budget", "mass"]).ended(0).out;
    assert!(
        out.contains("suspension-mass: 31.2 kg measured, its parts total 29.8 kg; not in the parts: +1.4 kg"),
        "{out}"
    );
    let out = sandbox.tierod(&["values"]).ended(0).out;
    assert!(out.contains("not in the parts") && out.contains("+1.4 kg"), "{out}");
    let out = sandbox.tierod(&["check"]).out;
    let tightest = "tightest budgets: suspension-mass +1.0 %, car-mass +2.5 %, frame-mass +3.7 %";
    assert!(out.contains(tightest), "{out}");
    // A section that is not a share counts with its measured mass as outside of any share.
    let sandbox = root(
        &format!("{SECTIONS}{WEIGHED}").replace("total: mass, share-of: car-mass}\n  corner", "total: mass}\n  corner"),
    );
    let budgets = sandbox.tierod(&["budget", "mass", "--format", "json"]).ended(0).json();
    let car = budgets["budgets"].as_array().unwrap().iter().find(|budget| budget["id"] == "car-mass").unwrap().clone();
    near(&car["outside"], 31.2);
    assert_eq!(car["without_share"][0]["id"], "suspension");
}

/// The cause of a new total of the car is the weighing, and undoing it gives the same with the other sign.
#[test]
fn the_cause_of_a_weighed_section_is_its_result() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", CHAIN);
    let half = "  half: {of: car, at-most: 99 kg, formula: suspension.mass / 2}\nparts:";
    let before = SECTIONS.replacen("parts:", half, 1);
    sandbox.write("more.yaml", &before);
    sandbox.commit_on("2027-03-02", "Add the sections");
    sandbox.write("more.yaml", format!("{before}{WEIGHED}"));
    sandbox.commit_on("2027-03-03", "Weigh the suspension");
    for (base, head, sign) in [("HEAD~1", "HEAD", 1.0), ("HEAD", "HEAD~1", -1.0)] {
        let json = sandbox.tierod(&["delta", base, head, "--format", "json"]).json();
        let causes = json["causes"].as_array().unwrap();
        assert_eq!(causes.len(), 1, "{causes:?}");
        let cause = &causes[0];
        assert_eq!((&cause["id"], &cause["what"]), (&"suspension-mass".into(), &"source".into()));
        let change = cause["amounts"]["mass"]["change"].as_f64().unwrap();
        assert!((change - sign * 1.4).abs() < 1e-9, "{cause}");
        let changed: Vec<&str> =
            json["values"].as_array().unwrap().iter().map(|value| value["id"].as_str().unwrap()).collect();
        assert_eq!(changed, ["car-mass", "car.mass", "half", "suspension-mass", "suspension.mass"]);
    }
}

/// Alternatives and worth are evaluated without results, so a part of a weighed section still moves the car there.
#[test]
fn worth_and_alternatives_use_the_estimates() {
    let event = "events:\n  sprint:\n    plan: 40 pts\n    lead: x\n    serves: {top-ten: It counts.}\n    reads: {mass: \
                 car-mass}\n    score: {formula: 300 pts - mass * 1 pts/kg}\ndecisions:\n  arms: {alternatives: {thin: {sets: \
                 {arm.mass: 4 kg}}}}\n";
    let answers = |results: &str| {
        let sandbox = root(&format!("{event}{SECTIONS}{results}"));
        sandbox.write("chain.yaml", CHAIN.replace("plan: 50 pts", "plan: 50 pts\n    expect: 50 pts"));
        let worth = sandbox.tierod(&["worth", "arm.mass", "--format", "json"]).ended(0).json();
        let compared = sandbox.tierod(&["compare", "arms", "--format", "json"]).ended(0).json();
        (worth["values"][0]["points_per_unit"].clone(), compared["alternatives"][0]["difference"].clone())
    };
    let (worth, difference) = answers(WEIGHED);
    assert_eq!((&worth, &difference), (&answers("").0, &answers("").1));
    assert!((worth.as_f64().unwrap() + 4.8).abs() < 1e-9, "{worth}");
    assert!((difference.as_f64().unwrap() - 0.6).abs() < 1e-9, "{difference}");
}

/// An analysis whose target was measured since has done its work.
#[test]
fn a_measured_prediction_was_used() {
    let analysis = "analyses:\n  circle: {title: Steady circle, finds: {circle-time: 5.05 s ± 0.1 s}}\n";
    let result = "results:\n  t: {of: circle-time, value: 5.0 s ± 0.1 s, date: 2027-03-01, evidence: [chain.yaml]}\n";
    let unused = |records: &str| findings(&root(records), &["unused-analysis"]).len();
    assert_eq!(unused(analysis), 1);
    let sandbox = root(&format!("{analysis}{result}"));
    assert!(findings(&sandbox, &["unused-analysis"]).is_empty());
    let audit = sandbox.tierod(&["audit"]).out;
    assert!(!audit.contains("informed no decision"), "{audit}");
}
