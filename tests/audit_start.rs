//! The audit, its brief and the talk at the start of a season, when most of it is not known yet; and the row of a team.

use serde_json::Value;

use crate::support::Sandbox;

const FORMATS: [&str; 4] = ["terminal", "markdown", "json", "html"];

fn audit(sandbox: &Sandbox, folder: &str, args: &[&str]) -> String {
    let answer = sandbox.tierod_in(&sandbox.path_of(folder), &[&["audit"], args].concat());
    assert!(answer.code <= 1, "{}", answer.err);
    answer.out
}

/// A goal with two events, one of them without a value.
const GOAL: &str = "goals:\n  place: {title: Win, points: 50 pts, reason: It is the goal., lead: team lead}\n";
const EVENTS: &str = "events:\n  sprint: {plan: 60 pts, lead: team lead, serves: {place: It counts.}, expect: 55 pts ± 5 pts}\n  loop: {plan: 40 pts, lead: team lead, serves: {place: It counts.}}\n";

fn start(states: &[&str]) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", "season: 2027\nas-of: 2027-01-10\n");
    for (day, records) in states.iter().enumerate() {
        sandbox.write("car.yaml", records);
        sandbox.commit_on(&format!("2027-01-0{}", day + 1), "Go on");
    }
    sandbox
}

/// Without an event there is no score: no format shows one, and none shows a negative zero.
#[test]
fn no_score_is_shown_without_an_event() {
    let sandbox = start(&[GOAL]);
    for format in FORMATS {
        for brief in [&[][..], &["--brief"]] {
            let text = audit(&sandbox, ".", &[brief, &["--format", format]].concat());
            assert!(!text.contains("-0.0") && !text.contains("−0.0"), "{format} {brief:?}: {text}");
            assert!(format == "json" || text.contains("it has no events"), "{format}: {text}");
        }
    }
    let answer: Value = serde_json::from_str(&audit(&sandbox, ".", &["--format", "json"])).unwrap();
    assert_eq!(answer["goals"][0]["scored"], Value::Null);
    let deck = sandbox.tierod(&["deck", "--for", "judges"]);
    assert!(!deck.out.contains("scored") && !deck.out.contains("id=\"plan\""), "{}", deck.out);
    assert!(deck.err.contains("plan: the goal has no events"), "{}", deck.err);
}

/// A sentence is in place of an empty picture, table or filter.
#[test]
fn what_is_empty_is_a_sentence() {
    let sandbox = start(&[GOAL]);
    let page = audit(&sandbox, ".", &["--format", "html"]);
    let body = page.split_once("<main>").unwrap().1.split_once("<dialog").unwrap().0;
    assert!(!body.contains("<table") && !body.contains("id=\"filter\"") && !body.contains("<svg"), "{body}");
    for section in body.split("<section").skip(1) {
        assert!(section.contains("<p"), "{section}");
    }
    assert!(page.contains("1 commit changed the records; no curves: the records have one commit."), "{page}");
    let out = audit(&sandbox, ".", &[]);
    assert!(
        out.contains("no target: add one") && !out.contains("limit changes") && !out.contains("planned  passed"),
        "{out}"
    );
    // Without a goal that is the headline, in every format.
    let empty = Sandbox::new();
    empty.write("tierod.yaml", "");
    for format in ["terminal", "markdown", "html"] {
        for brief in [&[][..], &["--brief"]] {
            let text = audit(&empty, ".", &[brief, &["--format", format]].concat()).replace('\\', "");
            assert!(text.contains("No goal: add one under `goals:`"), "{format} {brief:?}: {text}");
        }
    }
}

/// The car is complete on paper only if the points depend on what is recorded; before, what is missing is named.
#[test]
fn a_car_without_values_is_not_complete_on_paper() {
    let sandbox = start(&[GOAL, &format!("{GOAL}{EVENTS}")]);
    for format in ["terminal", "html"] {
        let text = audit(&sandbox, ".", &["--format", format]);
        assert!(text.contains("no curve of the points yet: 1 of 2 events has no value: loop"), "{format}: {text}");
        assert!(!text.contains("complete on paper"), "{format}: {text}");
    }
    let page = audit(&sandbox, ".", &["--format", "html"]);
    assert!(!page.contains("Points predicted"), "the points of one event are not those of the goal");
    let answer: Value = serde_json::from_str(&audit(&sandbox, ".", &["--format", "json"])).unwrap();
    assert_eq!(answer["history"]["complete_from"], Value::Null);
}

/// The causes of a prediction add up to its difference to the plan, and headings are in the present.
#[test]
fn the_causes_of_a_prediction_add_up() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["init", "car"]).ended(0);
    let answer: Value = serde_json::from_str(&audit(&sandbox, "car", &["--context"])).unwrap();
    let event = &answer["shown"]["goals"][0]["events"][0];
    let cause = event["cause"].as_str().unwrap();
    let points = |text: &str| text.strip_suffix(" points").unwrap().rsplit(' ').next().unwrap().parse::<f64>().unwrap();
    let sum: f64 = cause.split("; ").map(points).sum();
    let difference: f64 = event["to_plan"].as_str().unwrap().parse().unwrap();
    assert!((sum - difference).abs() < 1e-9 && difference.abs() > 0.05, "{difference}: {cause}");
    assert!(cause.contains("not explained by targets: "), "{cause}");
    for format in ["terminal", "markdown", "html"] {
        let text = audit(&sandbox, "car", &["--brief", "--format", format]);
        assert!(text.contains("the plan is not exactly the points at the limits"), "{format}: {text}");
        assert!(text.contains("1 of 1 safety-critical record without"), "{format}: {text}");
    }
    let page = audit(&sandbox, "car", &["--format", "html"]);
    for heading in ["Where the points come from", "Which targets are met", "What is verified, and by which method"] {
        assert!(page.contains(&format!(">{heading}</h2>")), "{heading}");
    }
    assert!(page.contains(">1 target</span>"), "not 1 targets");
}

/// Rows of the CSV answer, as head and cell.
fn row(csv: &str) -> Vec<(String, String)> {
    let mut reader = csv.split("\r\n").map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
    let (heads, cells) = (reader.next().unwrap(), reader.next().unwrap());
    assert_eq!(heads.len(), cells.len(), "{csv}");
    heads.into_iter().zip(cells).collect()
}

/// The row of a team has each target in one count, its ten longest times at risk, and the points of each event; the brief for
/// people has titles.
#[test]
fn the_row_of_a_team_is_complete() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "season"]).ended(0);
    let row = row(&audit(&sandbox, "season", &["--brief", "--format", "csv"]));
    let cell = |head: &str| row.iter().find(|(own, _)| own == head).unwrap_or_else(|| panic!("{head}")).1.clone();
    let number = |head: &str| cell(head).parse::<f64>().unwrap();
    let counts = ["met", "met_after_change", "uncertain", "missed", "never_verified", "not_due"];
    let sum: f64 = counts.iter().map(|count| number(&format!("targets_{count}"))).sum();
    assert_eq!(sum, number("targets"), "{row:?}");
    let answer: Value = serde_json::from_str(&audit(&sandbox, "season", &["--context"])).unwrap();
    assert_eq!(answer["shown"]["met"].as_f64(), Some(number("targets_met")));
    let brief: Value = serde_json::from_str(&audit(&sandbox, "season", &["--brief", "--format", "json"])).unwrap();
    for (at, period) in brief["longest_at_risk"].as_array().unwrap().iter().enumerate() {
        assert_eq!(cell(&format!("at_risk_{}", at + 1)), period["target"].as_str().unwrap());
        assert_eq!(number(&format!("at_risk_{}_days", at + 1)), period["days"].as_f64().unwrap());
    }
    let scored: f64 = brief["goals"][0]["events"]
        .as_array()
        .unwrap()
        .iter()
        .map(|event| number(&format!("{}_scored", event["id"].as_str().unwrap())))
        .sum();
    assert!((scored - number("scored")).abs() < 1e-9);
    let texts =
        ["terminal", "markdown", "html"].map(|format| audit(&sandbox, "season", &["--brief", "--format", format]));
    for text in &texts {
        for title in ["Time over 75 m", "Mass of the suspension"] {
            assert!(text.contains(title), "{title}: {text}");
        }
    }
    // The mass has its uncertainty over the season, as the points do.
    let page = audit(&sandbox, "season", &["--format", "html"]);
    let mass = page.split("<figure").find(|figure| figure.contains(">Mass of the car: ")).unwrap();
    assert!(mass.contains("95 % of what may happen"), "{mass}");
}
