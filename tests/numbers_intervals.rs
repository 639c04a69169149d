//! Intervals at caps, floors and slopes of zero, and events that score or not, through the binary.

use serde_json::Value;

use crate::support::{Answer, SETTINGS, Sandbox};

/// A car whose long run ends with a finish or without, and whose sprint is about as fast as the best.
const RECORDS: &str = "\
goals:
  top-ten: {points: 250 pts, reason: A place among ten keeps the workshop., lead: team lead}
events:
  long-run:
    plan: 170 pts
    chance: finish-chance
    expect: 200 pts ± 11 pts
    lead: team lead
    serves: {top-ten: A third of all points.}
  economy:
    plan: 50 pts
    chance: finish-chance
    expect: 57 pts ± 8 pts
    lead: team lead
    serves: {top-ten: A light car scores here.}
  sprint:
    plan: 90 pts
    reads: {time: sprint-time}
    score:
      formula: min(100 pts, 100 pts * best / time)
      given: {best: 4.0 s ± 0.2 s}
    lead: team lead
    serves: {top-ten: It costs one set of tyres.}
targets:
  finish-chance: {of: car, at-least: 85 %, estimate: 90 % ± 2 %, lead: team lead}
  sprint-time: {of: car, at-most: 4.2 s, estimate: 4.0 s ± 0.2 s, lead: team lead}
  play: {of: car, at-most: 0.01 mm^2, formula: offset^2, given: {offset: 0 mm ± 0.2 mm}, lead: team lead}
decisions:
  gearing:
    alternatives:
      short: {sets: {sprint-time: 3.8 s}}
      long: {sets: {sprint-time: 4.2 s}}
";

fn with(records: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("records.yaml", records);
    sandbox
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is not a number"))
}

fn event<'a>(points: &'a Value, id: &str) -> &'a Value {
    points["events"].as_array().unwrap().iter().find(|event| event["id"] == id).unwrap()
}

#[test]
fn an_event_scores_or_not() {
    let sandbox = with(RECORDS);
    let points = sandbox.tierod(&["points", "--format", "json"]).ended(0).json();
    let run = event(&points, "long-run");
    assert!((number(&run["predicted"]) - 180.0).abs() < 1e-9, "{run}");
    assert_eq!((number(&run["chance"]), number(&run["low"])), (0.9, 0.0), "{run}");
    // Nothing is below zero, so 5 % may be above: 5.56 % of the 200 ± 11 of a finish, 1.593 standard deviations.
    assert!((number(&run["high"]) - 208.76).abs() < 0.1, "{run}");
    let sprint = event(&points, "sprint");
    assert!(sprint["chance"].is_null() && number(&sprint["high"]) == 100.0, "{sprint}");
    assert!(number(&sprint["predicted"]) < 99.0, "{sprint}");
    let sum: f64 = points["events"].as_array().unwrap().iter().map(|event| number(&event["predicted"])).sum();
    assert!((number(&points["predicted"]) - sum).abs() < 1e-9);
    // Both events need the same finish: without it, only the sprint scores.
    assert!(number(&points["low"]) < 101.0 && number(&points["high"]) > 355.0, "{points}");

    let text = sandbox.tierod(&["points"]).ended(0).out;
    assert!(text.contains("180.0 (0.0 to 208.8)"), "{text}");
    let chance = "long-run, economy: scored together with a chance of 90 % (finish-chance), otherwise 0 points";
    assert!(text.contains(chance), "{text}");
    let summary = sandbox.tierod(&["check"]).out;
    assert!(summary.contains(" to 36") && summary.contains(") points predicted"), "{summary}");

    // What each of them is worth: the chance by the score, the time by its slope.
    let worth = sandbox.tierod(&["worth", "--all", "--format", "json"]).ended(0).json();
    let of = |id: &str| worth["values"].as_array().unwrap().iter().find(|value| value["id"] == id).unwrap();
    assert!((number(&of("finish-chance")["points_per_unit"]) - 2.57).abs() < 1e-9, "{}", of("finish-chance"));
}

/// A literal chance belongs to one event; a result of the event or a chance of 100 % leaves nothing to chance.
#[test]
fn a_chance_of_its_own() {
    let own = RECORDS.replacen("chance: finish-chance", "chance: 90 %", 1);
    let points = with(&own).tierod(&["points", "--format", "json"]).ended(0).json();
    assert_eq!(number(&event(&points, "long-run")["chance"]), 0.9);
    // One of the two can fail without the other: 95 % of the totals are higher than without both.
    assert!(number(&points["low"]) > 140.0, "{points}");

    let scored = format!("{RECORDS}results:\n  stopped: {{of: long-run, value: 0 pts, date: 2027-03-01}}\n");
    let points = with(&scored).tierod(&["points", "--format", "json"]).ended(0).json();
    let run = event(&points, "long-run");
    assert_eq!((number(&run["predicted"]), number(&run["high"]), &run["chance"]), (0.0, 0.0, &Value::Null));
}

#[test]
fn a_chance_that_is_none() {
    let check = |chance: &str| -> Answer {
        with(&RECORDS.replacen("chance: finish-chance", &format!("chance: {chance}"), 1)).tierod(&["check"])
    };
    for (chance, check_name, message) in [
        ("90", "bad-value", "`90` is not a chance"),
        ("120 %", "bad-value", "`120 %` is not a chance"),
        ("0.9 kg", "unit-mismatch", "`0.9 kg` is a mass"),
        ("finish-chanc", "unknown-reference", "no record with id `finish-chanc`"),
    ] {
        let answer = check(chance).ended(1);
        assert!(answer.out.contains(check_name) && answer.out.contains(message), "{chance}: {}", answer.out);
    }
    let points = with(&RECORDS.replacen("estimate: 90 % ± 2 %, ", "", 1))
        .tierod(&["points", "--format", "json"])
        .ended(2)
        .json();
    assert!(event(&points, "long-run")["predicted"].is_null(), "{points}");
}

/// JCGM 101:2008, 9.4: at a slope of zero the first order says that nothing is uncertain.
#[test]
fn a_slope_of_zero_is_not_certain() {
    let sandbox = with(RECORDS);
    let values = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
    let play = values["values"].as_array().unwrap().iter().find(|value| value["id"] == "play").unwrap();
    // The square of a normal value: mean u², 2.5 and 97.5 % at 0.000982 and 5.024 times that.
    assert!((number(&play["value"]) - 0.01).abs() < 1e-4, "{play}");
    assert!((number(&play["high"]) - 0.0502).abs() < 0.001 && number(&play["low"]) < 0.0001, "{play}");
    assert_eq!(play["status"], "at risk");
    let text = sandbox.tierod(&["values"]).ended(0).out;
    assert!(text.contains("0.010 (0.000 to 0.050) mm^2") || text.contains("0.010 (0.000 to 0.050) mm²"), "{text}");
    assert!(sandbox.tierod(&["check"]).out.contains("target-at-risk"));
}

/// Faster than the best scores no more than the cap: what a shorter gear adds is far from symmetric, and less than its slope.
#[test]
fn a_difference_at_a_cap() {
    let compared = with(RECORDS).tierod(&["compare", "gearing", "--format", "json"]).ended(0).json();
    let of = |name: &str| compared["alternatives"].as_array().unwrap().iter().find(|a| a["name"] == name).unwrap();
    let (short, long) = (of("short"), of("long"));
    let points = number(&compared["points"]);
    for alternative in [short, long] {
        let difference = number(&alternative["difference"]);
        assert!((number(&alternative["points"]) - points - difference).abs() < 0.05, "{alternative}");
    }
    // Now 1.3 points are lost on average; the slope of the cap is 0, that below it 5 points.
    assert!((1.0..2.0).contains(&number(&short["difference"])), "{short}");
    assert!((-4.0..-3.0).contains(&number(&long["difference"])), "{long}");
    assert!(number(&short["difference_uncertainty"]) > 1.0, "{short}");
    // Both finish or both do not: the chance is not part of the difference.
    assert!(number(&long["difference_uncertainty"]) < 8.0, "{long}");
}

#[test]
fn a_request_shows_the_interval_of_the_points() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("records.yaml", RECORDS.replace("    chance: finish-chance\n", ""));
    sandbox.commit_on("2027-03-01", "Start");
    sandbox.write("records.yaml", RECORDS);
    sandbox.commit_on("2027-03-02", "Count the chance of a finish");
    let delta = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "json"]).json();
    let points = &delta["points"];
    let change = number(&points["after"]) - number(&points["before"]);
    assert!((change + 25.7).abs() < 1e-6, "{points}");
    assert!(number(&points["low"]) < 101.0 && number(&points["high"]) > 355.0, "{points}");
    let parts: f64 = delta["causes"].as_array().unwrap().iter().map(|cause| number(&cause["points"])).sum();
    assert!((parts - change).abs() < 1e-6, "{}", delta["causes"]);
    assert!(delta["causes"].to_string().contains("\"key\":\"chance\""), "{}", delta["causes"]);
    let text = sandbox.tierod(&["delta", "HEAD~1", "HEAD"]).out;
    assert!(text.contains(" to 36"), "{text}");
}

/// A finish is worth what it adds to the points without one: lap points stay if the car stops.
#[test]
fn a_chance_with_points_without_a_finish() {
    let records = "
goals: {top-ten: {points: 200 pts, reason: It is the last season., lead: team lead}}
events:
  long-run:
    lead: team lead
    serves: {top-ten: It is the only event.}
    chance: 75 %
    reads: {time: 1500 s}
    score: {use: sae-2024.endurance, no-finish: 12 pts, given: {best: 1400 s, lap-points: 25 pts}}
";
    let points = with(records).tierod(&["points", "--format", "json"]).ended(0).json();
    let run = event(&points, "long-run");
    // Formula SAE Rules 2024, D.12.13: 196.296296 points for the time, and 25 for all laps.
    let expected = 0.75 * (196.296_296_296_296_3 + 25.0) + 0.25 * 12.0;
    assert!((number(&run["predicted"]) - expected).abs() < 1e-6, "{run}");
    assert!((number(&run["low"]) - 12.0).abs() < 1e-6 && (number(&run["high"]) - 221.296_296).abs() < 1e-3, "{run}");
    assert_eq!(run["chance"], 0.75);
}

/// At the best time or at the slowest one, the slope at the expected values is not what a value adds on average.
#[test]
fn worth_names_the_events_whose_points_bend() {
    let records = |time: &str| {
        format!(
            "
goals: {{top-ten: {{points: 80 pts, reason: It is the last season., lead: team lead}}}}
events:
  sprint:
    lead: team lead
    serves: {{top-ten: It is the only event.}}
    reads: {{time: sprint-time}}
    score: {{use: sae-2024.acceleration, given: {{best: 4.0 s ± 0.1 s}}}}
targets:
  sprint-time: {{of: car, at-most: 5 s, estimate: {time} ± 0.1 s}}
"
        )
    };
    let worth = |time: &str, args: &[&str]| with(&records(time)).tierod(&[&["worth"], args].concat()).ended(0);
    assert_eq!(worth("4.0 s", &["--format", "json"]).json()["bending"], serde_json::json!(["sprint"]));
    let text = worth("4.0 s", &[]).out;
    assert!(text.contains("the points of sprint reach a limit of"), "{text}");
    assert_eq!(worth("4.6 s", &["--format", "json"]).json()["bending"], serde_json::json!([]));
}

#[test]
fn a_formula_that_names_a_share_of_finishes() {
    let records = "
events:
  long-run: {reads: {time: 63 s}, score: {formula: finish-share * 190 pts * (60 s / time)}}
targets:
  finish-share: {of: car, at-least: 80 %, estimate: 90 %}
";
    let found = with(records).tierod(&["check", "--format", "lines"]).out;
    assert!(found.contains("long-run multiplies its points by the share `finish-share`"), "{found}");
}
