//! Decisions: what alternatives can set, when a difference is significant, and what was known when the choice was made.

use serde_json::Value;

use crate::support::{SETTINGS, Sandbox};

/// A sprint whose points fall by half a point per kilogram of the car: 20 kg/s, and 10 points per second.
const CAR: &str = "\
goals:
  top: {points: 100 pts, reason: It pays for the season., lead: l}
events:
  sprint:
    plan: 40 pts
    serves: {top: It is driven twice.}
    reads: {time: sprint-time}
    score: {formula: most - loss * time, given: {most: 100 pts, loss: 10 pts/s}}
systems:
  drive: {in: car, lead: l}
targets:
  sprint-time: {of: car, at-most: 6 s, formula: car.mass / pace + shift-time, given: {pace: 20 kg/s}}
  shift-time: {of: drive, at-most: 1 s, estimate: 0.4 s ± 0.1 s}
  locking-torque: {of: drive, at-least: 60 N*m, estimate: 80 N*m}
  car-mass: {of: car, at-most: 110 kg, total: mass}
parts:
  motor: {in: drive, count: 2, amounts: {mass: {value: 10 kg, basis: weighed}, cost: 900 EUR}}
  frame: {in: drive, amounts: {mass: {value: 80 kg, basis: weighed}}}
";

fn car() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    sandbox
}

/// A decision between the current values and an alternative that sets these.
fn decision(sets: &str) -> String {
    format!(
        "decisions:
  motor-kind:
    of: drive
    criteria: [sprint-time, locking-torque, car-mass]
    alternatives:
      same: {{sets: {{frame.mass: 80 kg}}}}
      other: {{sets: {{{sets}}}}}
    serves: {{car-mass: The motors are a fifth of it.}}
"
    )
}

fn compare(sandbox: &Sandbox, args: &[&str], code: i32) -> Value {
    sandbox.tierod(&[&["compare", "motor-kind", "--format", "json"], args].concat()).ended(code).json()
}

/// The difference of the alternative.
#[track_caller]
fn difference(sandbox: &Sandbox) -> f64 {
    compare(sandbox, &[], 0)["alternatives"][1]["difference"].as_f64().unwrap()
}

#[test]
fn an_alternative_that_cannot_be_set_has_no_points() {
    for (sets, check, message) in [
        ("motr.mass: 9 kg", "unknown-reference", "no record with id `motr`"),
        ("motor.mas: 9 kg", "unknown-reference", "`motor` has no amount `mas`"),
        ("motor.mass: 9 m", "unit-mismatch", "motor.mass is set to 9 m, but the unit of its value is `kg`"),
        ("motor.mass: 9 kgs", "bad-value", "`kgs`"),
        ("motor.count: 4 kg", "unit-mismatch", "a count has no unit"),
        ("motor.count: 2.5", "bad-value", "motor.count cannot be set to 2.5"),
        ("motor.mass: none", "bad-value", "motor.mass cannot be set to `none`"),
        ("motor: 9 kg", "unknown-reference", "`motor` is a part"),
        ("sprint-time: none", "unknown-reference", "`sprint-time` is a target"),
        ("top: 90 pts", "unknown-reference", "`top` is a goal"),
    ] {
        let sandbox = car();
        sandbox.write("decisions.yaml", decision(&format!("shift-time: 0.2 s, {sets}")));
        let answer = compare(&sandbox, &[], 2);
        let (same, other) = (&answer["alternatives"][0], &answer["alternatives"][1]);
        assert_eq!(
            (&other["points"], &other["difference"], &other["significant"]),
            (&Value::Null, &Value::Null, &Value::Null)
        );
        assert_eq!(other["problems"].as_array().unwrap().len(), 1, "{sets}: {other}");
        assert!(same["points"].is_f64() && answer["points"].is_f64(), "{sets}");
        let broken = answer["broken"].as_array().unwrap();
        assert!(broken.iter().any(|fault| fault["line"] == 7), "{sets}: {broken:?}");
        let text = sandbox.tierod(&["compare", "motor-kind"]).ended(2).out;
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            text.contains(message) && text.contains("other has no points: alternatives.other.sets."),
            "{sets}: {text}"
        );
        let report = sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
        let findings = report["findings"].as_array().unwrap().iter();
        let own: Vec<&Value> =
            findings.filter(|one| one["record"] == "motor-kind" && one["level"] == "error").collect();
        assert_eq!(own.len(), 1, "{sets}: {own:?}");
        assert_eq!((&own[0]["check"], &own[0]["line"]), (&check.into(), &7.into()), "{sets}");
        assert!(own[0]["message"].as_str().unwrap().contains(message), "{sets}: {}", own[0]);
    }
}

/// Each gives the same points as records that are edited to it, and as arithmetic: half a point per kilogram.
#[test]
fn alternatives_set_amounts_counts_and_remove_parts() {
    for (sets, from, to, points) in [
        ("motor.mass: 9 kg", "mass: {value: 10 kg", "mass: {value: 9 kg", 1.0),
        ("motor.count: 4", "count: 2", "count: 4", -10.0),
        (
            "motor.count: 1, motor.mass: 9 kg",
            "count: 2, amounts: {mass: {value: 10 kg",
            "amounts: {mass: {value: 9 kg",
            5.5,
        ),
        (
            "motor: none",
            "  motor: {in: drive, count: 2, amounts: {mass: {value: 10 kg, basis: weighed}, cost: 900 EUR}}\n",
            "",
            10.0,
        ),
        ("motor.mass: {value: 10 kg, basis: estimated}", "10 kg, basis: weighed", "10 kg, basis: estimated", -2.0),
        ("shift-time: 0.2 s", "0.4 s", "0.2 s", 2.0),
    ] {
        let sandbox = car();
        let base = sandbox.tierod(&["points", "--format", "json"]).ended(0).json()["predicted"].as_f64().unwrap();
        sandbox.write("decisions.yaml", decision(sets));
        let by = difference(&sandbox);
        assert!((by - points).abs() < 1e-9, "{sets}: {by}");
        assert!(CAR.contains(from), "{from}");
        std::fs::remove_file(sandbox.path_of("decisions.yaml")).unwrap();
        sandbox.write("car.yaml", CAR.replace(from, to));
        let edited = sandbox.tierod(&["points", "--format", "json"]).ended(0).json()["predicted"].as_f64().unwrap();
        assert!((edited - base - by).abs() < 1e-9, "{sets}: {by} is not {}", edited - base);
    }
    // The basis of the alternative is that of its values without one of their own; a price has no such basis.
    let sandbox = car();
    let basis = decision("motor.mass: 10 kg, motor.cost: 900 EUR").replace("EUR}}", "EUR}, basis: estimated}");
    sandbox.write("decisions.yaml", basis);
    assert!((difference(&sandbox) + 2.0).abs() < 1e-9);
}

/// Numbers, lists and tables of a model, under `given` or with their defaults: the same as an edited analysis.
#[test]
fn alternatives_set_inputs_of_a_model() {
    let run = |more: &str| {
        format!(
            "analyses:
  run:
    model: straight-line
    given: {{mass: car.mass, grip: 1.4, distance: 75 m, engine-curve: curve.csv, wheel-radius: 0.23 m, gears: \"2.9, 1.6\", final-drive: 3.2{more}}}
    finds: sprint-time
"
        )
    };
    let with = |run: &str, sets: Option<&str>| {
        let sandbox = car();
        let plain = CAR.replace(", formula: car.mass / pace + shift-time, given: {pace: 20 kg/s}", "");
        sandbox.write("car.yaml", plain);
        sandbox.write("curve.csv", "shaft-speed,power\n10,1000\n400,20000\n900,45000\n1100,38000\n");
        sandbox.write("strong.csv", "shaft-speed,power\n10,1200\n400,25000\n900,60000\n1100,50000\n");
        sandbox.write("run.yaml", run);
        match sets {
            None => sandbox.tierod(&["points", "--format", "json"]).ended(0).json()["predicted"].as_f64().unwrap(),
            Some(sets) => {
                sandbox.write("decisions.yaml", decision(sets));
                compare(&sandbox, &[], 0)["alternatives"][1]["points"].as_f64().unwrap()
            }
        }
    };
    let base = with(&run(""), None);
    for (sets, edited) in [
        ("run.grip: 1.2", run("").replace("grip: 1.4", "grip: 1.2")),
        ("run.drag-area: 1.1 m^2", run(", drag-area: 1.1 m^2")),
        ("run.drag-area: 1.1 m^2, run.staging: 0.3 m", run(", drag-area: 1.1 m^2, staging: 0.3 m")),
        ("run.gears: [2.4, 1.3]", run("").replace("2.9, 1.6", "2.4, 1.3")),
        ("run.gears: \"2.4, 1.3\"", run("").replace("2.9, 1.6", "2.4, 1.3")),
        ("run.engine-curve: strong.csv", run("").replace("curve.csv", "strong.csv")),
    ] {
        let (set, edited) = (with(&run(""), Some(sets)), with(&edited, None));
        assert!((set - edited).abs() < 1e-9, "{sets}: {set} is not {edited}");
        assert!((set - base).abs() > 0.01, "{sets} changes the points: {set}, {base}");
    }
    let sandbox = car();
    sandbox.write("car.yaml", CAR.replace(", formula: car.mass / pace + shift-time, given: {pace: 20 kg/s}", ""));
    sandbox.write("curve.csv", "shaft-speed,power\n10,1000\n400,20000\n900,45000\n1100,38000\n");
    sandbox.write("run.yaml", run(""));
    for (sets, message) in [
        ("run.gripp: 1.2", "`run` has no input `gripp`"),
        ("run.drag-area: 1.1 m", "run.drag-area is set to 1.1 m, but the unit of its value is `m^2`"),
        ("run.engine-curve: nowhere.csv", "file not found: `nowhere.csv`"),
        ("run.grip: [1.2, 1.3]", "run.grip cannot be set to `1.2, 1.3`"),
        ("run.grip: 0", "the model `straight-line` has no result"),
    ] {
        sandbox.write("decisions.yaml", decision(sets));
        let answer = compare(&sandbox, &[], 2);
        let other = &answer["alternatives"][1];
        assert_eq!(other["points"], Value::Null, "{sets}");
        let text =
            sandbox.tierod(&["compare", "motor-kind"]).ended(2).out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(message), "{sets}: {text}");
    }
}

#[test]
fn a_difference_without_uncertainty_is_not_significant() {
    let sandbox = car();
    let significant = |sets: &str| {
        sandbox.write("decisions.yaml", decision(sets));
        let answer = compare(&sandbox, &[], 0);
        let other = answer["alternatives"][1].clone();
        (other["significant"].clone(), other["without_uncertainty"].clone())
    };
    let names = |all: &[&str]| serde_json::json!(all);
    assert_eq!(significant("motor.mass: 9 kg"), (Value::Null, names(&["motor.mass"])));
    assert_eq!(significant("motor: none").0, Value::Null, "its mass has no uncertainty in the record");
    // 2 points for the lighter motor, ± 0.4 kg of two: 0.4 points.
    assert_eq!(significant("motor.mass: 8 kg ± 0.4 kg"), (true.into(), names(&[])));
    assert_eq!(significant("motor.mass: 9.9 kg ± 0.4 kg"), (false.into(), names(&[])));
    // One value with an uncertainty is not enough if the others can explain the difference: 2 points less 4.
    assert_eq!(significant("motor.mass: 8 kg ± 0.4 kg, shift-time: 0.8 s"), (Value::Null, names(&["shift-time"])));
    assert_eq!(significant("motor.mass: 8 kg ± 0.4 kg, shift-time: 0.39 s").0, true, "0.1 points cannot");
    // What the points do not depend on needs none.
    assert_eq!(significant("motor.mass: 8 kg ± 0.4 kg, motor.cost: 700 EUR, locking-torque: 90 N*m").0, true);
    sandbox.write("decisions.yaml", decision("motor.mass: 9 kg"));
    let text = sandbox.tierod(&["compare", "motor-kind"]).ended(0).out;
    assert!(text.contains("not significant, because values have no uncertainty (`± U`): other (motor.mass)"), "{text}");
    let line = text.lines().find(|line| line.starts_with("vs now")).unwrap();
    assert!(line.ends_with("+1.0"), "no interval of the rest: {line}");
}

#[test]
fn a_criterion_that_moves_no_points_is_named() {
    let sandbox = car();
    sandbox.write("decisions.yaml", decision("locking-torque: 400 N*m, motor.mass: 9 kg"));
    let answer = compare(&sandbox, &[], 0);
    let flags: Vec<(&str, bool, bool)> = answer["criteria"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one["id"].as_str().unwrap(), one["moves_points"] == true, one["changed"] == true))
        .collect();
    // The total is not read by the event, but the mass of the motor is.
    assert_eq!(flags, [("sprint-time", true, true), ("locking-torque", false, true), ("car-mass", true, true)]);
    let verdict = &answer["verdict"];
    assert_eq!(
        (&verdict["best"], &verdict["next"], &verdict["significant"]),
        (&"other".into(), &"same".into(), &Value::Null)
    );
    let text = sandbox.tierod(&["compare", "motor-kind"]).ended(0).out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("now other scores most, +1.0 vs same; not significant: what is set has no uncertainty the points do not include locking-torque: no formula"),
        "{text}"
    );
}

#[test]
fn values_of_alternatives_have_a_basis_and_evidence() {
    let sandbox = car();
    sandbox.write("quote.txt", "8 kg");
    let quoted =
        decision("motor.mass: {value: 8 kg ± 0.4 kg, basis: estimated, evidence: [quote.txt]}, shift-time: 0.3 s");
    sandbox.write("decisions.yaml", &quoted);
    let sets = compare(&sandbox, &[], 0)["alternatives"][1]["sets"].clone();
    let expected = serde_json::json!([
        {"id": "motor.mass", "to": "8 kg ± 0.4 kg", "basis": "estimated", "evidence": ["quote.txt"]},
        {"id": "shift-time", "to": "0.3 s", "basis": null, "evidence": []},
    ]);
    assert_eq!(sets, expected);
    let text = sandbox.tierod(&["compare", "motor-kind"]).ended(0).out;
    assert!(text.contains("other: motor.mass is estimated (evidence quote.txt)"), "{text}");
    sandbox.write("decisions.yaml", quoted.replace("quote.txt", "gone.txt").replace("estimated", "estimate"));
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let found = |check: &str| {
        let mut all = report["findings"].as_array().unwrap().iter();
        all.find(|one| one["check"] == check && one["record"] == "motor-kind").map(|one| one["message"].to_string())
    };
    assert!(found("no-evidence").unwrap().contains("evidence file missing or empty: `gone.txt`"));
    assert!(found("unknown-reference").unwrap().contains("unknown basis `estimate` for `motor.mass`"));
}

/// A choice on 10 January, after which a heavier frame and an analysis change what the tool says.
fn chosen() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    sandbox.write("decisions.yaml", decision("motor.mass: 9 kg, shift-time: 0.3 s"));
    sandbox.commit_on("2027-01-05", "List the alternatives");
    sandbox.write(
        "decisions.yaml",
        decision("motor.mass: 9 kg, shift-time: 0.3 s") + "    chosen: other\n    reason: It is lighter.\n",
    );
    sandbox.commit_on("2027-01-10", "Choose the motor");
    sandbox.write("car.yaml", CAR.replace("80 kg", "90 kg").replace("pace: 20 kg/s", "pace: 10 kg/s"));
    sandbox.write("later.yaml", "analyses:\n  shift-study: {finds: {shift-time: 0.5 s}, informs: [motor-kind]}\n");
    sandbox.commit_on("2027-02-20", "Study the shifts");
    sandbox
}

#[test]
fn a_decision_is_shown_as_it_was_and_as_it_is() {
    let sandbox = chosen();
    let commit = sandbox.git(&["rev-parse", "HEAD~1"]).trim().to_owned();
    let answer = compare(&sandbox, &[], 0);
    assert_eq!(answer["when"], "both");
    assert_eq!(answer["chosen_at"], serde_json::json!({"commit": commit, "day": "2027-01-10"}));
    let number = |value: &Value| value.as_f64().unwrap();
    let near =
        |value: &Value, expected: f64| assert!((number(value) - expected).abs() < 1e-9, "{value} is not {expected}");
    // Then 100 kg: 100 - 10 * (5 + 0.4) points, and 1 point for 2 kg and for 0.1 s each. Now 110 kg, twice as slow.
    let then = &answer["then"];
    near(&then["points"], 46.0);
    near(&then["alternatives"][1]["difference"], 2.0);
    near(&answer["points"], -15.0);
    near(&answer["alternatives"][1]["difference"], 4.0);
    let later = answer["analyses_after_choice"].as_array().unwrap();
    assert_eq!((later.len(), &later[0]["id"], &later[0]["day"]), (1, &"shift-study".into(), &"2027-02-20".into()));
    // The commit itself says the same.
    let there = compare(&sandbox, &["--rev", "HEAD~1", "--when", "now"], 0);
    assert_eq!(there["alternatives"], then["alternatives"]);
    assert_eq!((&there["then"], &there["chosen_at"], &there["when"]), (&Value::Null, &Value::Null, &"now".into()));
    let only = compare(&sandbox, &["--when", "chosen"], 0);
    assert_eq!((&only["then"], &only["alternatives"]), (then, &answer["alternatives"]), "keys keep their meaning");

    let text = |args: &[&str]| {
        let out = sandbox.tierod(&[&["compare", "motor-kind"], args].concat()).ended(0).out;
        out.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ")).collect::<Vec<_>>().join("\n")
    };
    let both = text(&[]);
    for line in [
        &format!("chosen other on 2027-01-10 ({})", &commit[..10])[..],
        "an analysis that informs it was added after the choice: shift-study (2027-02-20)",
        "points then vs then now vs now",
        "other (chosen) 48.0 ± 0.8 +2.0 -11.0 +4.0",
        "then other scores most, +2.0 vs same",
    ] {
        assert!(both.contains(line), "{line}\n{both}");
    }
    let then = text(&["--when", "chosen"]);
    assert!(then.contains("vs then") && !then.contains("vs now"), "{then}");
    assert!(!text(&["--when", "now"]).contains("then"));
}

#[test]
fn a_missing_history_gives_only_the_current_state_and_says_why() {
    let only_now = |sandbox: &Sandbox, folder: &std::path::Path, why: &str| {
        let json = sandbox.tierod_in(folder, &["compare", "motor-kind", "--format", "json"]).ended(0).json();
        assert_eq!((&json["then"], &json["chosen_at"]), (&Value::Null, &Value::Null), "{why}");
        assert!(json["then_missing"].as_str().unwrap().contains(why), "{json}");
        assert!(json["alternatives"][1]["points"].is_f64());
        let text = sandbox.tierod_in(folder, &["compare", "motor-kind"]).ended(0).out;
        let line = text.lines().find(|line| line.contains("only as it is now, not as when it was chosen: ")).unwrap();
        assert!(line.contains(why), "{line}");
        let error = sandbox.tierod_in(folder, &["compare", "motor-kind", "--when", "chosen"]).ended(2).err;
        assert!(error.contains(why), "{error}");
    };
    let sandbox = chosen();
    let shallow = sandbox.outside().join("shallow");
    let from = format!("file://{}", sandbox.path().display());
    sandbox.git(&["clone", "-q", "--depth", "1", &from, shallow.to_str().unwrap()]);
    only_now(&sandbox, &shallow, "the clone is shallow");
    sandbox.write("tierod.yaml", format!("{SETTINGS}history: off\n"));
    only_now(&sandbox, &sandbox.path(), "`history: off`");
    let outside = car();
    let made = decision("motor.mass: 9 kg") + "    chosen: other\n    reason: It is lighter.\n";
    outside.write("decisions.yaml", &made);
    only_now(&outside, &outside.path(), "not in a git repository");
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    sandbox.write("decisions.yaml", decision("motor.mass: 9 kg"));
    sandbox.commit_on("2027-01-05", "List the alternatives");
    let open = compare(&sandbox, &[], 0);
    assert_eq!((&open["then"], &open["then_missing"]), (&Value::Null, &Value::Null), "nothing is chosen");
    let error = sandbox.tierod(&["compare", "motor-kind", "--when", "chosen"]).ended(2).err;
    assert!(error.contains("no alternative of `motor-kind` is chosen yet"), "{error}");
    sandbox.write("decisions.yaml", made);
    only_now(&sandbox, &sandbox.path(), "not committed yet");
}

/// The id of the decision changed after the choice.
#[test]
fn a_renamed_decision_is_found_where_it_was_chosen() {
    let sandbox = chosen();
    let text = std::fs::read_to_string(sandbox.path_of("decisions.yaml")).unwrap();
    let text = text.replace("  motor-kind:\n", "  which-motor:\n    formerly: [motor-kind]\n");
    sandbox.write("decisions.yaml", text);
    sandbox.write("later.yaml", "analyses:\n  shift-study: {finds: {shift-time: 0.5 s}, informs: [which-motor]}\n");
    sandbox.commit_on("2027-03-01", "Rename the decision");
    let answer = sandbox.tierod(&["compare", "which-motor", "--format", "json"]).ended(0).json();
    assert_eq!(answer["chosen_at"]["day"], "2027-01-10");
    assert!(answer["then"]["points"].is_f64(), "{answer}");
    assert_eq!(answer["analyses_after_choice"][0]["id"], "shift-study");
}

fn reported(sandbox: &Sandbox, check: &str) -> Vec<String> {
    let report = sandbox.tierod(&["check", "--format", "json", "--on", "2027-03-19"]).json();
    let findings = report["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check);
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    findings.map(|one| format!("{} {}: {}", text(&one["record"]), text(&one["field"]), text(&one["message"]))).collect()
}

#[test]
fn what_came_after_the_choice_is_reported() {
    let sandbox = chosen();
    let analyses = reported(&sandbox, "analysis-after-decision");
    assert_eq!(analyses.len(), 1);
    assert!(
        analyses[0].starts_with(
            "shift-study informs.motor-kind: shift-study informs motor-kind, but was added on 2027-02-20 ("
        )
    );
    assert!(analyses[0].contains("after other was chosen on 2027-01-10 ("), "{analyses:?}");
    assert_eq!(reported(&sandbox, "target-after-decision"), [""; 0]);
    // A limit that the choice is judged by is changed without a revision.
    let now = std::fs::read_to_string(sandbox.path_of("car.yaml")).unwrap();
    let looser = now.replace("at-least: 60 N*m", "at-least: 50 N*m");
    sandbox.write("car.yaml", &looser);
    sandbox.commit_on("2027-03-01", "Lower the limit");
    let targets = reported(&sandbox, "target-after-decision");
    assert_eq!(targets.len(), 1);
    let start = "locking-torque at-least: the limit of locking-torque changed from at least 60 N*m to at least 50 N*m on 2027-03-01 (";
    assert!(targets[0].starts_with(start), "{targets:?}");
    assert!(targets[0].contains("after the choice of motor-kind on 2027-01-10 ("), "{targets:?}");
    assert_eq!(reported(&sandbox, "unrecorded-revision"), [""; 0], "one finding for one act");
    // Agreed, or looked at again.
    let revision = "revisions:\n  lock: {of: locking-torque, from: 60 N*m, to: 50 N*m, date: 2027-03-01, agreed-by: l, reason: The track is smooth.}\n";
    sandbox.write("revision.yaml", revision);
    assert_eq!(reported(&sandbox, "target-after-decision"), [""; 0]);
    std::fs::remove_file(sandbox.path_of("revision.yaml")).unwrap();
    let made = std::fs::read_to_string(sandbox.path_of("decisions.yaml")).unwrap();
    sandbox.write("decisions.yaml", made + "    notes: Compared again in March with the study of the shifts.\n");
    assert_eq!(reported(&sandbox, "analysis-after-decision"), [""; 0]);
    assert_eq!(reported(&sandbox, "target-after-decision"), [""; 0]);
    assert_eq!(reported(&sandbox, "unrecorded-revision").len(), 1, "it still has no revision");
}

/// On the day of the choice, no model connected the engine with the course: the alternatives differed in price only.
#[test]
fn the_engine_of_the_season_as_it_was_chosen() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let folder = sandbox.path_of("car");
    let json = |id: &str| sandbox.tierod_in(&folder, &["compare", id, "--format", "json"]).ended(0).json();
    let engine = json("engine");
    assert_eq!(engine["chosen_at"]["day"], "2026-10-30");
    let then: Vec<String> = engine["then"]["alternatives"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| format!("{:.1} ± {:.0}", one["points"].as_f64().unwrap(), one["uncertainty"].as_f64().unwrap()))
        .collect();
    assert_eq!(then, ["648.0 ± 166", "647.4 ± 166", "648.5 ± 166"]);
    let four = &engine["alternatives"][2]["difference"];
    assert!(four.as_f64().unwrap() < -30.0, "hindsight: {four}");
    let unseen = |state: &Value| -> Vec<String> {
        let all = state["criteria"].as_array().unwrap().iter().filter(|one| one["moves_points"] == false);
        all.map(|one| one["id"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(unseen(&engine["then"]), ["crank-power", "engine-efficiency", "powertrain-mass"]);
    assert_eq!(unseen(&engine), [""; 0]);
    let later = engine["analyses_after_choice"].as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap());
    assert_eq!(later.collect::<Vec<_>>(), ["straight-line-run", "autocross-lap", "endurance-lap", "engine-simulation"]);
    // The solid axle has most points, and the points do not know what it was rejected for.
    let differential = json("differential-type");
    assert_eq!(differential["verdict"]["best"], "spool");
    assert_eq!(differential["verdict"]["significant"], Value::Null);
    assert_eq!(unseen(&differential), ["locking-torque"]);
    assert_eq!(unseen(&differential["then"]), ["locking-torque"]);
}
