//! What stops a commit or a request: new findings, and what is only worse, postponed or a change of the rules.

use serde_json::{Value, json};

use crate::support::{Answer, CHAIN, SETTINGS, Sandbox};

/// A project without findings, on a branch, with the hook installed.
pub(crate) fn project() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "start");
    sandbox.tierod(&["hook", "install"]).ended(0);
    sandbox
}

/// The same in the test stage.
fn in_the_test_stage() -> Sandbox {
    let sandbox = project();
    sandbox.write("tierod.yaml", SETTINGS.replace("as-of: 2027-03-19", "as-of: 2027-05-19"));
    force(&sandbox, "the test stage begins");
    sandbox
}

/// Commits everything; the hook runs.
#[track_caller]
pub(crate) fn commit(sandbox: &Sandbox, message: &str) -> Answer {
    sandbox.git(&["add", "-A"]);
    Answer::from_output(&sandbox.command("git", &sandbox.path()).args(["commit", "-qm", message]).output().unwrap())
}

/// Commits everything past the hook.
#[track_caller]
pub(crate) fn force(sandbox: &Sandbox, message: &str) {
    sandbox.git(&["add", "-A"]);
    sandbox.git(&["commit", "-q", "--no-verify", "-m", message]);
}

/// A part in a system.
pub(crate) fn part(id: &str, system: &str) -> String {
    format!(
        "  {id}:\n    in: {system}\n    serves: {{circle-time: It holds {id} in place.}}\n    lead: suspension lead\n    \
         verify: {{by: inspection, with: gauge, due: 2027-06-01}}\n"
    )
}

/// `check record` of each finding in a list.
pub(crate) fn names(list: &Value) -> Vec<String> {
    let text = |one: &Value| one.as_str().unwrap_or("-").to_owned();
    list.as_array().unwrap().iter().map(|one| text(&one["check"]) + " " + &text(&one["record"])).collect()
}

#[track_caller]
pub(crate) fn delta(sandbox: &Sandbox, base: &str, code: i32) -> Value {
    sandbox.tierod(&["delta", base, "HEAD", "--format", "json"]).ended(code).json()
}

/// A mass budget that is over by 0.5 kg.
const OVER: &str = "\
targets:
  suspension-mass: {of: suspension, at-most: 3.5 kg, total: mass, lead: suspension lead,
    serves: {circle-time: A light axle is fast.}, verify: {by: test, with: scale, due: 2027-06-01}}
";

fn with_mass(kg: &str) -> String {
    "parts:\n".to_owned()
        + &part("arm", "suspension")
            .replace("    lead", &format!("    amounts: {{mass: {{value: {kg} kg, basis: weighed}}}}\n    lead"))
}

#[test]
fn what_is_worse_is_shown_with_its_unit() {
    let sandbox = project();
    sandbox.write("budget.yaml", OVER);
    sandbox.write("arm.yaml", with_mass("4"));
    force(&sandbox, "over already");
    sandbox.write("arm.yaml", with_mass("40"));
    let answer = commit(&sandbox, "heavier");
    let said = answer.out + &answer.err;
    assert_eq!(answer.code, 0, "worse does not stop: {said}");
    assert!(said.contains("worse findings (1)") && said.contains("0.5 kg") && said.contains("36.5 kg"), "{said}");
    let json = delta(&sandbox, "HEAD~1", 0);
    assert_eq!((&json["new"], names(&json["worse"])), (&json!([]), vec!["over-budget suspension-mass".to_owned()]));
    assert_eq!(json["worse"][0]["before"], json!({"value": 0.5, "unit": "kg"}));
    assert_eq!(json["worse"][0]["measure"], json!({"value": 36.5, "unit": "kg"}));
    let markdown = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "markdown"]).ended(0).out;
    let markdown = markdown.replace('\u{202f}', " ");
    assert!(markdown.contains("1 finding worse") && markdown.contains("| 0.5 kg | 36.5 kg |"), "{markdown}");
    let back = sandbox.tierod(&["delta", "HEAD", "HEAD~1", "--format", "json"]).ended(0).json();
    assert_eq!((&back["worse"], names(&back["better"])), (&json!([]), vec!["over-budget suspension-mass".to_owned()]));
    // Less than half of the last digit.
    sandbox.write("arm.yaml", with_mass("40.004"));
    force(&sandbox, "a little heavier");
    assert_eq!(delta(&sandbox, "HEAD~1", 0)["worse"], json!([]));
    // The mass that was hidden by a broken file made nothing worse.
    let rod = with_mass("1").replace("arm", "rod");
    sandbox.write("rod.yaml", rod.clone() + "\"");
    force(&sandbox, "broken");
    sandbox.write("rod.yaml", rod);
    force(&sandbox, "repaired");
    assert_eq!(delta(&sandbox, "HEAD~1", 0)["worse"], json!([]));
}

#[test]
fn bad_news_that_is_recorded_stops_nothing() {
    let sandbox = in_the_test_stage();
    sandbox.write(
        "brakes.yaml",
        "requirements:\n  brake-test: {of: car, lead: brakes lead, serves: {circle-time: Only a car that stops may start.},\n    \
         verify: {by: test, with: brake test, due: 2027-06-10}}\n",
    );
    force(&sandbox, "planned");
    sandbox.write("evidence.txt", "lap times\n");
    let failed = "results:\n  brake-test-may: {of: brake-test, outcome: fail, date: 2027-05-18, evidence: [evidence.txt]}\n  \
                  slow-run: {of: circle-time, value: 5.4 s, date: 2027-05-18, evidence: [evidence.txt]}\n";
    sandbox.write("results.yaml", failed);
    let answer = commit(&sandbox, "a failed test and a slow run");
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    let json = delta(&sandbox, "HEAD~1", 0);
    assert_eq!(names(&json["new"]), ["target-missed brake-test", "target-missed circle-time"]);
    assert!(json["new"].as_array().unwrap().iter().all(|one| one["level"] == "error" && one["about"] == "car"));
    assert_eq!(json["stops"], json!([]));
    let text = sandbox.tierod(&["delta", "HEAD~1", "HEAD"]).ended(0).out;
    assert!(
        text.contains("a new result shows it") && text.contains("none of the new errors stops the request"),
        "{text}"
    );
    sandbox.tierod(&["check"]).ended(1);
    // A result that is made worse afterwards, and a limit that is tightened under it, are no new results.
    sandbox.write("results.yaml", failed.replace("5.4 s", "5.1 s"));
    force(&sandbox, "as if it were met");
    sandbox.write("chain.yaml", CHAIN.replace("at-most: 5.2 s", "at-most: 5.0 s"));
    assert_eq!(commit(&sandbox, "tightened").code, 0, "the commit: it is about the car");
    assert_eq!(names(&delta(&sandbox, "HEAD~1", 1)["new"])[0], "target-missed circle-time");
}

#[test]
fn the_settings_say_what_stops() {
    for (stops, expected) in [
        ("", (0, 1)),
        ("stops: {commit: all}\n", (1, 1)),
        ("stops: {request: records}\n", (0, 0)),
        ("stops: {commit: all, request: records}\n", (1, 0)),
    ] {
        let sandbox = project();
        sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{over-budget: error}}\n{stops}"));
        sandbox.write("budget.yaml", OVER);
        sandbox.write("arm.yaml", with_mass("3"));
        force(&sandbox, "within the budget");
        sandbox.write("arm.yaml", with_mass("4"));
        let code = commit(&sandbox, "over").code;
        // If the hook let it through, this commit is empty.
        sandbox.git(&["commit", "-q", "--no-verify", "--allow-empty", "-m", "in any case"]);
        let request = sandbox.tierod(&["delta", ":/within the budget", "HEAD"]).code;
        assert_eq!((code, request), expected, "{stops}");
    }
    let sandbox = project();
    sandbox.write("tierod.yaml", format!("{SETTINGS}stops: {{commit: everything, requests: all}}\n"));
    let json = sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
    assert_eq!(names(&json["findings"]), ["bad-value -", "unknown-key -"]);
    // A change that weakens the gate is judged by the gate that was there.
    sandbox.write("tierod.yaml", format!("{SETTINGS}stops: {{request: records}}\nlevels: {{over-budget: error}}\n"));
    sandbox.write("budget.yaml", OVER);
    sandbox.write("arm.yaml", with_mass("3"));
    force(&sandbox, "stops less");
    let json = delta(&sandbox, "HEAD~1", 0);
    let keys: Vec<&str> = json["settings"].as_array().unwrap().iter().map(|one| one["key"].as_str().unwrap()).collect();
    assert_eq!(keys, ["levels.over-budget", "stops.request"]);
}

#[test]
fn new_is_what_no_parent_of_a_merge_has() {
    let sandbox = project();
    sandbox.write("shared.yaml", "parts:\n".to_owned() + &part("shared", "suspension"));
    force(&sandbox, "shared");
    sandbox.git(&["checkout", "-qb", "feature"]);
    sandbox.write("shared.yaml", "parts:\n".to_owned() + &part("shared", "suspension").replace("gauge", "caliper"));
    force(&sandbox, "mine");
    sandbox.git(&["checkout", "-q", "main"]);
    sandbox.write("broken.yaml", "parts:\n".to_owned() + &part("theirs", "nowhere"));
    sandbox.write("shared.yaml", "parts:\n".to_owned() + &part("shared", "suspension").replace("gauge", "ruler"));
    force(&sandbox, "main is broken");
    sandbox.git(&["checkout", "-q", "feature"]);
    let merge = sandbox.command("git", &sandbox.path()).args(["merge", "-q", "main"]).output().unwrap();
    assert!(!merge.status.success(), "a conflict");
    // The conflict is resolved, and nothing else is broken.
    sandbox.write("shared.yaml", "parts:\n".to_owned() + &part("shared", "suspension").replace("gauge", "laser"));
    sandbox.git(&["add", "-A"]);
    let json = sandbox.tierod(&["check", "--staged", "--format", "json"]).ended(0).json();
    assert_eq!((&json["findings"], &json["summary"]["as_before"]["error"]), (&json!([]), &json!(1)));
    // What is broken in resolving it is new.
    sandbox.write("shared.yaml", "parts:\n".to_owned() + &part("shared", "elsewhere"));
    assert_eq!(commit(&sandbox, "resolved wrongly").code, 1);
    sandbox.write("shared.yaml", "parts:\n".to_owned() + &part("shared", "suspension").replace("gauge", "laser"));
    let answer = commit(&sandbox, "resolved");
    assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
    // The base that is asked for is kept: to the first parent, main's error is new.
    assert_eq!(names(&delta(&sandbox, "HEAD^1", 1)["new"]), ["unknown-reference theirs"]);
    assert_eq!(delta(&sandbox, "HEAD^2", 0)["new"], json!([]));
}

#[test]
fn a_clean_merge_is_compared_with_both_sides_by_the_hook_of_merges() {
    let sandbox = project();
    std::fs::copy(sandbox.path_of(".git/hooks/pre-commit"), sandbox.path_of(".git/hooks/pre-merge-commit")).unwrap();
    let branch = |name: &str, file: &str, content: String| {
        sandbox.git(&["checkout", "-qb", name, "main"]);
        sandbox.write(file, content);
        force(&sandbox, name);
    };
    branch("one", "one.yaml", "parts:\n".to_owned() + &part("tilt", "suspension"));
    branch("two", "two.yaml", "parts:\n".to_owned() + &part("tilt", "suspension"));
    branch("broken", "three.yaml", "parts:\n".to_owned() + &part("fin", "nowhere"));
    branch("mine", "four.yaml", "parts:\n".to_owned() + &part("rim", "suspension"));
    let merge = |name: &str| {
        let args = ["merge", "-q", "--no-edit", name];
        Answer::from_output(&sandbox.command("git", &sandbox.path()).args(args).output().unwrap())
    };
    let broken = merge("broken");
    assert_eq!(broken.code, 0, "the error of the other side is not new: {}{}", broken.out, broken.err);
    assert_eq!(merge("one").code, 0);
    let both = merge("two");
    let said = both.out + &both.err;
    assert!(both.code != 0 && said.contains("duplicate-id") && !said.contains("fin"), "{said}");
}

/// Two branches of 2 kg each against a limit of 3.5 kg.
#[test]
fn a_merge_can_exceed_a_budget_that_both_sides_meet() {
    for (stops, expected) in [("", 0), ("stops: {commit: all}\n", 1)] {
        let sandbox = project();
        std::fs::copy(sandbox.path_of(".git/hooks/pre-commit"), sandbox.path_of(".git/hooks/pre-merge-commit"))
            .unwrap();
        sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{over-budget: error}}\n{stops}"));
        sandbox.write("budget.yaml", OVER);
        force(&sandbox, "budget");
        for name in ["one", "two"] {
            sandbox.git(&["checkout", "-qb", name, "main"]);
            sandbox.write(&format!("{name}.yaml"), with_mass("2").replace("arm", name));
            let answer = commit(&sandbox, name);
            assert_eq!(answer.code, 0, "{}{}", answer.out, answer.err);
        }
        let args = ["merge", "--no-edit", "one"];
        let merge = Answer::from_output(&sandbox.command("git", &sandbox.path()).args(args).output().unwrap());
        let said = merge.out + &merge.err;
        assert_eq!(i32::from(merge.code != 0), expected, "{said}");
        assert!(said.contains("0.5 kg over its limit"), "{said}");
        let is_shown = said.contains("none of the new errors stops the commit");
        assert_eq!(is_shown, expected == 0, "{said}");
    }
}

#[test]
fn switching_a_check_off_fixes_nothing() {
    let sandbox = in_the_test_stage();
    sandbox.write("evidence.txt", "lap times\n");
    sandbox.write(
        "results.yaml",
        "results:\n  slow-run: {of: circle-time, value: 5.4 s, date: 2027-05-18, evidence: [evidence.txt]}\n",
    );
    force(&sandbox, "missed");
    let settings = std::fs::read_to_string(sandbox.path_of("tierod.yaml")).unwrap();
    sandbox.write("tierod.yaml", settings.clone() + "levels: {target-missed: off, points-short: off}\n");
    force(&sandbox, "off");
    let json = delta(&sandbox, "HEAD~1", 0);
    assert_eq!((&json["fixed"], &json["new"]), (&json!([]), &json!([])));
    let rule = |key: &str, before: Value, after: Value, hidden: usize| json!({"key": key, "before": before, "after": after, "hidden": hidden});
    let expected = json!([
        rule("levels.points-short", Value::Null, "off".into(), 0),
        rule("levels.target-missed", Value::Null, "off".into(), 1)
    ]);
    assert_eq!(json["settings"], expected);
    let text = sandbox.tierod(&["delta", "HEAD~1", "HEAD"]).ended(0).out;
    assert!(text.contains("changed rules (2)") && text.contains("1 finding no longer reported"), "{text}");
    assert!(!text.contains("fixed findings"), "{text}");
    let markdown = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", "markdown"]).ended(0).out;
    assert!(markdown.contains("| `levels.target-missed` | not set | off | **1** |"), "{markdown}");
    // An error that comes in together with `off` is new.
    sandbox.write("tierod.yaml", settings.clone() + "levels: {no-verification: off}\n");
    sandbox.write("bare.yaml", "parts:\n  bare: {in: suspension, serves: {circle-time: It holds the bare end.}}\n");
    let answer = commit(&sandbox, "off, and needed");
    assert_eq!(answer.code, 1, "{}{}", answer.out, answer.err);
    assert!(answer.out.contains("changed rules") || answer.err.contains("changed rules"), "{}", answer.out);
    // A stricter level makes nothing new.
    sandbox.git(&["reset", "-q", "--hard"]);
    sandbox.write("tierod.yaml", settings + "levels: {excess-margin: error, no-lead: error}\n");
    sandbox.write("bare.yaml", "");
    assert_eq!(commit(&sandbox, "stricter").code, 0);
}

#[test]
fn every_kind_of_rule_is_shown() {
    let sandbox = project();
    sandbox.write("tierod.yaml", format!("{SETTINGS}currency: EUR\nrates: {{USD: 0.92 EUR}}\n"));
    sandbox.write("bare.yaml", "parts:\n  bare: {in: suspension, serves: {circle-time: It holds the bare end.}}\n");
    sandbox.write("old/part.yaml", "parts:\n".to_owned() + &part("old-part", "nowhere"));
    force(&sandbox, "before");
    let settings =
        SETTINGS.replace("build: 2027-04-30", "build: 2027-05-10").replace("estimated: 20 %", "estimated: 10 %");
    let settings = settings.replace("weighed: 0 %", "weighed: 0.0 %");
    sandbox.write(
        "tierod.yaml",
        settings + "currency: EUR\nrates: {USD: 0.8 EUR}\nignore: [old/**]\nstops: {commit: all}\nhistory: off\n",
    );
    sandbox.write("templates/delta.md", "ours\n");
    sandbox.write(
        "waivers.yaml",
        "waivers:\n  bare-for-now: {check: no-verification, of: bare, until: 2027-05-01, agreed-by: chief engineer, reason: The gauge is lent out.}\n",
    );
    force(&sandbox, "after");
    let json = delta(&sandbox, "HEAD~1", 0);
    let rules: Vec<String> = json["settings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|rule| {
            format!("{} {} {} {}", rule["key"].as_str().unwrap(), rule["before"], rule["after"], rule["hidden"])
        })
        .collect();
    assert_eq!(
        rules.iter().map(|rule| rule.replace('"', "")).collect::<Vec<_>>(),
        [
            "growth.mass.estimated 20 % 10 % 0".to_owned(),
            "history null off 0".to_owned(),
            "ignore null old/** 1".to_owned(),
            "rates.USD 0.92 EUR 0.8 EUR 0".to_owned(),
            "stages.build 2027-04-30 2027-05-10 0".to_owned(),
            "stops.commit null all 0".to_owned(),
            format!("templates/delta.md null {} 0", json["settings"][6]["after"].as_str().unwrap_or_default()),
            "waivers.bare-for-now null no-verification of bare until 2027-05-01, agreed by chief engineer 1".to_owned(),
        ]
    );
    // Only the waived finding is in `fixed`, with its waiver.
    assert_eq!(names(&json["fixed"]), ["no-verification bare"]);
    assert_eq!(json["fixed"][0]["waiver"], "bare-for-now");
    sandbox.write("templates/delta.md", "");
    let text = sandbox.tierod(&["delta", "HEAD~1", "HEAD"]).ended(0).out;
    assert!(text.contains("findings that a waiver now accepts (1)") && !text.contains("fixed findings"), "{text}");
    // The other direction: the waiver is removed.
    let back = sandbox.tierod(&["delta", "HEAD", "HEAD~1", "--format", "json"]).json();
    assert!(names(&back["new"]).contains(&"no-verification bare".to_owned()), "{back}");
}

#[test]
fn a_due_date_that_is_moved_is_postponed_not_fixed() {
    let sandbox = project();
    let hub = CHAIN.replace("gauge, due: 2027-06-01", "gauge, due: 2027-02-01");
    sandbox.write("chain.yaml", &hub);
    force(&sandbox, "overdue");
    sandbox.write("chain.yaml", hub.replace("gauge, due: 2027-02-01", "gauge, due: 2027-06-01"));
    let answer = commit(&sandbox, "moved by four months");
    let said = answer.out + &answer.err;
    assert!(answer.code == 0 && said.contains("postponed verifications (1)"), "{said}");
    let json = delta(&sandbox, "HEAD~1", 0);
    assert_eq!(json["fixed"], json!([]));
    assert_eq!(json["postponed"], json!([{"id": "hub", "before": "2027-02-01", "after": "2027-06-01"}]));
    for format in ["terminal", "markdown"] {
        let text = sandbox.tierod(&["delta", "HEAD~1", "HEAD", "--format", format]).ended(0).out;
        assert!(text.to_lowercase().contains("postponed") && text.contains("2027-06-01"), "{text}");
        assert!(!text.contains("ixed findings (") && !text.contains("1 finding fixed"), "{text}");
    }
    // Still late, but less: that is not better.
    let back = sandbox.tierod(&["delta", "HEAD", "HEAD~1", "--format", "json"]).ended(0).json();
    assert_eq!((names(&back["new"]), &back["postponed"]), (vec!["verification-overdue hub".to_owned()], &json!([])));
    sandbox.write("chain.yaml", hub.replace("gauge, due: 2027-02-01", "gauge, due: 2027-03-01"));
    force(&sandbox, "less late");
    let json = delta(&sandbox, "HEAD~2", 0);
    assert_eq!((&json["better"], &json["postponed"][0]["after"]), (&json!([]), &json!("2027-03-01")));
    // With a result it is fixed; without a due date it is postponed.
    sandbox.write("chain.yaml", hub.replace(", due: 2027-02-01", ""));
    force(&sandbox, "no date");
    assert_eq!(delta(&sandbox, "HEAD~3", 0)["postponed"][0]["after"], Value::Null);
    sandbox.write("chain.yaml", &hub);
    sandbox.write(
        "results.yaml",
        "results:\n  hub-gauged: {of: hub, outcome: pass, date: 2027-03-10, evidence: [chain.yaml]}\n",
    );
    force(&sandbox, "gauged");
    let json = delta(&sandbox, "HEAD~4", 0);
    assert_eq!((names(&json["fixed"]), &json["postponed"]), (vec!["verification-overdue hub".to_owned()], &json!([])));
}

#[test]
fn every_check_says_what_it_is_about() {
    let sandbox = Sandbox::new();
    let all = sandbox.tierod(&["explain", "--format", "json"]).ended(0).json();
    let about: Vec<(&str, &str)> = all["checks"]
        .as_array()
        .unwrap()
        .iter()
        .map(|check| (check["check"].as_str().unwrap(), check["about"].as_str().unwrap()))
        .collect();
    let of = |name: &str| about.iter().find(|(check, _)| *check == name).unwrap().1;
    for car in [
        "over-budget",
        "target-missed",
        "target-at-risk",
        "points-short",
        "plan-short",
        "plan-above-targets",
        "verification-overdue",
        "no-estimate",
        "no-action",
    ] {
        assert_eq!(of(car), "car", "{car}");
    }
    for records in ["unreadable-file", "duplicate-id", "unknown-reference", "no-reason", "unrecorded-revision"] {
        assert_eq!(of(records), "records", "{records}");
    }
    let text = sandbox.tierod(&["explain", "over-budget"]).ended(0).out;
    assert!(text.contains("about  the car"), "{text}");
    let text = sandbox.tierod(&["explain", "duplicate-id"]).ended(0).out;
    assert!(text.contains("about  the records"), "{text}");
}
