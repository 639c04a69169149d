//! The audit in the middle of a season and at its end: what is predicted, why a goal was missed, what is unproven, and the same
//! on one page (`audit --brief`).

use serde_json::Value;

use crate::audit_over_time::MASS_SETTINGS;
use crate::numbers_audit::{CAR, CONTEST, SETTINGS, number, with_id};
use crate::support::Sandbox;

const FORMATS: [&str; 5] = ["terminal", "markdown", "json", "csv", "html"];

#[track_caller]
pub(crate) fn audit(sandbox: &Sandbox, args: &[&str]) -> String {
    let answer = sandbox.tierod(&[&["audit"], args].concat());
    assert!(answer.code < 2, "{}", answer.err);
    answer.out
}

#[track_caller]
pub(crate) fn json(sandbox: &Sandbox, args: &[&str]) -> Value {
    serde_json::from_str(&audit(sandbox, &[args, &["--format", "json"]].concat())).unwrap()
}

/// The text on one line, without the backslashes of Markdown.
pub(crate) fn plain(text: &str) -> String {
    text.replace('\\', "").replace('−', "-").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The totals of each place in past contests. They are the same in each year, so that a place is expected to need its total.
const TOTALS: [f64; 10] = [700.0, 650.0, 600.0, 550.0, 520.0, 500.0, 480.0, 460.0, 440.0, 420.0];

/// A season with past contests.
fn season(contest: Option<&str>) -> Sandbox {
    let sandbox = Sandbox::new();
    let mut past = "year,place,total\n".to_owned();
    for year in 2022..=2026 {
        for (place, total) in TOTALS.iter().enumerate() {
            past.push_str(&format!("{year},{},{total}\n", place + 1));
        }
    }
    sandbox.write("past.csv", past);
    sandbox.write("tierod.yaml", format!("team: Harbour Racing\ncar: H3\n{SETTINGS}"));
    sandbox.write("car.yaml", CAR.replace("place: 8,", "place: 8, past-standings: {file: past.csv},"));
    if let Some(contest) = contest {
        sandbox.write("contest.yaml", contest);
    }
    sandbox
}

#[test]
fn before_the_contest_the_headline_is_the_prediction() {
    let sandbox = season(None);
    let goal = &json(&sandbox, &[])["goals"][0];
    let predicted = number(&goal["predicted"]);
    // The first place that needs no more points than that.
    let place = TOTALS.iter().position(|total| *total <= predicted).unwrap() + 1;
    assert_eq!(goal["place_predicted"], place);
    let points = sandbox.tierod(&["points", "--format", "json"]).json();
    assert_eq!(goal["chance"], points["chance"], "the one that `points` shows");
    let chance = number(&goal["chance"]);
    assert!(chance > 0.5 && chance < 1.0, "{chance}");
    let headline = format!("not raced yet; predicted: place {place} with {predicted:.1}");
    for format in ["terminal", "markdown", "html"] {
        for brief in [&[][..], &["--brief"]] {
            let text = audit(&sandbox, &[brief, &["--format", format]].concat());
            assert!(plain(&text).contains(&headline), "{format}: {headline}\n{text}");
            assert!(plain(&text).contains("probability of reaching the goal"), "{format}");
        }
    }
    // On the page it is the largest text, and the figures have the predicted points.
    let page = audit(&sandbox, &["--format", "html"]);
    let answer = page.split_once("<p class=\"answer").unwrap().1.split_once("</p>").unwrap().0;
    assert!(answer.contains(&headline), "{answer}");
    let figures = page.split_once("class=\"figures\"").unwrap().1.split_once("</table>").unwrap().0;
    assert!(figures.contains(" predicted</td><td>") && figures.contains(" planned</td>"), "{figures}");
}

#[test]
fn at_the_end_the_place_reached_is_beside_the_one_predicted() {
    let sandbox = season(Some(CONTEST));
    let goal = json(&sandbox, &[])["goals"][0].clone();
    let (place, predicted) = (&goal["place_predicted"], number(&goal["predicted"]));
    let beside = format!("predicted before the contest: place {place} with {predicted:.1}");
    for format in ["terminal", "html"] {
        for brief in [&[][..], &["--brief"]] {
            let text = plain(&audit(&sandbox, &[brief, &["--format", format]].concat()));
            let (reached, after) = (text.find("reached with place 7").unwrap(), text.find(&beside).unwrap());
            assert!(reached < after, "{format}: {text}");
        }
    }
    let goals = audit(&sandbox, &["--format", "csv", "--table", "goals"]);
    let heads: Vec<&str> = goals.lines().next().unwrap().split(',').collect();
    let at = heads.iter().position(|head| *head == "place_predicted").unwrap();
    assert_eq!(goals.lines().nth(1).unwrap().split(',').nth(at), Some(format!("{place}.0").as_str()), "{goals}");
}

/// A plan is what the event scores with its targets at their limits, by Formula SAE Rules 2024, D.9.4.
#[test]
fn a_missed_goal_says_which_events_and_targets_it_was() {
    let sandbox = season(Some(&CONTEST.replace("place: 7,", "place: 9,")));
    let goal = json(&sandbox, &[])["goals"][0].clone();
    assert_eq!(goal["reached"], false);
    let mut short: Vec<(f64, String)> = Vec::new();
    for event in goal["events"].as_array().unwrap() {
        let vs_plan = number(&event["scored"]) - number(&event["plan"]);
        assert!((number(&event["vs_plan"]) - vs_plan).abs() < 1e-9, "{event}");
        let causes = event["causes"].as_array().unwrap();
        let sum: f64 = causes.iter().map(|cause| number(&cause["points"])).sum();
        assert!((sum - vs_plan).abs() < 1e-9, "the causes add up: {event}");
        if vs_plan < -0.05 {
            short.push((vs_plan, event["id"].as_str().unwrap().to_owned()));
        }
        for behind in event["behind"].as_array().unwrap() {
            assert!(number(&behind["points"]) * vs_plan > 0.0, "to the side of the event: {event}");
        }
    }
    // 191 pts * (5.82 s / t - 1), at 4.31 s instead of the limit of 4.27 s.
    let behind = &with_id(&goal["events"], "acceleration")["behind"][0];
    let expected = 191.0 * 5.82 * (1.0 / 4.31 - 1.0 / 4.27);
    assert_eq!((&behind["target"], &behind["read"]), (&"accel-time".into(), &true.into()));
    assert_eq!((number(&behind["value"]), number(&behind["limit"])), (4.31, 4.27));
    assert!((number(&behind["points"]) - expected).abs() < 1e-6, "{behind}, expected {expected}");

    short.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = short.iter().map(|(points, _)| points).sum();
    let why = format!("{} events scored {:.1} points fewer than planned", short.len(), -total);
    for format in ["terminal", "markdown", "html"] {
        let text = plain(&audit(&sandbox, &["--format", format]));
        assert!(text.contains(&why), "{format}: {why}\n{text}");
        assert!(text.contains("accel-time 4.31 s, limit 4.27 s: -2.4 points"), "{format}: {text}");
    }
    // First where the difference to the points for the place is from: from the plan, or from the scores.
    let [needed, plan, scored] = [&goal["needed"]["points"], &goal["plan"], &goal["scored"]].map(number);
    let side = |points: f64| format!("{:.1} {}", points.abs(), if points < 0.0 { "below" } else { "above" });
    let place = match scored < needed {
        true => format!(
            "scored {:.1} points fewer than place 8 needs ({needed:.1}): the plan was {} that, and the scores {} the plan",
            needed - scored,
            side(plan - needed),
            side(scored - plan)
        ),
        false => format!(
            "scored {:.1} points more than place 8 needs ({needed:.1}) by past contests: the others scored more than then",
            scored - needed
        ),
    };
    for args in [&[][..], &["--format", "markdown"], &["--format", "html"], &["--brief"]] {
        let text = plain(&audit(&sandbox, args));
        assert!(text.contains(&format!("{place}; {why}")), "{args:?}: {place}; {why}\n{text}");
    }
    // All causes of an event are next to it, and add up to its difference.
    for line in audit(&sandbox, &["--brief"]).lines().filter(|line| line.contains("own values")) {
        let (numbers, causes) = line.split_at(line.find("own values").unwrap());
        let all: Vec<&str> = line.split_whitespace().filter(|word| word.starts_with(['+', '-'])).collect();
        let all: Vec<f64> = all.iter().map(|word| word.trim_end_matches(',').parse().unwrap()).collect();
        let sum: f64 = all[1..].iter().sum();
        assert!((sum - all[0]).abs() < 0.11, "{numbers} {causes}: {sum}");
    }
    let out = audit(&sandbox, &[]);
    let lines: Vec<&str> = out
        .lines()
        .skip_while(|line| !line.starts_with("why: "))
        .skip_while(|line| !line.starts_with("  ") || line.starts_with("   "))
        .collect();
    let events: Vec<&str> = short.iter().map(|(_, id)| id.as_str()).collect();
    let listed: Vec<&str> = lines
        .iter()
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.strip_prefix("  ")?.split(' ').next().filter(|word| events.contains(word)))
        .collect();
    assert_eq!(listed, events, "the shortest first: {out}");
    // A goal that was reached needs no reason.
    let reached = season(Some(CONTEST));
    assert!(
        !audit(&reached, &[]).contains("why: ") && !audit(&reached, &["--format", "html"]).contains("why-missed-h")
    );
}

#[test]
fn predictions_have_their_picture_and_points_their_difference_to_the_plan() {
    let sandbox = season(None);
    let page = audit(&sandbox, &["--format", "html"]);
    let predictions = page.split_once("id=\"_predictions\"").unwrap().1.split_once("</section>").unwrap().0;
    assert!(predictions.contains("id=\"p-estimates-t\"") && predictions.contains("<figcaption>"), "{predictions}");
    // Before the contest the difference of the prediction to the plan, and no empty columns of scores.
    let points = page.split_once("Points of ").unwrap().1.split_once("</table>").unwrap().0;
    assert!(!points.contains("vs predicted") && !points.contains(">scored<"), "{points}");
    let goal = &json(&sandbox, &[])["goals"][0];
    let change = number(&goal["predicted"]) - number(&goal["plan"]);
    let shown = format!("data-head=\"vs plan\">{}{:.1}<", if change < 0.0 { "−" } else { "+" }, change.abs());
    assert!(points.contains(&shown), "{shown}: {points}");
}

#[test]
fn uncertain_is_an_outcome_of_its_own() {
    let sandbox = season(None);
    // 53.3 ± 0.3 s of at most 53.5 s.
    let answer = json(&sandbox, &[]);
    let outcome = |id: &str| with_id(&answer["targets"], id)["outcome"].clone();
    assert_eq!((outcome("autocross-time"), outcome("accel-time")), ("uncertain".into(), "met".into()));
    assert!(audit(&sandbox, &[]).contains("\nuncertain, value meets the limit\n  autocross-time "));
    let page = audit(&sandbox, &["--format", "html"]);
    assert!(page.contains("<option>uncertain</option>") && page.contains("data-verdict=\"uncertain\""));
    let text = audit(&sandbox, &["--format", "markdown"]);
    assert!(
        text.lines().any(|line| line.starts_with("| `autocross-time`") && line.contains("| uncertain, value meets"))
    );
    let csv = audit(&sandbox, &["--brief", "--format", "csv"]);
    assert_eq!(cell(&csv, "targets_uncertain"), "1");
}

/// A cell of a table with one row.
pub(crate) fn cell(csv: &str, head: &str) -> String {
    let lines: Vec<&str> = csv.split("\r\n").collect();
    assert_eq!((lines.len(), lines[2]), (3, ""), "a header and one row: {csv}");
    let at = lines[0].split(',').position(|own| own == head).unwrap_or_else(|| panic!("{head} in {csv}"));
    lines[1].split(',').nth(at).unwrap().to_owned()
}

/// Safety-critical records, each with another state of its tests.
const CRITICAL: &str = r#"
goals:
  place: {points: 50 pts, reason: It is the goal., lead: team lead}
events:
  sprint: {plan: 60 pts, expect: 60 pts, lead: team lead, serves: {place: It counts.}}
systems:
  brakes: {in: car, lead: brakes lead}
targets:
  braking: {of: brakes, at-least: 1.2, estimate: 1.3, safety-critical: true, lead: brakes lead, serves: {sprint: It stops.}, verify: {by: test, with: yard, due: 2027-05-01}}
  pedal-strength: {of: pedal, at-least: 2, estimate: 3, safety-critical: true, lead: brakes lead, serves: {braking: It holds.}, verify: {by: test, with: rig, due: 2027-08-01}}
  disc-wear: {of: brakes, at-most: 1 mm, estimate: 0.5 mm, lead: brakes lead, serves: {braking: It lasts.}, verify: {by: test, with: gauge, due: 2027-05-01}}
requirements:
  two-circuits: {of: brakes, shall: The car has two circuits., safety-critical: true, lead: brakes lead, serves: {braking: One may fail.}, verify: [{by: analysis, with: drawing}, {by: inspection, with: eyes, due: 2027-08-01}]}
  stops: {of: brakes, shall: All four wheels lock., safety-critical: true, lead: brakes lead, serves: {braking: It is the rule.}, verify: {by: test, with: yard, due: 2027-08-01}}
parts:
  pedal: {in: brakes, safety-critical: true, serves: {braking: It is pressed.}}
  line: {in: brakes, safety-critical: true, serves: {braking: It leads.}, verify: {by: inspection, with: eyes, due: 2027-05-01}}
  disc: {in: brakes, safety-critical: true, serves: {braking: It rubs.}}
results:
  lines-seen: {of: line, outcome: pass, date: 2027-05-03, evidence: [tierod.yaml]}
  circuits-calculated: {of: two-circuits, by: analysis, outcome: pass, date: 2027-05-03, evidence: [tierod.yaml]}
  wheels-roll: {of: stops, outcome: fail, date: 2027-05-03, evidence: [tierod.yaml]}
"#;

#[test]
fn safety_critical_records_without_a_passed_test_are_listed() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", MASS_SETTINGS);
    sandbox.write("car.yaml", CRITICAL);
    let unproven = |brief: &[&str]| {
        let answer = json(&sandbox, brief);
        assert_eq!(answer["safety_critical"], 7, "the wear of the disc is not");
        let all = answer["unproven"].as_array().unwrap().iter();
        all.map(|one| {
            format!(
                "{} {} {}",
                one["kind"].as_str().unwrap(),
                one["id"].as_str().unwrap(),
                one["why"].as_str().unwrap()
            )
        })
        .collect::<Vec<_>>()
    };
    // A failed test first; an analysis proves nothing; the pedal is tested by the target about it; the line has passed.
    let expected = [
        "requirement stops failed",
        "part disc no test planned",
        "target braking no result",
        "target pedal-strength no result",
        "requirement two-circuits no result",
        "part pedal no result",
    ];
    assert_eq!(unproven(&[]), expected);
    assert_eq!(unproven(&["--brief"]), expected);
    for format in ["terminal", "markdown", "html"] {
        for brief in [&[][..], &["--brief"]] {
            let text = audit(&sandbox, &[brief, &["--format", format]].concat());
            for id in ["stops", "disc", "braking", "pedal-strength", "two-circuits", "pedal"] {
                assert!(text.contains(id), "{format} {brief:?}: {id}");
            }
            assert!(plain(&text).contains("6 of") && !text.contains("lines-seen\n"), "{format}: {text}");
        }
    }
    let csv = audit(&sandbox, &["--brief", "--format", "csv"]);
    assert_eq!((cell(&csv, "safety_critical"), cell(&csv, "unproven")), ("7".to_owned(), "6".to_owned()));
    // Every plan closed by a passed result.
    let results = "  a: {of: braking, value: 1.3, date: 2027-05-04, evidence: [tierod.yaml]}\n  b: {of: pedal-strength, value: 3, date: 2027-05-04, evidence: [tierod.yaml]}\n  c: {of: two-circuits, by: inspection, outcome: pass, date: 2027-05-04, evidence: [tierod.yaml]}\n  d: {of: stops, outcome: pass, date: 2027-05-04, evidence: [tierod.yaml]}\n  e: {of: disc, outcome: pass, date: 2027-05-04, evidence: [tierod.yaml]}\n";
    sandbox.write("car.yaml", format!("{CRITICAL}{results}"));
    assert_eq!(unproven(&[]), [""; 0]);
}

#[test]
fn the_brief_is_in_every_format() {
    let sandbox = season(Some(CONTEST));
    sandbox.write("tierod.yaml", format!("team: Harbour <b>Racing</b>\ncar: H3\n{SETTINGS}levels: {{no-lead: off}}\n"));
    let status = sandbox.tierod(&["check"]).code;
    for format in FORMATS {
        let answer = sandbox.tierod(&["audit", "--brief", "--format", format]);
        assert_eq!(answer.code, status, "{format} ends as `check`");
        assert!(answer.out.contains("no-lead"), "the check that is off: {format}\n{}", answer.out);
        assert!(answer.out.contains("H3"), "{format}");
    }
    let csv = audit(&sandbox, &["--brief", "--format", "csv"]);
    assert_eq!(cell(&csv, "place_reached"), "7");
    assert_eq!(cell(&csv, "scored"), "507.4");
    assert_eq!(cell(&csv, "checks_off"), "no-lead");
    assert_eq!(cell(&csv, "team"), "Harbour <b>Racing</b>");
    let page = audit(&sandbox, &["--brief", "--format", "html"]);
    assert!(!page.contains("<script") && !page.contains("<b>Racing") && page.contains("Harbour &lt;b&gt;Racing"));
    // Pages are typeset, ids are not; each target is counted once.
    assert!(page.contains('−') && !page.contains(">-"), "{page}");
    let counts = page.split("<p>").find_map(|text| text.split_once(" targets: ")).unwrap();
    let counted = counts.1.split_once("</p>").unwrap().0.split(", ");
    let sum: usize = counted.map(|text| text.split(' ').next().unwrap().parse::<usize>().unwrap()).sum();
    assert_eq!(counts.0.parse::<usize>().unwrap(), sum, "{counts:?}");
    let answer = json(&sandbox, &["--brief"]);
    assert_eq!((&answer["made"]["car"], &answer["made"]["commit"]), (&"H3".into(), &Value::Null));
    for args in [["--table", "goals"], ["--context", "--color"]] {
        assert_eq!(sandbox.tierod(&["audit", "--brief", args[0], args[1]]).code, 2);
    }
    // An empty project has a page, too.
    let empty = Sandbox::new();
    empty.write("tierod.yaml", "");
    for format in FORMATS {
        empty.tierod(&["audit", "--brief", "--format", format]).ended(0);
    }
}
