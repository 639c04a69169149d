//! The audit after the contest: what was driven, why the scores differ from the predictions, and the place reached.

use serde_json::Value;

use crate::support::Sandbox;

pub(crate) const SETTINGS: &str =
    "season: 2027\ncurrency: EUR\nas-of: 2027-07-20\ngrowth:\n  mass: {estimated: 20 %, weighed: 0 %}\n";

/// A season at its end. The formulas are those of Formula SAE Rules 2024, D.9.4, D.11.4 and D.12.13.
pub(crate) const CAR: &str = r#"
goals:
  first-eight: {title: Among the first eight, place: 8, reason: Two sponsors renew., lead: team lead}
events:
  acceleration:
    plan: 73 pts
    lead: dynamics lead
    serves: {first-eight: It costs no training.}
    reads: {time: accel-time}
    score:
      formula: if(time < slowest, span * (slowest/time - 1) / (slowest/best - 1) + floor, floor)
      given: {best: 3.88 s ± 0.06 s, slowest: 1.5 * best, span: 95.5 pts, floor: 4.5 pts}
  autocross:
    plan: 87 pts
    lead: dynamics lead
    serves: {first-eight: It needs the whole car.}
    reads: {time: autocross-time}
    score:
      formula: if(time < slowest, span * (slowest/time - 1) / (slowest/best - 1) + floor, floor)
      given: {best: 48.2 s ± 0.6 s, slowest: 1.45 * best, span: 118.5 pts, floor: 6.5 pts}
  endurance:
    plan: 161 pts
    lead: chief engineer
    serves: {first-eight: It is a quarter of all points.}
    reads: {time: endurance-lap-time, finish: finish-chance}
    score:
      formula: finish * if(time < slowest, span * (slowest/time - 1) / (slowest/best - 1) + floor, floor)
      given: {best: 56.5 s ± 0.8 s, slowest: 1.45 * best, span: 250 pts, floor: 25 pts}
  efficiency:
    plan: 56 pts
    lead: powertrain lead
    serves: {first-eight: A light car scores here.}
    reads: {fuel: fuel-use, time: endurance-lap-time}
    score:
      formula: min(span, max(0 pts, span * (worst - fuel * (time/best)^2) / (worst - lowest)))
      given: {best: 56.5 s ± 0.8 s, lowest: 1.9 l ± 0.2 l, worst: 5.1 l, span: 100 pts}
  design:
    plan: 100 pts
    expect: 102 pts ± 12 pts
    lead: chief engineer
    serves: {first-eight: It is scored before a wheel turns.}
targets:
  accel-time: {of: car, at-most: 4.27 s, estimate: 4.30 s ± 0.03 s, serves: {acceleration: It is timed.}, verify: {by: test, with: gates, due: 2027-06-01}}
  autocross-time: {of: car, at-most: 53.5 s, estimate: 53.0 s ± 0.4 s, serves: {autocross: It is timed.}, verify: {by: test, with: gates, due: 2027-06-01}}
  endurance-lap-time: {of: car, at-most: 63.6 s, estimate: 63.0 s ± 0.5 s, serves: {endurance: It is timed.}, verify: {by: test, with: gates, due: 2027-06-01}}
  finish-chance: {of: car, at-least: 87 %, estimate: 90 % ± 2 %, serves: {endurance: It must arrive.}, verify: {by: test, with: runs, due: 2027-06-01}}
  fuel-use: {of: car, at-most: 2.6 l, estimate: 2.4 l ± 0.1 l, serves: {efficiency: It is weighed.}, verify: {by: test, with: scales, due: 2027-06-01}}
results:
  gates: {of: accel-time, value: 4.25 s ± 0.01 s, date: 2027-05-20, evidence: [tierod.yaml]}
  copied-course: {of: autocross-time, value: 53.3 s ± 0.3 s, date: 2027-05-21, evidence: [tierod.yaml]}
  long-run: {of: endurance-lap-time, value: 63.4 s ± 0.1 s, date: 2027-05-22, evidence: [tierod.yaml]}
  fuel-can: {of: fuel-use, value: 2.52 l ± 0.03 l, date: 2027-05-22, evidence: [tierod.yaml]}
"#;

/// What the contest gave: times driven, best of the others, a cone in the autocross, a finish, and the place.
pub(crate) const CONTEST: &str = r#"
results:
  design-score: {of: design, value: 104 pts, date: 2027-07-01, evidence: [tierod.yaml]}
  acceleration-score: {of: acceleration, value: 72.7 pts, reads: {time: 4.31 s}, best: 3.90 s, date: 2027-07-02, evidence: [tierod.yaml]}
  autocross-score: {of: autocross, value: 82.0 pts, reads: {time: 53.9 s}, best: 48.0 s, date: 2027-07-03, evidence: [tierod.yaml]}
  endurance-score: {of: endurance, value: 189.0 pts, reads: {time: 63.65 s}, best: 57.1 s, date: 2027-07-04, evidence: [tierod.yaml]}
  efficiency-score: {of: efficiency, value: 59.7 pts, reads: {fuel: 2.57 l}, best: {best: 57.1 s, lowest: 1.95 l}, date: 2027-07-04, evidence: [tierod.yaml]}
  place-reached: {of: first-eight, place: 7, date: 2027-07-04, evidence: [tierod.yaml]}
"#;

pub(crate) fn contest() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    sandbox.write("contest.yaml", CONTEST);
    sandbox
}

/// The answer of `audit`, whatever the findings are.
#[track_caller]
pub(crate) fn audit(sandbox: &Sandbox, format: &str) -> String {
    let answer = sandbox.tierod(&["audit", "--format", format]);
    assert!(answer.code < 2, "{}", answer.err);
    answer.out
}

pub(crate) fn json(sandbox: &Sandbox) -> Value {
    serde_json::from_str(&audit(sandbox, "json")).unwrap()
}

pub(crate) fn with_id<'a>(list: &'a Value, id: &str) -> &'a Value {
    list.as_array().unwrap().iter().find(|one| one["id"] == id).unwrap_or_else(|| panic!("{id} in {list}"))
}

pub(crate) fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value}"))
}

#[track_caller]
pub(crate) fn assert_close(found: &Value, expected: f64) {
    assert!((number(found) - expected).abs() < 1e-9, "{found}, expected {expected}");
}

/// Formula SAE Rules 2024, D.9.4 and those like it.
fn timed(time: f64, best: f64, [factor, span, floor]: [f64; 3]) -> f64 {
    let slowest = factor * best;
    if time < slowest { span * (slowest / time - 1.0) / (slowest / best - 1.0) + floor } else { floor }
}

const CAUSES: [&str; 7] = ["own_values", "others_best", "finish", "penalties", "judges", "mean", "not_explained"];

#[test]
fn what_was_driven_is_a_result_of_the_targets_read() {
    let sandbox = contest();
    let answer = json(&sandbox);
    for (id, value, result, verdict) in [
        ("accel-time", 4.31, "acceleration-score", "missed"),
        ("autocross-time", 53.9, "autocross-score", "missed"),
        ("endurance-lap-time", 63.65, "endurance-score", "missed"),
        ("fuel-use", 2.57, "efficiency-score", "met"),
    ] {
        let target = with_id(&answer["targets"], id);
        assert_eq!((target["verdict"].as_str(), target["result"]["id"].as_str()), (Some(verdict), Some(result)));
        assert_close(&target["result"]["value"], value);
        assert_eq!(target["evidence"], serde_json::json!(["tierod.yaml"]));
    }
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    assert_eq!(with_id(&values["values"], "accel-time")["status"], "missed");
    let lines = sandbox.tierod(&["check", "--format", "lines", "--only", "target-missed"]).out;
    for text in
        ["accel-time: measured 4.31 s", "autocross-time: measured 53.9 s", "endurance-lap-time: measured 63.65 s"]
    {
        assert!(lines.contains(text), "{text}\n{lines}");
    }
    // The prediction is that of before the contest, with the results of the tests.
    let acceleration = with_id(&answer["goals"][0]["events"], "acceleration");
    assert_close(&acceleration["predicted"], timed(4.25, 3.88, [1.5, 95.5, 4.5]));
    // Tests and readings: one verification per target is closed, and three have failed.
    let test = answer["verification"].as_array().unwrap().iter().find(|line| line["method"] == "test").unwrap();
    assert_eq!((&test["closed"], &test["failed"], &test["open"]), (&1.into(), &3.into(), &1.into()), "{test}");
}

#[test]
fn a_target_without_a_test_is_verified_at_the_contest() {
    let sandbox = contest();
    sandbox.write("car.yaml", CAR.lines().filter(|line| !line.contains("gates: {")).collect::<Vec<_>>().join("\n"));
    let overdue =
        |sandbox: &Sandbox| sandbox.tierod(&["check", "--format", "lines", "--only", "verification-overdue"]).out;
    assert!(!overdue(&sandbox).contains("accel-time"), "{}", overdue(&sandbox));
    sandbox.write("contest.yaml", CONTEST.replace("reads: {time: 4.31 s}, ", ""));
    assert!(overdue(&sandbox).contains("verification of accel-time was due"), "{}", overdue(&sandbox));
    assert_eq!(with_id(&json(&sandbox)["targets"], "accel-time")["verdict"], "never verified");
}

#[test]
fn a_later_test_replaces_what_was_driven() {
    let sandbox = contest();
    let again = "  gates-again: {of: accel-time, value: 4.26 s ± 0.005 s, date: 2027-07-10, evidence: [tierod.yaml]}\n";
    sandbox.write("contest.yaml", format!("{CONTEST}{again}"));
    let answer = json(&sandbox);
    let accel = with_id(&answer["targets"], "accel-time");
    assert_eq!((accel["verdict"].as_str(), accel["result"]["id"].as_str()), (Some("met"), Some("gates-again")));
}

/// Each cause switched from expected to actual, in two orders, by the formulas of the rule book.
#[test]
fn the_difference_is_split_into_causes() {
    let sandbox = contest();
    let answer = json(&sandbox);
    let events = &answer["goals"][0]["events"];
    for event in events.as_array().unwrap() {
        let split = &event["split"];
        assert_close(&split["difference"], number(&event["scored"]) - number(&event["predicted"]));
        assert_close(&split["difference"], CAUSES.iter().map(|cause| number(&split[*cause])).sum());
    }
    let mean =
        |event: &Value, expected: f64| assert_close(&event["split"]["mean"], expected - number(&event["predicted"]));

    let acceleration = with_id(events, "acceleration");
    let f = |time, best| timed(time, best, [1.5, 95.5, 4.5]);
    let own = 0.5 * (f(4.31, 3.88) - f(4.25, 3.88) + f(4.31, 3.90) - f(4.25, 3.90));
    let others = 0.5 * (f(4.31, 3.90) - f(4.31, 3.88) + f(4.25, 3.90) - f(4.25, 3.88));
    mean(acceleration, f(4.25, 3.88));
    assert_close(&acceleration["split"]["own_values"], own);
    assert_close(&acceleration["split"]["others_best"], others);
    assert!(own < -3.0 && others > 0.5, "a slower car, and a slower field: {own}, {others}");
    assert_close(&acceleration["split"]["finish"], 0.0);
    assert_close(&acceleration["split"]["not_explained"], 72.7 - f(4.31, 3.90));

    // The cone is not recorded, so that its points are not explained.
    let autocross = with_id(events, "autocross");
    let f = |time, best| timed(time, best, [1.45, 118.5, 6.5]);
    assert_close(&autocross["split"]["not_explained"], 82.0 - f(53.9, 48.0));
    assert!(number(&autocross["split"]["not_explained"]) < -1.0);

    let endurance = with_id(events, "endurance");
    let f = |time, best| timed(time, best, [1.45, 250.0, 25.0]);
    let (forward, backward) = (0.1 * f(63.65, 57.1), 0.1 * f(63.4, 56.5));
    mean(endurance, 0.9 * f(63.4, 56.5));
    assert_close(&endurance["split"]["finish"], 0.5 * (forward + backward));
    let own = 0.5 * (0.9 * (f(63.65, 56.5) - f(63.4, 56.5)) + f(63.65, 57.1) - f(63.4, 57.1));
    let others = 0.5 * (0.9 * (f(63.65, 57.1) - f(63.65, 56.5)) + f(63.4, 57.1) - f(63.4, 56.5));
    assert_close(&endurance["split"]["own_values"], own);
    assert_close(&endurance["split"]["others_best"], others);

    // The lap time is that of the endurance, though this result does not repeat it.
    let efficiency = with_id(events, "efficiency");
    let f =
        |fuel: f64, time: f64, best: f64, lowest: f64| 100.0 * (5.1 - fuel * (time / best).powi(2)) / (5.1 - lowest);
    assert_close(&efficiency["split"]["not_explained"], 59.7 - f(2.57, 63.65, 57.1, 1.95));
    let own = 0.5
        * (f(2.57, 63.65, 56.5, 1.9) - f(2.52, 63.4, 56.5, 1.9) + f(2.57, 63.65, 57.1, 1.95)
            - f(2.52, 63.4, 57.1, 1.95));
    assert_close(&efficiency["split"]["own_values"], own);

    let design = with_id(events, "design");
    assert_close(&design["split"]["judges"], 2.0);
    let goal = &answer["goals"][0];
    assert_close(&goal["split"]["difference"], number(&goal["scored"]) - number(&goal["predicted"]));
    for cause in CAUSES {
        let sum = events.as_array().unwrap().iter().map(|event| number(&event["split"][cause])).sum();
        assert_close(&goal["split"][cause], sum);
    }
}

#[test]
fn a_car_that_stops_loses_by_not_finishing() {
    let sandbox = contest();
    let stopped = "  endurance-score: {of: endurance, value: 0 pts, date: 2027-07-04, evidence: [tierod.yaml]}";
    let lines = CONTEST.lines().map(|line| if line.contains("endurance-score") { stopped } else { line });
    sandbox.write("contest.yaml", lines.collect::<Vec<_>>().join("\n"));
    let answer = json(&sandbox);
    let endurance = with_id(&answer["goals"][0]["events"], "endurance");
    let split = &endurance["split"];
    assert_close(&split["finish"], -0.9 * timed(63.4, 56.5, [1.45, 250.0, 25.0]));
    assert_close(&split["own_values"], 0.0);
    assert_close(&split["not_explained"], 0.0);
    // Without a chance in the formula, too.
    sandbox
        .write("car.yaml", CAR.replace("finish: finish-chance", "spare: finish-chance").replace("finish * if", "if"));
    let answer = json(&sandbox);
    let endurance = with_id(&answer["goals"][0]["events"], "endurance");
    assert_close(&endurance["split"]["finish"], -timed(63.4, 56.5, [1.45, 250.0, 25.0]));
}

/// A penalty that the formula knows is a cause of its own, and so are points of judges in a formula.
#[test]
fn recorded_penalties_and_points_of_judges_have_their_own_causes() {
    let sandbox = contest();
    let car = CAR
        .replace("slowest/time - 1) / (slowest/best - 1) + floor, floor)\n      given: {best: 48.2", "slowest/(time + cones * 2 s) - 1) / (slowest/best - 1) + floor, floor)\n      given: {cones: 0, best: 48.2")
        .replace("expect: 102 pts ± 12 pts", "reads: {time: accel-time}\n    score: {formula: judged + 10 pts - time * 1 pts/s, given: {judged: 90 pts}}");
    sandbox.write("car.yaml", car);
    let results = CONTEST
        .replace("reads: {time: 53.9 s}", "reads: {time: 53.9 s, cones: 1}")
        .replace("of: design, value: 104 pts", "of: design, value: 95 pts, reads: {judged: 89 pts}");
    sandbox.write("contest.yaml", results);
    let answer = json(&sandbox);
    let events = &answer["goals"][0]["events"];
    let split = &with_id(events, "autocross")["split"];
    let f = |time, best| timed(time, best, [1.45, 118.5, 6.5]);
    let penalties = 0.5 * (f(55.9, 48.0) - f(53.9, 48.0) + f(55.3, 48.2) - f(53.3, 48.2));
    assert_close(&split["penalties"], penalties);
    assert_close(&split["not_explained"], 82.0 - f(55.9, 48.0));
    let split = &with_id(events, "design")["split"];
    assert_close(&split["judges"], -1.0);
    assert_close(&split["own_values"], -0.06);
    let text = audit(&sandbox, "terminal");
    assert!(text.contains("finish  penalties  judges"), "{text}");
}

/// The numbers of a row, as a reader adds them up.
fn cells(line: &str, separators: &[&str]) -> Vec<f64> {
    let mut line = line.to_owned();
    for separator in separators {
        line = line.replace(separator, "\n");
    }
    line.lines().filter_map(|cell| cell.trim().parse().ok()).collect()
}

/// In each output the causes of a row add up to the difference to the last digit that is shown.
#[test]
fn the_causes_add_up_in_every_output() {
    let sandbox = contest();
    let ids = ["acceleration", "autocross", "endurance", "efficiency", "design", "total"];
    let assert_adds_up = |rows: Vec<Vec<f64>>, what: &str| {
        assert_eq!(rows.len(), ids.len(), "{what}: {rows:?}");
        for row in rows {
            let (total, parts) = row.split_last().unwrap();
            assert!(parts.len() >= 4 && (parts.iter().sum::<f64>() - total).abs() < 1e-6, "{what}: {row:?}");
        }
    };
    let text = audit(&sandbox, "terminal");
    let table = text.rsplit_once("scored - predicted").unwrap().1;
    let rows = ids.map(|id| table.lines().find(|line| line.starts_with(id)).unwrap().to_owned());
    assert_adds_up(rows.iter().map(|line| cells(line, &["  "])).collect(), "terminal");
    let text = audit(&sandbox, "markdown");
    let table = text.split_once("| scored - predicted |").unwrap().1;
    let rows: Vec<&str> = table.lines().skip(2).take(ids.len()).collect();
    assert_adds_up(rows.iter().map(|line| cells(&line.replace('\\', ""), &["|"])).collect(), "Markdown");
    let page = audit(&sandbox, "html");
    let table = page.split_once("Why the scores differ from the predictions").unwrap().1;
    let table = table.split_once("<tbody").unwrap().1.split_once("</tbody>").unwrap().0;
    let rows = table.lines().filter(|line| line.starts_with("<tr"));
    assert_adds_up(
        rows.map(|line| cells(&line.replace("&#x2b;", "+").replace('−', "-"), &["<", ">"])).collect(),
        "page",
    );
    for table in ["split", "goals"] {
        let csv = sandbox.tierod(&["audit", "--format", "csv", "--table", table]).out;
        let mut lines = csv.lines();
        let heads: Vec<&str> = lines.next().unwrap().split(',').collect();
        let at = |name: &str| heads.iter().position(|head| *head == name).unwrap();
        for line in lines {
            let line: Vec<&str> = line.split(',').collect();
            let value = |name: &str| line[at(name)].parse::<f64>().unwrap();
            let sum: f64 = CAUSES.iter().map(|cause| value(cause)).sum();
            assert!((sum - value("difference")).abs() < 1e-9, "{line:?}");
            assert!((value("scored") - value("predicted") - value("difference")).abs() < 1e-9, "{line:?}");
        }
    }
    // Without anything of the contest, there is no table: everything would be unexplained.
    sandbox
        .write("car.yaml", CAR.replace("finish: finish-chance", "spare: finish-chance").replace("finish * if", "if"));
    let bare: Vec<String> = CONTEST
        .lines()
        .map(|line| match (line.find("reads:"), line.find("date:")) {
            (Some(from), Some(to)) => format!("{}{}", &line[..from], &line[to..]),
            _ => line.to_owned(),
        })
        .collect();
    sandbox.write("contest.yaml", bare.join("\n"));
    assert!(!audit(&sandbox, "terminal").contains("scored - predicted"));
}

#[test]
fn the_place_reached_is_in_every_output() {
    let sandbox = contest();
    let headline = "reached with place 7 and 507.4 points";
    let text = audit(&sandbox, "terminal");
    assert!(text.contains(headline), "{text}");
    assert!(audit(&sandbox, "markdown").contains(headline));
    assert!(audit(&sandbox, "html").contains(headline));
    let goal = &json(&sandbox)["goals"][0];
    assert_eq!((&goal["place_reached"], &goal["place_result"]), (&7.into(), &"place-reached".into()));
    assert_eq!(goal["reached"], true);
    let csv = sandbox.tierod(&["audit", "--format", "csv", "--table", "goals"]).out;
    assert!(csv.lines().nth(1).unwrap().starts_with("first-eight,Among the first eight,8.0,7.0,"), "{csv}");

    // The place decides, not the points that past contests took.
    sandbox.write("contest.yaml", CONTEST.replace("place: 7,", "place: 9,"));
    let text = audit(&sandbox, "terminal");
    assert!(text.contains("not reached with place 9 and 507.4 points"), "{text}");
    assert_eq!(json(&sandbox)["goals"][0]["reached"], false);
    sandbox.write(
        "contest.yaml",
        CONTEST.lines().filter(|line| !line.contains("autocross-score")).collect::<Vec<_>>().join("\n"),
    );
    let text = audit(&sandbox, "terminal");
    assert!(text.contains("reached with place 7 and 425.4 points from 4 of 5 events"), "{text}");
    let out = sandbox.tierod(&["check", "--format", "lines", "--only", "unknown-reference,bad-value,missing-key"]);
    assert_eq!(out.out.lines().filter(|line| line.contains("place-reached")).count(), 0, "{}", out.out);
}

#[test]
fn a_result_with_keys_of_another_subject_is_an_error() {
    let sandbox = contest();
    for (from, to, expected) in [
        ("reads: {time: 4.31 s}", "reads: {tim: 4.31 s}", "the score of acceleration has no `tim`"),
        ("reads: {time: 4.31 s}", "reads: {time: 4.31 m}", "`4.31 m` is a length"),
        ("best: 3.90 s", "best: 3.90 kg", "expected `s`, found `kg`"),
        ("lowest: 1.95 l", "least: 1.95 l", "the score of efficiency has no `least`"),
        ("lowest: 1.95 l", "lowest: 1.95 s", "expected `m^3`, found `s`"),
        ("place: 7,", "place: 0,", "`place` is 0"),
        ("place: 7,", "value: 507 pts,", "the result of a goal has no `value`"),
        (
            "of: design, value: 104 pts",
            "of: design, place: 8, value: 104 pts",
            "`place` belongs to the result of a goal, and design is an event",
        ),
        (
            "of: design, value: 104 pts",
            "of: accel-time, value: 4.3 s, best: 3 s",
            "`best` belongs to the result of an event, and accel-time is a target",
        ),
        ("of: design, value: 104 pts", "of: design", "`value` is missing"),
    ] {
        sandbox.write("contest.yaml", CONTEST.replace(from, to));
        let answer = sandbox.tierod(&["check", "--format", "lines"]);
        let found: Vec<&str> = answer.out.lines().filter(|line| line.contains(expected)).collect();
        assert!(answer.code == 1 && found.len() == 1 && found[0].contains("error"), "{to}: {expected}\n{}", answer.out);
    }
}

#[test]
fn two_values_of_one_target_on_one_day_are_reported() {
    let sandbox = contest();
    let two = |time: &str| {
        sandbox.write(
            "contest.yaml",
            CONTEST.replace("reads: {fuel: 2.57 l}", &format!("reads: {{fuel: 2.57 l, time: {time}}}")),
        );
        sandbox.tierod(&["check", "--format", "lines", "--only", "two-sources"]).out
    };
    assert!(!two("63.65 s").contains("same date"));
    let out = two("63.7 s");
    assert!(out.contains("result efficiency-score has another value on the same date and is used instead"), "{out}");
}
