//! Past contests: tables that cannot be read are errors of their file, small years are skipped, best times are forecast, and
//! the probability of the goal is compared with the confidence that the team asks for.

use crate::support::{SETTINGS, Sandbox};

const RECORDS: &str = "
goals:
  top-three:
    place: 3
    reason: Two sponsors renew on it.
    lead: team lead
    past-standings: {file: past.csv}
events:
  sprint: {plan: 500 pts, expect: 700 pts, lead: dynamics lead, serves: {top-three: It is the only event.}}
";

/// Three years; the third place scores 800, 810 and 790 points.
const PAST: &str = "year,place,total\n2024,1,900\n2024,2,850\n2024,3,800\n2025,1,900\n2025,2,860\n2025,3,810\n2026,1,900\n2026,2,840\n2026,3,790\n";

fn sandbox(past: impl AsRef<[u8]>) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("records.yaml", RECORDS);
    sandbox.write("past.csv", past);
    sandbox
}

fn of_check(sandbox: &Sandbox, check: &str) -> Vec<serde_json::Value> {
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    report["findings"].as_array().unwrap().iter().filter(|finding| finding["check"] == check).cloned().collect()
}

#[test]
fn past_standings_that_cannot_be_read_are_an_error() {
    let with_semicolons = PAST.replace(',', ";");
    let large = format!("{PAST}{}", "# comment\n".repeat(900_000));
    for (past, message, help) in [
        (
            with_semicolons.as_bytes(),
            "past.csv, line 1: the table has no column `year`; the first line has `year;place;total`",
            "commas, not with `;`",
        ),
        (
            PAST.replace("total", "points").as_bytes(),
            "no column `total`; the first line has `year`, `place`, `points`",
            "add the column `total`, or name the column in the record",
        ),
        (
            PAST.replace("810", "n/a").as_bytes(),
            "past.csv, line 7: `n/a` under `total` is not a number",
            "remove the row",
        ),
        (PAST.replace("810", "\"810,5\"").as_bytes(), "line 7: `810,5` under `total`", "write a decimal point: 810.5"),
        (PAST.replace("810", "810 pts").as_bytes(), "line 7: `810 pts` under `total`", "without a unit"),
        (PAST.replace("2025,3", "2025,third").as_bytes(), "line 7: `third` under `place`", "remove the row"),
        (PAST.replace("2025,3", "20250,3").as_bytes(), "line 7: 20250 is not a year", "for example 2026"),
        (PAST.replace("2025,2,860\n", "").as_bytes(), "the results of 2025 do not contain place 3", "list every car"),
        (b"year,place,total\n", "the table has no past year", "list every car"),
        (b"\xff\xfey\0e\0a\0r\0", "UTF-16", "save the table as CSV"),
        (b"", "it is empty", "add the column"),
        (large.as_bytes(), "the limit is 8 MiB", "a smaller CSV file"),
    ] {
        let sandbox = sandbox(past);
        let found = of_check(&sandbox, "unreadable-table");
        assert_eq!(found.len(), 1, "{message}: {found:?}");
        let (text, fix) = (found[0]["message"].as_str().unwrap(), found[0]["help"].as_str().unwrap());
        assert!(text.contains(message) && fix.contains(help), "{text}\n{fix}");
        assert_eq!((&found[0]["level"], &found[0]["record"]), (&"error".into(), &"top-three".into()));
        assert_eq!(found[0]["field"], "past-standings.file");
        sandbox.tierod(&["check"]).ended(1);
    }
    assert!(of_check(&sandbox(PAST), "unreadable-table").is_empty());
}

#[test]
fn a_track_that_cannot_be_read_is_an_error() {
    let sandbox = sandbox(PAST);
    sandbox.write(
        "lap.yaml",
        "analyses:\n  lap-run: {model: lap, informs: [hub], given: {track: track.csv, mass: 250 kg, power: 40 kW, grip: 1.4}}\n",
    );
    sandbox.write("track.csv", "length\tcurvature\n100\t0\n");
    let found = of_check(&sandbox, "unreadable-table");
    assert_eq!(found[0]["help"], "separate the columns with commas, not with tabs");
    assert_eq!((&found[0]["record"], &found[0]["field"]), (&"lap-run".into(), &"given.track".into()));
}

#[test]
fn a_year_with_fewer_cars_is_skipped_and_named() {
    let sandbox = sandbox(format!("{PAST}2019,1,700\n2019,2,650\n"));
    assert!(of_check(&sandbox, "unreadable-table").is_empty());
    let points = sandbox.tierod(&["points", "--format", "json"]).json();
    assert_eq!(points["needed"]["years"], serde_json::json!([2024, 2025, 2026]));
    assert_eq!(points["needed"]["too_small"], serde_json::json!([2019]));
    let text = sandbox.tierod(&["points"]).out;
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("3 past contests from 2024 to 2026") && words.contains("few years; 2019 had fewer cars"),
        "{text}"
    );
}

#[test]
fn the_probability_of_the_goal_is_compared_with_the_confidence() {
    let sandbox = sandbox(PAST);
    let found = of_check(&sandbox, "points-short");
    assert_eq!(found.len(), 1);
    assert!(found[0]["message"].as_str().unwrap().contains("the probability of reaching the goal is "), "{found:?}");
    // The forecast is near 790: 810 points are enough with more than half of the probability, but not with 95 %.
    sandbox.write("records.yaml", RECORDS.replace("700 pts", "830 pts ± 40 pts"));
    assert!(of_check(&sandbox, "points-short").is_empty());
    let chance = sandbox.tierod(&["points", "--format", "json"]).json()["chance"].as_f64().unwrap();
    assert!((0.6..0.9).contains(&chance), "{chance}");
    sandbox.write("tierod.yaml", format!("{SETTINGS}confidence: 95 %\n"));
    assert_eq!(of_check(&sandbox, "points-short").len(), 1);
    sandbox.write("tierod.yaml", format!("{SETTINGS}confidence: 120 %\n"));
    let found = of_check(&sandbox, "bad-value");
    assert!(found[0]["message"].as_str().unwrap().contains("`120 %` is not a probability"), "{found:?}");
}

/// Best times of the acceleration event, Formula SAE Michigan 2013 to 2019 (official results in the MIT-licensed
/// fsae-database, commit 024d620c).
const BEST: [f64; 7] = [3.83, 4.131, 4.113, 4.065, 4.122, 4.35, 4.109];

#[test]
fn the_best_time_is_forecast_from_past_contests() {
    let mut table = "year,event,best\n".to_owned();
    for (year, best) in (2013..).zip(BEST) {
        // A slower car of the same year, and another event, change nothing.
        table
            .push_str(&format!("{year},acceleration,{}\n{year},acceleration,{best}\n{year},skidpad,1.0\n", best + 1.0));
    }
    let sandbox = sandbox(PAST);
    sandbox.write("times.csv", table);
    sandbox.write("tierod.yaml", SETTINGS.replace("2027\n", "2020\n"));
    sandbox.write(
        "sprint.yaml",
        "targets:
  best-time: {of: car, at-most: 5 s, formula: best, given: {best: {past: times.csv, event: acceleration}}}
  wrong-event: {of: car, at-most: 5 s, formula: best, given: {best: {past: times.csv, event: accel}}}
  wrong-column: {of: car, at-most: 5 s, formula: best, given: {best: {past: times.csv, value: time}}}
events:
  acceleration:
    reads: {time: 4.4 s}
    score: {use: sae-2024.acceleration, given: {best: {past: times.csv, event: acceleration}}}
",
    );
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let value = values["values"].as_array().unwrap().iter().find(|value| value["id"] == "best-time").unwrap();
    // `standings_scipy.py` with these years, 0.04 times their mean, 2020 and 95 %.
    let (expected, half) = (4.263_357, 0.389_347);
    assert!((value["value"].as_f64().unwrap() - expected).abs() < 1e-5, "{value}");
    assert!((value["uncertainty"].as_f64().unwrap() - half).abs() < 1e-5, "{value}");
    let found = of_check(&sandbox, "unreadable-table");
    let messages: Vec<&str> = found.iter().map(|finding| finding["message"].as_str().unwrap()).collect();
    assert!(messages.contains(&"times.csv: no row has `accel` under `event`"), "{messages:?}");
    assert!(messages.iter().any(|message| message.contains("no column `time`")), "{messages:?}");
    let points = sandbox.tierod(&["points", "--format", "json"]).ended(0).out;
    assert!(!points.is_empty());
}

#[test]
fn a_table_of_best_times_that_is_absent_is_an_unknown_file() {
    let sandbox = sandbox(PAST);
    sandbox.write("sprint.yaml", "events:\n  acceleration:\n    reads: {time: 4.4 s}\n    score: {use: sae-2024.acceleration, given: {best: {past: absent.csv}}}\n");
    let found = of_check(&sandbox, "unknown-reference");
    assert!(found.iter().any(|finding| finding["field"] == "score.given.best.past"), "{found:?}");
    sandbox.write("sprint.yaml", "events:\n  acceleration:\n    reads: {time: 4.4 s}\n    score: {use: sae-2024.acceleration, given: {best: {past: absent.csv, evnt: a}}}\n");
    let found = of_check(&sandbox, "unknown-key");
    assert_eq!(found.len(), 1, "{found:?}");
}
