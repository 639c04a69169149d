//! The audit over the time of a season: which limits changed, how long targets were at risk, what was known when a choice was
//! made, and whose state it is.

use serde_json::Value;

use crate::audit_season::{audit, cell, json, plain};
use crate::numbers_audit::{number, with_id};
use crate::support::Sandbox;

/// A car with a limit that changed with a revision, and one that moved without.
const MASSES: &str = r#"
goals:
  place: {points: 50 pts, reason: It is the goal., lead: team lead}
events:
  sprint: {title: "Sprint <i>", plan: 60 pts, lead: team lead, serves: {place: It counts.}, reads: {mass: car-mass}, score: {formula: "60 pts - 1 pts/kg * (mass - 100 kg)"}}
systems:
  frame: {in: car, lead: frame lead}
  wheels: {in: car, lead: wheels lead}
targets:
  car-mass: {of: car, at-most: 100 kg, total: mass, lead: team lead, serves: {sprint: It is light.}, verify: {by: test, with: scales, due: 2027-06-01}}
  frame-mass: {of: frame, at-most: 60 kg, total: mass, lead: frame lead, serves: {car-mass: It is most of it.}, verify: {by: test, with: scales, due: 2027-06-01}}
parts:
  tube: {in: frame, amounts: {mass: {value: 62 kg, basis: drawn}}, serves: {frame-mass: It is the frame.}}
"#;
const WHEELS: &str =
    "  wheel: {in: wheels, count: 4, amounts: {mass: {value: 10 kg, basis: drawn}}, serves: {car-mass: It rolls.}}\n";
pub(crate) const MASS_SETTINGS: &str = "season: 2027\nas-of: 2027-06-10\ngrowth:\n  mass: {drawn: 0 %, weighed: 0 %}\n";

fn commits(states: &[(&str, String)]) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", MASS_SETTINGS);
    for (day, records) in states {
        sandbox.write("car.yaml", records);
        sandbox.commit_on(day, "Go on");
    }
    sandbox
}

/// The frame is at risk from 1 January to 1 March, the car for as long as it is known.
fn moved() -> Sandbox {
    let whole = format!("{MASSES}{WHEELS}");
    let lighter = whole.replace("value: 62 kg", "value: 61 kg");
    let revision = "revisions:\n  frame-march: {of: frame-mass, from: 60 kg, to: 61 kg, date: 2027-03-01, agreed-by: chief engineer, reason: The tubes are as bought.}\n";
    let revised = format!("{}{revision}", lighter.replace("at-most: 60 kg", "at-most: 61 kg"));
    let loose = revised.replace("at-most: 100 kg", "at-most: 101 kg");
    commits(&[("2027-01-01", MASSES.to_owned()), ("2027-02-01", whole), ("2027-03-01", revised), ("2027-04-01", loose)])
}

#[test]
fn each_limit_that_moved_is_one_line_with_who_agreed_and_why() {
    let sandbox = moved();
    let answer = json(&sandbox, &[]);
    let moves = answer["limit_moves"].as_array().unwrap();
    assert_eq!(moves.len(), 2, "{moves:?}");
    let keys = ["target", "day", "before", "after", "record", "revision", "agreed_by", "reason"];
    let first = keys.map(|key| moves[0][key].clone());
    let expected = [
        "frame-mass",
        "2027-03-01",
        "at most 60 kg",
        "at most 61 kg",
        "revision",
        "frame-march",
        "chief engineer",
        "The tubes are as bought.",
    ];
    assert_eq!(first, expected.map(Value::from));
    assert_eq!((&moves[1]["target"], &moves[1]["record"]), (&"car-mass".into(), &"missing".into()));
    assert_eq!(moves[1]["revision"], Value::Null);
    let out = plain(&audit(&sandbox, &[]));
    let lines = [
        "2027-03-01 frame-mass at most 60 kg → 61 kg, agreed by the chief engineer: The tubes are as bought.",
        "2027-04-01 car-mass at most 100 kg → 101 kg, no revision",
    ];
    for line in lines {
        assert!(out.contains(line), "{line}\n{out}");
        assert!(plain(&audit(&sandbox, &["--brief"])).contains(line));
    }
    let page = audit(&sandbox, &["--format", "html"]);
    let table = page.split_once("<table role=\"table\" class=\"moves").unwrap().1.split_once("</table>").unwrap().0;
    let rows: Vec<&str> = table.lines().filter(|line| line.contains("rowheader")).collect();
    assert_eq!(rows.len(), 2, "{table}");
    assert!(rows[0].contains("chief engineer") && rows[0].contains("The tubes are as bought."), "{}", rows[0]);
    let csv = audit(&sandbox, &["--format", "csv", "--table", "limits"]);
    assert_eq!(csv.lines().count(), 3, "{csv}");
}

#[test]
fn periods_at_risk_have_their_length() {
    let sandbox = moved();
    let answer = json(&sandbox, &["--brief"]);
    let periods = answer["longest_at_risk"].as_array().unwrap();
    let lengths: Vec<(&str, i64, &Value)> = periods
        .iter()
        .map(|one| (one["target"].as_str().unwrap(), one["days"].as_i64().unwrap(), &one["end"]))
        .collect();
    // From 1 February to 1 April is 59 days; from 1 January to 1 March, too.
    assert_eq!(
        lengths,
        [("frame-mass", 59, &"revised".into()), ("car-mass", 59, &"limit changed without a revision".into())]
    );
    for format in ["terminal", "markdown", "html"] {
        assert!(plain(&audit(&sandbox, &["--format", format])).contains("59 days"), "{format}");
    }
}

#[test]
fn curves_begin_when_the_car_was_complete_on_paper() {
    let sandbox = moved();
    let answer = json(&sandbox, &[]);
    assert_eq!(answer["history"]["complete_from"], "2027-02-01", "the wheels are two fifths of the mass");
    assert_eq!(answer["timeline"].as_array().unwrap().len(), 4, "the table has every commit");
    let out = audit(&sandbox, &[]);
    let line = out.lines().find(|line| line.starts_with("car.mass ")).unwrap();
    assert!(line.split_whitespace().take(3).eq(["car.mass", "102", "kg"]), "not 62 kg of the frame alone: {line}");
}

#[test]
fn one_commit_is_no_curve() {
    let sandbox = commits(&[("2027-01-01", format!("{MASSES}{WHEELS}"))]);
    for (format, words) in [("terminal", "no curves: the records have one commit"), ("html", "one commit")] {
        let text = audit(&sandbox, &["--format", format]);
        assert!(text.contains(words), "{format}: {text}");
    }
    assert!(!audit(&sandbox, &[]).contains("over the season"));
    let page = audit(&sandbox, &["--format", "html"]);
    let season = page.split_once("id=\"_season\"").unwrap().1.split_once("</section>").unwrap().0;
    assert!(!season.contains("<svg"), "{season}");
}

/// A decision that was made before an analysis and a measurement came.
#[test]
fn a_decision_is_shown_with_what_was_known_then() {
    let decision = |chosen: &str| {
        format!(
            "decisions:\n  wheel-kind: {{of: wheels, lead: wheels lead, serves: {{car-mass: It is two fifths.}}, criteria: [car-mass], {chosen} alternatives: {{steel: {{sets: {{wheel.mass: 12 kg ± 0.1 kg}}}}, light: {{title: Light alloy, sets: {{wheel.mass: 9 kg ± 0.1 kg}}}}}}}}\n"
        )
    };
    let early = "analyses:\n  catalogue: {informs: [wheel-kind]}\n";
    let late = "  weighing: {informs: [wheel-kind]}\n";
    let base = format!("{MASSES}{WHEELS}");
    let chosen = decision("chosen: light, reason: It is light.,");
    let measured = base.replace("{value: 10 kg, basis: drawn}", "{value: 9.8 kg, basis: weighed}");
    let sandbox = commits(&[
        ("2027-01-01", format!("{base}{}{early}", decision(""))),
        ("2027-02-01", format!("{base}{chosen}{early}")),
        ("2027-03-01", format!("{measured}{chosen}{early}{late}")),
    ]);
    let answer = json(&sandbox, &[]);
    let own = &answer["decisions"][0];
    assert_eq!((&own["chosen"], &own["day"]), (&"light".into(), &"2027-02-01".into()));
    let commit = sandbox.git(&["rev-parse", "HEAD~1"]);
    assert_eq!(own["commit"], commit.trim());
    let names = |when: &str| -> Vec<String> {
        let all = own[when]["alternatives"].as_array().unwrap().iter();
        all.map(|one| format!("{} {:.1}", one["name"].as_str().unwrap(), number(&one["points"]))).collect()
    };
    // 60 points at 100 kg, and one less per kilogram: 62 kg and four wheels of 9 kg or 12 kg.
    assert_eq!(names("then"), ["light 62.0", "steel 50.0"]);
    assert_eq!(names("now"), ["light 62.0", "steel 50.0"]);
    assert_eq!((number(&own["then"]["points"]), number(&own["now"]["points"])), (58.0, 58.8));
    assert_eq!(own["then"]["significant"], true, "12 points, each wheel ± 0.1 kg");
    let analyses: Vec<(&Value, &Value)> =
        own["analyses"].as_array().unwrap().iter().map(|one| (&one["id"], &one["after_choice"])).collect();
    assert_eq!(analyses, [(&"catalogue".into(), &false.into()), (&"weighing".into(), &true.into())]);
    // Weighed 9.8 kg, and 9.0 ± 0.1 kg were set.
    let value = with_id(&own["values"], "wheel.mass");
    assert_eq!((number(&value["set"]["value"]), number(&value["measured"]["value"])), (9.0, 9.8));
    assert_eq!(number(&value["then"]["value"]), 10.0);
    assert_eq!(value["differs"], true);
    assert_eq!(with_id(&own["values"], "car-mass")["criterion"], true);
    let texts = [
        "Light alloy, chosen on 2027-02-01",
        "1 of 1 measured value differs from what the choice set by more than the uncertainty: wheel.mass",
        "58.0 points predicted",
    ];
    let lists =
        ["analyses before the choice: catalogue (2027-01-01)", "analyses after the choice: weighing (2027-03-01)"];
    for format in ["terminal", "markdown", "html"] {
        let text = plain(&audit(&sandbox, &["--format", format]));
        for words in texts.iter().chain(lists.iter().filter(|_| format != "html")) {
            assert!(text.contains(words), "{format}: {words}\n{text}");
        }
    }
    // On paper a fold is closed: what was measured is not in it, and titles are before ids.
    let page = audit(&sandbox, &["--format", "html"]);
    let open = page.split_once("class=\"decision\"").unwrap().1.split_once("<details>").unwrap().0;
    assert!(open.contains("1 of 1 measured value differs") && open.contains("<strong>Light alloy, chosen"), "{open}");
    let after = page.split_once("Analyses after the choice:").unwrap().1.split_once("</p>").unwrap().0;
    assert!(after.contains("weighing") && !after.contains("catalogue"), "{after}");
    let csv = audit(&sandbox, &["--format", "csv", "--table", "decisions"]);
    assert_eq!(cell(&csv, "place_of_chosen_then"), "1.0", "{csv}");
    // Without a history the current ranking is left, and why.
    let outside = Sandbox::new();
    outside.write("tierod.yaml", MASS_SETTINGS);
    outside.write("car.yaml", format!("{base}{chosen}{early}"));
    let own = json(&outside, &[])["decisions"][0].clone();
    assert_eq!((&own["then"], &own["day"]), (&Value::Null, &Value::Null));
    assert!(own["then_missing"].as_str().is_some_and(|why| why.contains("git")), "{own}");
    assert_eq!(own["now"]["place_of_chosen"], 1);
}

#[test]
fn who_made_the_state_is_in_every_output() {
    let sandbox = moved();
    sandbox.write("tierod.yaml", format!("team: Harbour Racing\ncar: H3\n{MASS_SETTINGS}"));
    sandbox.commit_on("2027-05-01", "Name the team");
    let head = sandbox.git(&["rev-parse", "HEAD"]);
    let made = |args: &[&str]| json(&sandbox, args)["made"].clone();
    let expected = serde_json::json!({"team": "Harbour Racing", "car": "H3", "commit": head.trim(), "day": "2027-05-01", "uncommitted": false});
    assert_eq!(made(&["--rev", "HEAD"]), expected);
    let line = format!("Harbour Racing, car H3, commit {} of 2027-05-01", &head[..10]);
    for format in ["terminal", "markdown", "html"] {
        for brief in [&[][..], &["--brief"]] {
            let text = audit(&sandbox, &[brief, &["--format", format, "--rev", "HEAD"]].concat());
            assert!(plain(&text).contains(&line), "{format} {brief:?}: {line}\n{text}");
        }
    }
    sandbox.write("car.yaml", format!("{MASSES}{WHEELS}"));
    assert_eq!(made(&[])["uncommitted"], true);
    assert!(plain(&audit(&sandbox, &["--brief"])).contains("changes that are not committed, after commit"));
}
