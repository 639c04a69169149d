//! The same number in every answer, and no number without what is wrong under it: found by trying the commands as a stranger.

use crate::support::{CHAIN, SETTINGS, Sandbox};

/// A goal, an event with a chance, one that is judged, and a car that decides between two motors.
const SEASON: &str = "\
goals:
  top: {title: Finish with two hundred points, points: 200 pts, lead: lead, reason: The sponsor renews for two hundred points.}
events:
  endurance:
    title: Endurance
    plan: 150 pts
    most: 250 pts
    chance: finish-chance
    lead: lead
    serves: {top: A car that finishes scores most of its points here.}
    expect: 190 pts ± 10 pts
targets:
  finish-chance:
    title: Share of starts that finish
    of: car
    at-least: 80 %
    estimate: 90 %
    lead: lead
    serves: {endurance: A car that stops scores nothing.}
    verify: {by: test, with: log of stops, due: 2028-06-01}
";

/// The small chain with an event whose formula knows no cap.
fn season(change: (&str, &str)) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    assert!(SEASON.contains(change.0), "{}", change.0);
    sandbox.write("season.yaml", SEASON.replace(change.0, change.1));
    sandbox
}

#[test]
fn a_mixture_has_the_same_interval_in_every_answer() {
    let sandbox = season(("190 pts ± 10 pts", "190 pts ± 10 pts"));
    let points = "171.0 (0.0 to 198.0)";
    for command in [&["points"][..], &["audit"], &["audit", "--format", "markdown"], &["check"]] {
        let out = sandbox.tierod(command).out;
        assert!(out.contains(points), "{command:?}:\n{out}");
        assert!(!out.contains("171.0 ±"), "{command:?}:\n{out}");
    }
    let (audit, points) =
        (sandbox.tierod(&["audit", "--format", "json"]).json(), sandbox.tierod(&["points", "--format", "json"]).json());
    for key in ["predicted", "uncertainty", "low", "high"] {
        assert_eq!(audit["goals"][0]["events"][0][key], points["events"][0][key], "{key}");
    }
}

#[test]
fn points_name_what_is_impossible_under_them() {
    for (change, message) in [
        (
            ("expect: 190 pts ± 10 pts", "expect: 720 pts"),
            "720.0 points are expected, but the event gives at most 250.0",
        ),
        (("plan: 150 pts", "plan: 400 pts"), "400.0 points are planned, but the event gives at most 250.0"),
        (("estimate: 90 %", "estimate: 130 %"), "its chance `finish-chance` is 130.0 %, not from 0 to 100 %"),
    ] {
        let sandbox = season(change);
        let out = sandbox.tierod(&["points"]).ended(2).out;
        let text = out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(message), "{message}:\n{out}");
        let out = sandbox.tierod(&["check", "--format", "lines"]).ended(1).out;
        assert!(out.contains(message) && out.contains("impossible-points"), "{message}:\n{out}");
    }
    season(("estimate: 90 %", "estimate: 100 %")).tierod(&["points"]).ended(0);
}

#[test]
fn a_formula_that_beats_the_best_car_is_named_under_its_points() {
    let sandbox = season((
        "    most: 250 pts\n    chance: finish-chance\n",
        "    reads: {time: 5 s}\n    score: {formula: 100 pts * best / time, given: {best: 8 s}}\n",
    ));
    let path = "season.yaml";
    let text = SEASON
        .replace(
            "    most: 250 pts\n    chance: finish-chance\n",
            "    reads: {time: 5 s}\n    score: {formula: 100 pts * best / time, given: {best: 8 s}}\n",
        )
        .replace("    expect: 190 pts ± 10 pts\n", "");
    sandbox.write(path, text);
    for command in ["points", "worth"] {
        let out = sandbox.tierod(&[command]).ended(2).out;
        assert!(out.contains("160.0 points are predicted, but the best car has 100.0"), "{command}:\n{out}");
    }
}

#[test]
fn an_alternative_with_an_unknown_basis_has_no_points() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", CHAIN);
    sandbox.write(
        "more.yaml",
        "systems:\n  drive: {title: Drive, in: car, lead: lead}\nparts:\n  motor: {title: Motor, in: drive, \
         amounts: {mass: 12 kg}, serves: {circle-time: It drives the car.}}\ntargets:\n  whole: {title: Mass of the whole, \
         of: car, at-most: 300 kg, total: mass}\ndecisions:\n  engine:\n    title: Which motor\n    of: drive\n    \
         criteria: [whole]\n    alternatives:\n      heavy: {title: Heavy, sets: {motor.mass: 12 kg}}\n      light: \
         {title: Light, sets: {motor.mass: {value: 9 kg, basis: quoted}}}\n",
    );
    let out = sandbox.tierod(&["compare", "engine"]).ended(2).out;
    assert!(out.contains("unknown basis `quoted` for `motor.mass`"), "{out}");
    assert!(!out.contains("no alternative changes"), "{out}");
    let check = sandbox.tierod(&["check", "--format", "lines"]).out;
    assert_eq!(check.matches("unknown basis `quoted`").count(), 1, "{check}");
}

#[test]
fn one_mistake_in_a_result_is_one_finding() {
    for (wrong, message) in [("outcome: failed", "`failed` is not pass or fail"), ("place: first", "found `first`")] {
        let sandbox = season(("90 %", "90 %"));
        sandbox.write(
            "results.yaml",
            format!("results:\n  r: {{of: top, {wrong}, date: 2028-01-01, evidence: [tierod.yaml]}}\n"),
        );
        let out = sandbox.tierod(&["check", "--format", "lines"]).out;
        assert!(out.contains(message), "{out}");
        assert!(!out.contains("`value` is missing"), "{out}");
    }
}

#[test]
fn an_empty_table_is_not_said_to_be_absent() {
    let sandbox = season((
        "points: 200 pts",
        "place: 8, past-standings: {file: past.csv, year: year, place: place, total: total}",
    ));
    sandbox.write("past.csv", "");
    let out = sandbox.tierod(&["check", "--format", "lines"]).out;
    assert!(out.contains("file missing or empty: `past.csv`"), "{out}");
}

#[test]
fn a_table_that_breaks_fixes_no_finding() {
    let sandbox = Sandbox::repository();
    let past = "place: 2, past-standings: {file: past.csv, year: year, place: place, total: total}";
    let table = "year,place,total\n2025,1,900\n2025,2,800\n2026,1,910\n2026,2,820\n";
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("season.yaml", SEASON.replace("points: 200 pts", past));
    sandbox.write("past.csv", table);
    sandbox.commit_on("2027-03-01", "Start");
    let before = sandbox.tierod(&["check"]).out;
    assert!(before.contains("plan-short") && before.contains("points-short"), "{before}");
    sandbox.write("past.csv", table.replace(',', ";"));
    let delta = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).ended(1).json();
    let checks = |list: &str| -> Vec<String> {
        delta[list].as_array().unwrap().iter().map(|finding| finding["check"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!((checks("new"), checks("fixed")), (vec!["unreadable-table".to_owned()], Vec::new()), "{delta}");
}
