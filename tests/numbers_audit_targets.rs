//! The targets in the audit: what qualifies one that was met or missed, uncertainties of results, and estimates that contain them.

use serde_json::Value;

use crate::numbers_audit::{CAR, CONTEST, SETTINGS, assert_close, audit, contest, json, with_id};
use crate::support::Sandbox;

/// Met, uncertain (the limit is inside the uncertainty), and met after the limit was moved are counted apart.
#[test]
fn what_qualifies_a_met_target_is_counted_apart() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    // Met are 4.25 ± 0.01 s and 2.52 ± 0.03 l, uncertain is 53.3 ± 0.3 s; the lap time is measured, and then its limit is moved to it.
    let car = CAR.replace("at-most: 63.6 s", "at-most: 63.2 s");
    sandbox.write("car.yaml", &car);
    sandbox.commit_on("2027-05-23", "Measure");
    sandbox.write("car.yaml", CAR);
    sandbox.commit_on("2027-05-24", "Move the limit");
    let (counts, qualified) = (
        "2 met, 1 uncertain, 0 missed, 1 never verified\n",
        "1 met after the limit changed, 1 uncertain with a value that meets the limit\n",
    );
    let text = audit(&sandbox, "terminal");
    assert!(text.contains(&format!("targets: {counts}  {qualified}")), "{text}");
    let text = audit(&sandbox, "markdown");
    assert!(text.contains(&format!("## Targets: {counts}\n{qualified}\n|")), "{text}");
    let page = audit(&sandbox, "html");
    let figures = page.split_once("class=\"figures\"").unwrap().1.split_once("</table>").unwrap().0;
    let targets = "<td>2 of 5 met</td><td>1 met after the limit changed, 1 uncertain, 0 missed, 1 never verified</td>";
    assert!(figures.contains(targets), "{figures}");
    assert!(page.contains("<option>uncertain</option>"));
    let answer = json(&sandbox);
    let of = |id: &str| {
        let target = with_id(&answer["targets"], id);
        (target["verdict"].as_str().unwrap(), target["qualifier"].as_str())
    };
    assert_eq!(of("accel-time"), ("met", None));
    assert_eq!(of("autocross-time"), ("met", Some("limit inside the uncertainty")));
    assert_eq!(of("endurance-lap-time"), ("met", Some("limit changed after the result")));
    let lessons = answer["next_season"].to_string();
    assert!(
        lessons.contains("smaller uncertainty: autocross-time") && lessons.contains("measure: endurance-lap-time"),
        "{lessons}"
    );

    // Measured again, and met by the limit that was already there.
    let again =
        "  long-run-2: {of: endurance-lap-time, value: 63.3 s ± 0.1 s, date: 2027-05-30, evidence: [tierod.yaml]}\n";
    sandbox.write("car.yaml", format!("{CAR}{again}"));
    sandbox.commit_on("2027-05-31", "Measure again");
    let answer = json(&sandbox);
    assert_eq!(with_id(&answer["targets"], "endurance-lap-time")["qualifier"], Value::Null);
    assert_eq!(with_id(&answer["targets"], "endurance-lap-time")["verdict"], "met");

    // At the contest it is missed, and a limit that is moved to that is seen.
    sandbox.write("contest.yaml", CONTEST);
    sandbox.commit_on("2027-07-04", "Add the scores");
    let moved = format!("{CAR}{again}").replace("at-most: 63.6 s", "at-most: 63.7 s");
    sandbox.write("car.yaml", moved);
    sandbox.commit_on("2027-07-05", "Move the limit again");
    let answer = json(&sandbox);
    let lap = with_id(&answer["targets"], "endurance-lap-time");
    assert_eq!((&lap["verdict"], &lap["qualifier"]), (&"met".into(), &"limit changed after the result".into()));
    let out = sandbox.tierod(&["check", "--format", "lines", "--only", "target-after-result"]).out;
    assert!(out.contains("after result endurance-score of 2027-07-04, which meets the new limit"), "{out}");
    let out = sandbox.tierod(&["history", "endurance-lap-time"]).out;
    let row = out.lines().find(|line| line.contains("result endurance-score: reads.time"));
    assert!(row.is_some_and(|row| row.ends_with("63.65 s")), "{out}");
}

#[test]
fn a_missed_target_with_the_limit_inside_the_uncertainty() {
    let sandbox = contest();
    sandbox.write("contest.yaml", CONTEST.replace("reads: {time: 53.9 s}", "reads: {time: 53.9 s ± 0.5 s}"));
    let answer = json(&sandbox);
    let target = with_id(&answer["targets"], "autocross-time");
    assert_eq!(
        (target["verdict"].as_str(), target["qualifier"].as_str()),
        (Some("missed"), Some("limit inside the uncertainty"))
    );
    let text = audit(&sandbox, "terminal");
    assert!(
        text.contains("1 uncertain, 2 missed, 1 never verified\n  1 uncertain with a value that misses the limit\n"),
        "{text}"
    );
}

#[test]
fn the_uncertainty_of_a_result_is_in_every_output() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    let answer = json(&sandbox);
    let target = with_id(&answer["targets"], "accel-time");
    assert_close(&target["result"]["uncertainty"], 0.01);
    let text = audit(&sandbox, "terminal");
    let line = text.lines().find(|line| line.trim_start().starts_with("accel-time")).unwrap();
    assert!(line.contains("4.300 ± 0.030  4.250 ± 0.010"), "{line}");
    let text = audit(&sandbox, "markdown");
    assert!(
        text.lines().any(|line| line.starts_with("| `accel-time`") && line.contains("| 4.250 ± 0.010 s |")),
        "{text}"
    );
    let page = audit(&sandbox, "html");
    assert!(page.replace('\u{202f}', " ").contains("; measured (4.250 ± 0.010) s"));
    let csv = audit(&sandbox, "csv");
    let heads: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
    let line = csv.lines().find(|line| line.starts_with("accel-time")).unwrap();
    let at = heads.iter().position(|head| *head == "result_uncertainty").unwrap();
    assert_eq!(line.split(',').nth(at), Some("0.01"), "{line}");
}

/// How many results were inside the interval of their estimate, beside bias and spread.
#[test]
fn results_inside_the_interval_of_their_estimate_are_counted() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    // 4.25 of 4.30 ± 0.03 is outside; 53.3 of 53.0 ± 0.4 and 63.4 of 63.0 ± 0.5 are inside; 2.52 of 2.4 ± 0.1 is outside.
    let answer = json(&sandbox);
    let predictions = &answer["predictions"];
    assert_eq!((&predictions["inside"], &predictions["with_interval"]), (&2.into(), &4.into()));
    let time = predictions["groups"].as_array().unwrap().iter().find(|group| group["quantity"] == "time").unwrap();
    assert_eq!((&time["inside"], &time["with_interval"]), (&2.into(), &3.into()));
    let pair = predictions["pairs"].as_array().unwrap().iter().find(|pair| pair["of"] == "accel-time").unwrap();
    assert_eq!(pair["inside"], false);
    assert_close(&pair["uncertainty"], 0.03);
    for format in ["terminal", "markdown", "html"] {
        let text = audit(&sandbox, format);
        assert!(text.contains("2 of 4 results are inside the interval of their estimate"), "{format}");
        assert!(text.contains("inside interval") && text.contains("2 of 3"), "{format}");
    }
}

#[test]
fn a_driven_value_that_is_rewritten_needs_a_note() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    sandbox.write("contest.yaml", CONTEST);
    sandbox.commit_on("2027-07-05", "Add the scores");
    sandbox.write("contest.yaml", CONTEST.replace("time: 4.31 s", "time: 4.26 s").replace("place: 7", "place: 6"));
    sandbox.commit_on("2027-07-08", "Correct");
    let out = sandbox.tierod(&["check", "--format", "lines", "--only", "rewritten-result"]).out;
    assert!(out.contains("the reads.time of acceleration-score changed from `4.31 s`"), "{out}");
    assert!(out.contains("the place of place-reached changed from `7`"), "{out}");
}
