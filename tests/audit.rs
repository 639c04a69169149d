//! `audit`: the review of the season, in every output format.

use schema::Kind;

use crate::support::Sandbox;

/// A small car at the end of its season: two events, one target met, one missed, one never verified.
const CAR: &str = r#"
goals:
  place:
    title: "Sixth <b>place</b>"
    points: 100 pts
    reason: The workshop hangs on it.
    lead: team lead
events:
  sprint: {title: Sprint, plan: 60 pts, expect: 55 pts ± 6 pts, lead: dynamics lead, serves: {place: Most points of all.}}
  talk: {title: Talk, plan: 50 pts, expect: 48 pts ± 4 pts, lead: team lead, serves: {place: Points without a car.}}
systems:
  frame: {in: car, lead: frame lead}
targets:
  sprint-time:
    title: "</script><script>alert(1)</script>"
    of: car
    at-most: 4 s
    estimate: 3.9 s ± 0.2 s
    lead: dynamics lead
    serves: {sprint: It is what is timed.}
    verify: {by: test, with: gates, due: 2027-06-01}
  car-mass:
    title: '=HYPERLINK("http://example.org")'
    of: car
    at-most: 100 kg
    total: mass
    lead: team lead
    serves: {sprint: A kilogram costs time.}
    verify: {by: inspection, with: scales, due: 2027-06-01}
  frame-stiffness:
    of: frame
    at-least: 2 kN*m/deg
    estimate: 2.5 kN*m/deg
    serves: {sprint-time: It holds the wheels.}
    verify: {by: test, with: rig, due: 2027-06-01}
requirements:
  belts:
    of: frame
    shall: Hold the belts.
    serves: {talk: Nobody talks of a car that may not run.}
    verify: {by: demonstration, with: a pull, due: 2027-06-01}
parts:
  tube:
    in: frame
    count: 3
    amounts: {mass: {value: 30 kg, basis: estimated}}
    serves: {frame-stiffness: It is the frame.}
results:
  sprint-run: {of: sprint-time, value: 4.1 s, date: 2027-05-01, evidence: [tierod.yaml]}
  scales: {of: car-mass, value: 99 kg, date: 2027-05-02, evidence: [tierod.yaml]}
  pull: {of: belts, outcome: pass, date: 2027-05-03, evidence: [tierod.yaml]}
  sprint-score: {of: sprint, value: 52 pts, date: 2027-07-01, evidence: [tierod.yaml]}
  talk-score: {of: talk, value: 49.5 pts, date: 2027-07-01, evidence: [tierod.yaml]}
"#;

const SETTINGS: &str = "season: 2027\nas-of: 2027-07-20\ngrowth:\n  mass: {estimated: 20 %, weighed: 0 %}\n";

fn car() -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", CAR);
    sandbox
}

#[test]
fn the_figures_are_those_of_the_records() {
    let sandbox = car();
    let audit = sandbox.tierod(&["audit", "--format", "json"]).ended(0).json();
    let goal = &audit["goals"][0];
    assert_eq!(goal["plan"], 110.0);
    assert_eq!(goal["scored"], 101.5);
    assert_eq!(goal["reached"], true);
    // Before the contest: the expected points, which include the results of the tests.
    assert_eq!(goal["predicted"], 103.0);
    assert_eq!(goal["events"][0]["predicted"], 55.0);
    assert_eq!(goal["events"][0]["scored"], 52.0);

    let target =
        |id: &str| audit["targets"].as_array().unwrap().iter().find(|target| target["id"] == id).unwrap().clone();
    let sprint = target("sprint-time");
    assert_eq!(sprint["verdict"], "missed");
    assert_eq!(sprint["estimate"]["value"], 3.9);
    assert_eq!(sprint["result"]["value"], 4.1);
    // At most 4 s: 1 - 4.1/4.
    assert!((sprint["margin"].as_f64().unwrap() + 0.025).abs() < 1e-12);
    let mass = target("car-mass");
    assert_eq!(mass["verdict"], "met");
    // Three times 30 kg with 20 % growth, compared with the 99 kg of the scales.
    assert!((mass["estimate"]["value"].as_f64().unwrap() - 108.0).abs() < 1e-9);
    assert_eq!(mass["evidence"], serde_json::json!(["tierod.yaml"]));
    assert_eq!(target("frame-stiffness")["verdict"], "never verified");

    let line = |method: &str| {
        audit["verification"].as_array().unwrap().iter().find(|line| line["method"] == method).unwrap().clone()
    };
    assert_eq!(
        (&line("test")["planned"], &line("test")["failed"], &line("test")["open"]),
        (&2.into(), &1.into(), &1.into())
    );
    assert_eq!((&line("inspection")["closed"], &line("demonstration")["closed"]), (&1.into(), &1.into()));

    let pairs = audit["predictions"]["pairs"].as_array().unwrap();
    let error = |of: &str| pairs.iter().find(|pair| pair["of"] == of).unwrap()["error"].as_f64().unwrap();
    assert!((error("sprint-time") - (4.1 / 3.9 - 1.0)).abs() < 1e-12);
    assert!((error("car-mass") - (99.0 / 108.0 - 1.0)).abs() < 1e-12);
    assert_eq!(audit["history"]["on"], false, "there is no git here");
    assert!(audit["history"]["note"].as_str().unwrap().contains("git"), "{}", audit["history"]);
}

#[test]
fn the_first_line_says_whether_the_goal_was_reached() {
    let sandbox = car();
    let out = sandbox.tierod(&["audit"]).ended(0).out;
    assert!(out.contains("reached with 101.5 points; the goal is 100.0"), "{out}");
    assert!(out.contains("targets: 1 met, 1 missed, 1 never verified"), "{out}");
    sandbox.write("car.yaml", CAR.replace("value: 52 pts", "value: 42 pts"));
    let out = sandbox.tierod(&["audit"]).ended(0).out;
    assert!(out.contains("not reached with 91.5 points"), "{out}");
    let line = CAR.lines().find(|line| line.contains("talk-score")).unwrap();
    sandbox.write("car.yaml", CAR.replace(line, ""));
    let out = sandbox.tierod(&["audit"]).ended(0).out;
    assert!(out.contains("52.0 points from 1 of 2 events"), "{out}");
}

/// Before the due date a missing result is "not due yet", after it "never verified".
#[test]
fn what_is_not_due_yet_is_listed_separately() {
    let sandbox = car();
    let results = CAR.split_once("results:").unwrap().0;
    sandbox.write("car.yaml", results);
    let audit = |day: &str| sandbox.tierod(&["audit", "--on", day]).ended(0).out;
    assert!(audit("2027-05-02").contains("targets: 0 met, 0 missed, 0 never verified, 3 not due yet\n"));
    assert!(audit("2027-06-01").contains("not due yet\n  sprint-time "), "the day itself is in time");
    let out = audit("2027-06-02");
    assert!(out.contains("targets: 0 met, 0 missed, 3 never verified\n"), "{out}");
    assert!(out.contains("never verified\n  sprint-time "), "{out}");
    let page = sandbox.tierod(&["audit", "--on", "2027-05-02", "--format", "html"]).ended(0).out;
    assert!(page.contains("<option>not due yet</option>") && page.contains(", 3 not due yet</td>"));
    let text = sandbox.tierod(&["audit", "--on", "2027-05-02", "--format", "markdown"]).ended(0).out;
    assert!(text.contains("0 never verified, 3 not due yet"), "{text}");
}

/// A limit that changed after a result is marked, with a revision or without; one that changed before is not.
#[test]
fn a_limit_that_changes_after_its_result_is_marked() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    let results = CAR.split_once("results:").unwrap().0;
    sandbox.write("car.yaml", results);
    sandbox.commit_on("2027-03-01", "Set targets");
    sandbox.write("car.yaml", results.replace("at-most: 100 kg", "at-most: 101 kg"));
    sandbox.commit_on("2027-04-01", "Move the mass");
    sandbox.write("car.yaml", CAR.replace("at-most: 100 kg", "at-most: 101 kg"));
    sandbox.commit_on("2027-05-04", "Measure");
    let revision = "revisions:\n  later: {of: sprint-time, from: 4 s, to: 4.2 s, date: 2027-05-05, agreed-by: lead, reason: The gates stand further.}\n";
    let moved = CAR.replace("at-most: 100 kg", "at-most: 101 kg").replace("at-most: 4 s", "at-most: 4.2 s");
    sandbox.write("car.yaml", moved + revision);
    sandbox.commit_on("2027-05-06", "Move the time");
    let out = sandbox.tierod(&["audit"]).ended(0).out;
    let line = |id: &str| out.lines().find(|line| line.trim_start().starts_with(id)).unwrap().to_owned();
    assert!(line("sprint-time").ends_with("1 revision"), "{out}");
    assert!(out.contains("  limits set or changed after a result: sprint-time\n"), "{out}");
    assert!(line("car-mass").ends_with("1 without revision"), "{out}");
    let audit = sandbox.tierod(&["audit", "--format", "json"]).ended(0).json();
    let marks = |id: &str| {
        let target = audit["targets"].as_array().unwrap().iter().find(|target| target["id"] == id).unwrap();
        let steps = target["limits"].as_array().unwrap().iter();
        steps.map(|step| step["after_result"].as_bool().unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(marks("sprint-time"), [false, true]);
    assert_eq!(marks("car-mass"), [false, false]);
}

/// A revision that was edited to fit after the limit changed records nothing, in the audit and in the checks.
#[test]
fn a_revision_that_was_edited_later_records_nothing() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    let car = CAR.split_once("results:").unwrap().0;
    let moved = car.replace("at-most: 100 kg", "at-most: 101 kg");
    let revision = |to: &str| {
        format!(
            "revisions:\n  more: {{of: car-mass, from: 100 kg, to: {to}, date: 2027-04-01, agreed-by: lead, reason: The frame.}}\n"
        )
    };
    let states = [
        ("2027-03-01", car.to_owned()),
        ("2027-04-01", moved.clone() + &revision("110 kg")),
        ("2027-04-02", moved + &revision("101 kg")),
    ];
    for (day, records) in states {
        sandbox.write("car.yaml", records);
        sandbox.commit_on(day, "Go on");
    }
    let out = sandbox.tierod(&["audit"]).ended(0).out;
    assert!(
        out.lines().any(|line| line.trim_start().starts_with("car-mass") && line.ends_with("1 without revision")),
        "{out}"
    );
    let out = sandbox.tierod(&["check", "--format", "lines"]).ended(0).out;
    assert!(out.contains("revision more was edited to this limit later, on 2027-04-02"), "{out}");
}

/// A range of which one end changed, and a limit that was first set after its result, in every output format.
#[test]
fn ranges_and_first_limits_are_included() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    let states = [
        (
            "2027-03-01",
            CAR.replace("at-least: 2 kN*m/deg", "between: [2 kN*m/deg, 3 kN*m/deg]").replace("    at-most: 4 s\n", ""),
        ),
        ("2027-05-10", CAR.replace("at-least: 2 kN*m/deg", "between: [2 kN*m/deg, 4 kN*m/deg]")),
    ];
    for (day, records) in states {
        sandbox.write("car.yaml", records);
        sandbox.commit_on(day, "Go on");
    }
    let form = |name: &str| sandbox.tierod(&["audit", "--format", name]).ended(0).out;
    let audit: serde_json::Value = serde_json::from_str(&form("json")).unwrap();
    let limits = |id: &str| {
        let target = audit["targets"].as_array().unwrap().iter().find(|target| target["id"] == id).unwrap();
        target["limits"]
            .as_array()
            .unwrap()
            .iter()
            .map(|step| (step["recorded"].as_bool().unwrap(), step["after_result"].as_bool().unwrap()))
            .collect::<Vec<_>>()
    };
    assert_eq!(limits("frame-stiffness"), [(true, false), (false, false)]);
    assert_eq!(limits("sprint-time"), [(true, true)]);
    let markdown = form("markdown");
    assert!(markdown.contains("- 2027-05-10 `sprint-time` at most 4 s: first set, **after a result**"), "{markdown}");
    assert!(
        markdown.contains(
            "- 2027-05-10 `frame-stiffness` 2 kN\\*m/deg to 3 kN\\*m/deg → 2 kN\\*m/deg to 4 kN\\*m/deg: **no revision**"
        ),
        "{markdown}"
    );
    assert!(form("html").contains("first set<br><span class=\"small-print\">after a result</span>"));
}

/// After the points are scored, the worth of a kilogram is calculated from the estimates and is not zero.
#[test]
fn results_do_not_set_the_worth_of_a_value_to_zero() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    let scored = "reads: {time: sprint-time}, score: {formula: 60 pts - 5 pts/s * (time - 3 s)}";
    let car = CAR.replace("expect: 55 pts ± 6 pts", scored);
    let car = car.replace("estimate: 3.9 s ± 0.2 s", "formula: 3 s + car-mass * 0.01 s/kg");
    let worth = |records: &str| {
        sandbox.write("car.yaml", records);
        sandbox.tierod(&["worth", "car.mass", "--format", "json"]).ended(0).json()
    };
    let before = worth(car.split_once("results:").unwrap().0);
    // Five points per second, and 0.01 s per kilogram.
    assert!((before["values"][0]["points_per_unit"].as_f64().unwrap() + 0.05).abs() < 1e-9, "{before}");
    assert_eq!(before["results_ignored"], 0);
    let after = worth(&car);
    assert_eq!(after["values"], before["values"]);
    assert_eq!(after["results_ignored"], 4);
    let out = sandbox.tierod(&["worth"]).ended(0).out;
    assert!(out.contains("4 results ignored (estimates used)"), "{out}");
}

#[test]
fn hostile_titles_stay_text_in_the_page() {
    let sandbox = car();
    let page = sandbox.tierod(&["audit", "--format", "html"]).ended(0).out;
    assert_eq!(page.matches("<script").count(), 2, "the data and the script of the page, and no other");
    assert_eq!(page.matches("</script>").count(), 2);
    assert!(!page.contains("<script>alert"), "no title became a script");
    let policy = page.split("Content-Security-Policy\" content=\"").nth(1).unwrap().split('"').next().unwrap();
    assert!(policy.contains("script-src 'sha256-") && policy.matches("unsafe-inline").count() == 1, "{policy}");
    assert!(page.contains("&lt;b&gt;place") && !page.contains("<b>place"));
    for outside in ["http://", "https://", " src=", "@import", "url("] {
        // A title may contain an address as escaped text; the page itself requests none.
        let requests = page.lines().filter(|line| line.contains(outside) && !line.contains("HYPERLINK")).count();
        assert_eq!(requests, 0, "{outside}");
    }
    let data = page.split("id=\"data\">").nth(1).unwrap().split("</script>").next().unwrap();
    let data: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!(data["sprint-time"]["title"], "</script><script>alert(1)</script>", "and the data is complete");
    assert_eq!(data["tube"]["up"][0][0], "frame-stiffness");
}

#[test]
fn a_title_is_not_a_formula_in_a_spreadsheet() {
    let sandbox = car();
    let table = sandbox.tierod(&["audit", "--format", "csv"]).ended(0).out;
    let line = table.lines().find(|line| line.starts_with("car-mass")).unwrap();
    assert!(line.starts_with(r#"car-mass,"'=HYPERLINK(""http://example.org"")",car,"#), "{line}");
    let events = sandbox.tierod(&["audit", "--format", "csv", "--table", "events"]).ended(0).out;
    assert_eq!(events.lines().nth(1), Some("sprint,Sprint,60.0,55.0,6.0,49.0,61.0,52.0"));
    assert_eq!(sandbox.tierod(&["audit", "--format", "csv", "--table", "nothing"]).code, 2);
}

#[test]
fn every_format_ends_with_the_status_of_check() {
    let sandbox = car();
    for broken in [false, true] {
        if broken {
            sandbox.write("more.yaml", "parts: {bolt: {in: nowhere, serves: {frame-stiffness: It holds.}}}");
        }
        let status = sandbox.tierod(&["check"]).code;
        assert_eq!(status, i32::from(broken));
        for form in ["terminal", "markdown", "json", "csv", "html"] {
            assert_eq!(sandbox.tierod(&["audit", "--format", form]).code, status, "{form}");
        }
        sandbox.tierod(&["audit", "--context"]).ended(status);
    }
}

#[test]
fn a_team_can_use_its_own_page() {
    let sandbox = car();
    sandbox.write("templates/audit.html", "<p>{{ goals[0].title }}: {{ shown.met }}</p>\n");
    assert_eq!(
        sandbox.tierod(&["audit", "--format", "html"]).ended(0).out,
        "<p>Sixth &lt;b&gt;place&lt;&#x2f;b&gt;: 1</p>\n"
    );
    sandbox.write("templates/audit.html", "<p>\n{{ nothing.at.all }}</p>\n");
    let answer = sandbox.tierod(&["audit", "--format", "html"]).ended(2);
    assert!(answer.err.contains("audit.html:2") && answer.err.contains("--context"), "{}", answer.err);
}

#[test]
fn an_empty_root_is_reported_without_a_failure() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", "");
    for form in ["terminal", "markdown", "json", "csv", "html"] {
        sandbox.tierod(&["audit", "--format", form]).ended(0);
    }
}

/// The table of verifications counts every kind that may have one, and its caption names them.
#[test]
fn kinds_in_the_caption_of_verifications() {
    let kinds = Kind::ALL.iter().filter(|kind| kind.needs_verification(false)).map(|kind| kind.plural());
    let mut names = kinds.collect::<Vec<_>>().join(", ");
    let last = names.rfind(", ").unwrap();
    names.replace_range(last..last + 2, " and ");
    names[..1].make_ascii_uppercase();
    let caption = format!("<caption>{names} with a verification</caption>");
    assert!(include_str!("../templates/audit.html").contains(&caption), "{caption}");
}
