//! `points`, `worth` and `compare`, checked with edited and newly evaluated records.

use serde_json::Value;

use crate::example_car::copy;
use crate::support::{CHAIN, SETTINGS, Sandbox};

fn json(sandbox: &Sandbox, args: &[&str]) -> Value {
    let mut all = args.to_vec();
    all.extend(["--format", "json"]);
    sandbox.tierod(&all).ended(0).json()
}

fn predicted(sandbox: &Sandbox) -> f64 {
    json(sandbox, &["points"])["predicted"].as_f64().unwrap()
}

/// Replaces one text in one file of a copy, and returns the new points.
#[track_caller]
fn points_with(file: &str, from: &str, to: &str) -> f64 {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let text = std::fs::read_to_string(sandbox.path_of(file)).unwrap();
    assert!(text.contains(from), "{file} contains {from:?}");
    sandbox.write(file, text.replacen(from, to, 1));
    predicted(&sandbox)
}

/// `worth` of a value is the slope between the records edited up and down.
#[test]
fn worth_is_the_slope_of_points_when_records_are_edited() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let worth = json(&sandbox, &["worth", "--all"]);
    let of = |id: &str| {
        let all = worth["values"].as_array().unwrap();
        let found = all.iter().find(|value| value["id"] == id).unwrap_or_else(|| panic!("{id} is worth something"));
        (found["value"].as_f64().unwrap(), found["points_per_unit"].as_f64().unwrap())
    };
    for (id, file, text, step) in [
        ("tyre-rig-grip", "analysis/analyses.yaml", "tyre-rig-grip: {} ± 0.03", 0.004),
        ("acceleration given best", "season/goal-and-events.yaml", "best: {} s ± 0.06 s", 0.02),
        ("skidpad given best", "season/goal-and-events.yaml", "best: {} s ± 0.05 s", 0.02),
    ] {
        let (value, per_unit) = of(id);
        let (high, low) = (value + step, value - step);
        let number = |value: f64| text.replace("{}", &format!("{value:.4}"));
        let written = [format!("{value}"), format!("{value:.1}"), format!("{value:.2}"), format!("{value:.3}")];
        let content = std::fs::read_to_string(crate::example_car::folder().join(file)).unwrap();
        let from = written
            .iter()
            .map(|v| text.replace("{}", v))
            .find(|t| content.contains(t))
            .expect("the value is in the file");
        let slope = (points_with(file, &from, &number(high)) - points_with(file, &from, &number(low))) / (2.0 * step);
        assert!((slope - per_unit).abs() < 5e-3 * per_unit.abs(), "{id}: {per_unit} per unit, and {slope} by editing");
    }
    let car = worth["car"].as_array().unwrap();
    assert_eq!(car[0]["id"], "car.mass");
    // One more kilogram on a weighed part with a count of one is one kilogram of the car.
    let base = predicted(&sandbox);
    sandbox.write("ballast.yaml", "parts:\n  ballast: {in: chassis, amounts: {mass: {value: 0.5 kg, basis: weighed}}, serves: {car-mass: It is a trial.}}\n");
    let slope = (predicted(&sandbox) - base) / 0.5;
    let per_kilogram = car[0]["points_per_unit"].as_f64().unwrap();
    assert!(
        (slope - per_kilogram).abs() < 0.02 * per_kilogram.abs(),
        "{per_kilogram} a kilogram, and {slope} by adding one"
    );
}

/// Two amounts and a target that an alternative sets give the same points as records with these values.
#[test]
fn compare_gives_the_same_as_edited_records() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let weighed = json(&sandbox, &["compare", "engine"]);
    let four = weighed["alternatives"].as_array().unwrap().iter().find(|a| a["name"] == "four").unwrap().clone();
    let decisions = std::fs::read_to_string(sandbox.path_of("decisions/decisions.yaml")).unwrap();
    let decisions: serde_yaml::Value = serde_yaml::from_str(&decisions).unwrap();
    let sets = &decisions["decisions"]["engine"]["alternatives"]["four"]["sets"];
    let mut results = String::from("results:\n");
    for (to, value) in sets.as_mapping().unwrap() {
        let (to, value) = (to.as_str().unwrap(), value.as_str().unwrap());
        match to.split_once('.') {
            // A target: the latest result counts.
            None => results.push_str(&format!(
                "  weighed-{to}: {{of: {to}, value: {value}, date: 2027-03-18, evidence: [tierod.yaml]}}\n"
            )),
            Some((part, amount)) => edit_amount(&sandbox, part, amount, value),
        }
    }
    sandbox.write("weighed.yaml", results);
    let by_hand = json(&sandbox, &["points"]);
    let near = |a: &Value, b: &Value| (a.as_f64().unwrap() - b.as_f64().unwrap()).abs() < 1e-9;
    assert!(near(&four["points"], &by_hand["predicted"]), "{} is not {}", four["points"], by_hand["predicted"]);
    // Alternatives have the uncertainty of the values that they replace; results without ± have none.
    assert!(four["uncertainty"].as_f64() >= by_hand["uncertainty"].as_f64());
    let single = weighed["alternatives"].as_array().unwrap().iter().find(|a| a["name"] == "single").unwrap();
    assert!(single["difference"].as_f64().unwrap().abs() < 1e-9, "the one that is in the car: {single}");
    assert!(single["difference_uncertainty"].as_f64().unwrap() < 1e-6, "{single}");
    for (a, b) in four["events"].as_array().unwrap().iter().zip(by_hand["events"].as_array().unwrap()) {
        assert!(a["id"] == b["id"] && near(&a["points"], &b["predicted"]), "{a} is not {b}");
    }
}

/// Changes an amount in the record of a part, which is in flow style on one line.
fn edit_amount(sandbox: &Sandbox, part: &str, amount: &str, value: &str) {
    for folder in ["powertrain", "suspension", "chassis", "wheels", "aero"] {
        let file = format!("{folder}/{folder}.yaml");
        let text = std::fs::read_to_string(sandbox.path_of(&file)).unwrap();
        let Some(at) = text.find(&format!("\n  {part}:\n")) else { continue };
        let key = format!("{amount}: {{value: ");
        let start = at + text[at..].find(&key).expect("the amount is there") + key.len();
        let end = start + text[start..].find([',', '}']).unwrap();
        sandbox.write(&file, format!("{}{value}{}", &text[..start], &text[end..]));
        return;
    }
    panic!("{part} is not found");
}

#[test]
fn points_invert_the_score_and_show_the_points_for_the_place() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", CHAIN);
    // Formula SAE Rules 2024, D.10.4: skidpad 5.0 s best, 5.3 s scores 53.152071 points.
    sandbox.write(
        "event.yaml",
        "events:\n  circle:\n    plan: 53.152071 pts\n    lead: lead\n    serves: {top-ten: Cheap points.}\n    reads: {time: circle-time}\n    score: {use: sae-2024.skidpad, given: {best: 5.0 s}}\n",
    );
    let chain = CHAIN
        .replace("at-most: 5.2 s\n    estimate: 5.1 s ± 0.05 s", "at-most: 5.5 s\n    estimate: 5.25 s ± 0.05 s")
        .replace("    lead: team lead", "");
    let chain = chain.replace("    plan: 50 pts\n", "    plan: 50 pts\n    expect: 50 pts\n");
    let goal = "top-ten: {place: 2, reason: A place among ten keeps the workshop., lead: team lead, past-standings: {file: past.csv}}";
    let chain =
        chain.replace("top-ten: {place: 10, reason: A place among ten keeps the workshop., lead: team lead}", goal);
    sandbox.write("chain.yaml", chain);
    // Three contests in which second place had 90, 100 and 110: `models/tests/standings_scipy.py` with 0.05 times 130 gives
    // the expected value and the upper end.
    sandbox
        .write("past.csv", "year,place,total\n2024,1,120\n2024,2,90\n2025,1,130\n2025,2,100\n2026,1,111\n2026,2,110\n");
    let points = json(&sandbox, &["points"]);
    let events = points["events"].as_array().unwrap();
    let circle = events.iter().find(|event| event["id"] == "circle").unwrap();
    assert!((circle["needed_value"].as_f64().unwrap() - 5.3).abs() < 1e-6, "{circle}");
    assert_eq!((circle["reads"].as_str(), circle["unit"].as_str()), (Some("time"), Some("s")));
    let needed = &points["needed"];
    assert!((needed["points"].as_f64().unwrap() - 106.666667).abs() < 1e-5, "{needed}");
    assert!((needed["high"].as_f64().unwrap() - 130.229154).abs() < 1e-5, "{needed}");
    assert_eq!(needed["years"], serde_json::json!([2024, 2025, 2026]));
    let text = sandbox.tierod(&["points"]).ended(0).out;
    assert!(text.contains("forecast from 3 past contests from 2024 to 2026"), "{text}");
}

#[test]
fn a_difference_within_its_uncertainty_is_marked() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let weighed = json(&sandbox, &["compare", "tyre-size"]);
    let tall = &weighed["alternatives"][1];
    let (by, within) = (tall["difference"].as_f64().unwrap(), tall["difference_uncertainty"].as_f64().unwrap());
    assert_eq!(tall["significant"], by.abs() > within);
    assert!(by.abs() < within, "{by} ± {within}");
    assert!(sandbox.tierod(&["compare", "tyre-size"]).ended(0).out.contains("within uncertainty"));
    let error = sandbox.tierod(&["compare", "car-mass"]).ended(2).err;
    assert!(error.contains("is a target, not a decision"), "{error}");
}

#[test]
fn check_ends_with_points_and_the_tightest_budgets() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let out = sandbox.tierod(&["check"]).ended(0).out;
    let last: Vec<&str> = out.lines().rev().take(2).collect();
    assert!(last[1].contains("points predicted") && last[1].contains("place 8 needs"), "{out}");
    assert!(last[0].starts_with("tightest budgets: chassis-mass "), "{out}");
    let out = sandbox.tierod(&["why", "accel-time"]).ended(0).out;
    assert!(out.contains("≤ 4.27 s: at risk, margin -"), "{out}");
    // A worth of mass comes with the caution about loads and methods.
    for args in [&["worth"][..], &["compare", "engine"]] {
        let out = sandbox.tierod(args).ended(0).out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            out.contains("check load cases and calculation methods first") && out.contains("qualified person"),
            "{out}"
        );
    }
}

#[test]
fn an_invalid_formula_is_reported_at_its_character() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "wrong.yaml",
        "targets:\n  a: {of: car, lead: l, at-most: 9 m, formula: 2 m + 3 s}\n  b:\n    of: car\n    lead: l\n    at-most: 9 m\n    formula: >-\n      2 m +\n      circle-tim * 1 m/s\n  c: {of: car, lead: l, at-most: 9 m, formula: \"2 m + (3 m\"}\n",
    );
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let reported: Vec<String> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| ["unit-mismatch", "unknown-reference", "bad-value"].contains(&f["check"].as_str().unwrap()))
        .map(|f| format!("{}:{} {}", f["line"], f["column"], f["check"].as_str().unwrap()))
        .collect();
    assert_eq!(reported, ["10:55 bad-value", "2:52 unit-mismatch", "9:7 unknown-reference"]);
}

/// The invalid formulas of the formula tests, each in its own record: the finding is at the character.
#[test]
fn fifty_invalid_formulas_are_reported_at_their_columns() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let given = "given: {m: 2 kg, t: 3 s, v: 4 m/s, r: 5, p: 6 pts, c: 7 EUR, d: 8 USD}";
    // A text with an uncertainty is a quantity, and valid if it is the complete formula.
    let cases = include_str!("wrong-formulas.tsv").lines().filter(|line| !line.starts_with('#') && !line.contains('±'));
    let mut records = String::from("targets:\n");
    let mut expected = Vec::new();
    for (number, case) in cases.enumerate() {
        let [text, start, kind, _] = case.split('\t').collect::<Vec<_>>()[..] else { panic!("{case}") };
        // An empty text is reported at its place before it is parsed as a formula.
        let check = if kind == "Unit" { "unit-mismatch" } else { "bad-value" };
        let line = 2 + 6 * number;
        records.push_str(&format!(
            "  x{number}:\n    of: car\n    lead: l\n    at-most: 9\n    {given}\n    formula: '{text}'\n"
        ));
        // After `    formula: '`; an empty text has only its quote.
        let column = if text.is_empty() { 14 } else { 15 + start.parse::<usize>().unwrap() };
        expected.push(format!("x{number} {check} {}:{column}", line + 5));
    }
    assert!(expected.len() >= 50);
    sandbox.write("wrong.yaml", records);
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let found = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|f| ["unit-mismatch", "bad-value"].contains(&f["check"].as_str().unwrap()));
    let mut reported: Vec<String> = found
        .map(|f| {
            format!("{} {} {}:{}", f["record"].as_str().unwrap(), f["check"].as_str().unwrap(), f["line"], f["column"])
        })
        .collect();
    reported.sort();
    expected.sort();
    assert_eq!(reported, expected);
}

/// Shares, reserves and values of alternatives are reported if their unit does not match what they belong to.
#[test]
fn units_that_do_not_match_their_budget_or_decision() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "units.yaml",
        "targets:
  car-mass: {of: car, lead: l, at-most: 200 kg, reserve: 2 m, total: mass}
  own-mass: {of: suspension, at-most: 20 m, share-of: car-mass, estimate: 19 m}
decisions:
  hub-size:
    alternatives:
      small: {sets: {hub.mass: 2 m, circle-time: 5 s}}
      large: {sets: {hub.mass: 3 kg}}
",
    );
    let chain = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    sandbox.write("chain.yaml", chain.replace("  hub:\n", "  hub:\n    amounts: {mass: 2 kg}\n"));
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let found = report["findings"].as_array().unwrap().iter().filter(|f| f["check"] == "unit-mismatch");
    let reported: Vec<String> =
        found.map(|f| format!("{}:{} {}", f["line"], f["column"], f["record"].as_str().unwrap())).collect();
    assert_eq!(reported, ["2:58 car-mass", "3:55 own-mass", "7:32 hub-size"]);
}

/// Mistakes of a team that would change a prediction unnoticed without a finding.
#[test]
fn mistakes_that_change_a_prediction_are_reported() {
    let reported = |file: &str, from: &str, to: &str| {
        let sandbox = Sandbox::new();
        copy(&sandbox);
        let ids = |sandbox: &Sandbox| -> std::collections::BTreeSet<String> {
            let report = sandbox.tierod(&["check", "--format", "json"]).json();
            let findings = report["findings"].as_array().unwrap().iter();
            findings
                .map(|f| format!("{} {}", f["check"].as_str().unwrap(), f["record"].as_str().unwrap_or("-")))
                .collect()
        };
        let before = ids(&sandbox);
        let text = std::fs::read_to_string(sandbox.path_of(file)).unwrap();
        assert!(text.contains(from), "{file} contains {from:?}");
        sandbox.write(file, text.replacen(from, to, 1));
        let new: Vec<String> = ids(&sandbox).difference(&before).cloned().collect();
        (new, sandbox)
    };
    let (new, _) = reported("test/results.yaml", "outcome: pass", "outcome: fail");
    assert!(new.iter().any(|line| line.starts_with("target-missed ")), "a trial that failed: {new:?}");
    let (new, _) = reported("decisions/decisions.yaml", "engine-unit.mass: 57.5 kg", "engine-unit.masss: 57.5 kg");
    assert_eq!(new, ["unknown-reference engine"]);
    let (new, sandbox) = reported("aero/aero.yaml", "mass: {value: 1.55 kg", "mass: {value: -1.55 kg");
    assert!(new.iter().any(|line| line.starts_with("bad-value ")), "{new:?}");
    for command in ["points", "budget", "values", "worth"] {
        let out = sandbox.tierod(&[command]).out;
        assert!(out.starts_with("  incomplete: 1 read error,"), "{command}: {out}");
    }
    let (new, _) = reported(
        "season/goal-and-events.yaml",
        "serves:\n      first-eight: A tenth",
        "serves:\n      first-eight: TODO # A tenth",
    );
    assert_eq!(new, ["no-reason skidpad"]);
}

#[test]
fn two_results_of_one_day_are_reported() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "two.yaml",
        "results:\n  early: {of: circle-time, value: 5.0 s, date: 2027-03-01, evidence: [chain.yaml]}\n  one: {of: circle-time, value: 5.1 s, date: 2027-03-02, evidence: [chain.yaml]}\n  two: {of: circle-time, value: 5.15 s, date: 2027-03-02, evidence: [chain.yaml]}\n",
    );
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let finding = &report["findings"][0];
    assert_eq!((finding["check"].as_str(), finding["record"].as_str()), (Some("two-sources"), Some("one")));
    assert_eq!((finding["line"].as_u64(), finding["column"].as_u64()), (Some(3), Some(46)));
}

/// A kilogram in a system is a kilogram in the car.
#[test]
fn a_kilogram_is_worth_the_same_wherever_it_is() {
    let sandbox = Sandbox::new();
    copy(&sandbox);
    let per_kilogram = |id: &str| json(&sandbox, &["worth", id])["values"][0]["points_per_unit"].as_f64().unwrap();
    let car = per_kilogram("car.mass");
    assert!(car < -0.1, "{car}");
    for id in ["suspension.mass", "suspension-mass", "car-mass"] {
        assert!((per_kilogram(id) - car).abs() < 1e-9, "{id}: {} is not {car}", per_kilogram(id));
    }
}

/// An analysis is unused if it changed no decision, no part and no points.
#[test]
fn an_analysis_that_changes_points_is_not_unused() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let event = "events:\n  circle:\n    plan: 50 pts\n    reads: {time: circle-time}\n    score: {use: sae-2024.skidpad, given: {best: 5.0 s}}\n";
    let analysis = "analyses:\n  run: {finds: {circle-time: 5.1 s}}\n";
    let unused = |records: String| {
        sandbox.write("more.yaml", records);
        let report = sandbox.tierod(&["check", "--format", "json"]).json();
        report["findings"].as_array().unwrap().iter().any(|f| f["check"] == "unused-analysis")
    };
    assert!(unused(analysis.to_owned()), "nothing rests on it");
    assert!(!unused(format!("{event}{analysis}")), "an event's points rest on it");
    let result = "results:\n  gates: {of: circle-time, value: 5.15 s, date: 2027-03-02, evidence: [chain.yaml]}\n";
    assert!(!unused(format!("{event}{analysis}{result}")), "the result shows how good it was");
}
