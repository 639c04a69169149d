//! The page in a design meeting: what is asked there is answered by name.

use crate::page::{page, page_of, place, section, text};
use crate::support::{SETTINGS, Sandbox};

/// The page that a meeting on a Monday opens: every finding, what is due in a week by name, results that are older than a
/// change of a safety-critical part, all decisions in one table, and what the targets at risk are worth together.
#[test]
fn the_page_of_a_monday_answers_a_meeting() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let season = sandbox.path_of("car");
    let monday = ["--rev", "HEAD~29", "--on", "2027-04-19"];
    let page = page_of(&sandbox, &season, &monday);
    let check = sandbox.tierod_in(&season, &[&["check", "--format", "json"][..], &monday].concat()).json();
    // Every finding is under the number of them, not only the errors.
    let answer = text(section(&page, "_answer"));
    let findings = check["findings"].as_array().unwrap();
    for check in findings.iter().map(|finding| finding["check"].as_str().unwrap()) {
        assert!(answer.contains(check), "{check} in {answer}");
    }
    assert_eq!(answer.matches("verification-overdue").count(), 9, "{answer}");
    // A result that is older than a change of its part is beside the safety-critical records without a test.
    let unproven = text(section(&page, "_unproven"));
    assert!(unproven.contains("1 with a result from before a change"), "{unproven}");
    // All that was changed is named: what the bolts are before what they weigh.
    let changes = unproven.split_once("changed after the result of 2027-02-27:").unwrap().1;
    let at = |text: &str| changes.find(text).unwrap_or_else(|| panic!("no {text} in {changes}"));
    assert!(at("M8 throughout and M10 in the rear toe links") < at("mass: 1.35 kg → 1.42 kg"), "{changes}");
    assert!(at("mass: 1.35 kg") < at("cost: 410 EUR → 446 EUR") && changes.contains("2027-04-06"), "{changes}");
    // Its own place says so, too.
    let rod_ends = text(place(&page, "rod-end-set"));
    assert!(rod_ends.contains("passed before a change"), "{rod_ends}");
    // What is due in a week is listed whole, and the rest is counted.
    let due = text(section(&page, "_due"));
    let (week, _) = due.split_once("By lead").unwrap();
    assert!(week.contains("9 overdue, 26 due in 7 days, 43 more within 28 days"), "{week}");
    assert_eq!(week.matches("ago").count(), 9, "{week}");
    assert!(week.contains("2027-04-20") && week.contains("2027-04-23") && !week.contains("2027-04-29"), "{week}");
    // All decisions are in one table, with what was known before the choice.
    let decisions = text(section(&page, "_decisions"));
    let (table, rest) = decisions.split_once("Every alternative is put into").unwrap();
    assert!(table.contains("Which engineSingle cylinder, 450 cm3Parallel twin, 650 cm3"), "{table}");
    assert!(table.contains("1 before, 4 after") && table.contains("0 before, 3 after"), "{table}");
    assert!(rest.contains("Analyses are counted before and after the choice."), "{rest}");
    assert!(rest.contains("without results: that car scores 680.6 points"), "{rest}");
    let set = "points of Single cylinder, 450 cm3 are calculated with Mean crank power over the used speeds at 37 kW; \
               it is now 36.1 kW";
    assert!(rest.contains(set), "{rest}");
    // The targets at risk are worth points and chance together.
    let risk = text(section(&page, "_risk"));
    assert!(
        risk.contains(
            "If every target that gains points by it were at its limit: +3.6 points, the chance 79 % → 80 %."
        ),
        "{risk}"
    );
    // In the periods at risk a decision has the day of its choice, not the one on which its record was added.
    assert!(risk.contains("decision Where the exhaust ends (2027-04-12)"), "{risk}");
    // The goal has its own answer in its place.
    let goal = text(place(&page, "first-eight"));
    assert!(goal.contains("place 8 needs 652.4") && !goal.contains("points per pts"), "{goal}");
    // A part without a verification of its own has the status of the target about it.
    let list = text(section(&page, "_records"));
    assert!(list.contains("Rear hub with tripod housing safety-criticalrear-hubpart"), "{list}");
    // Too small an allowance is said, and what passed as planned is folded.
    let estimates = text(section(&page, "_estimates"));
    assert!(estimates.contains("too small for 9 of 10 parts: ") && estimates.contains("24.2 %20.0 %"), "{estimates}");
    assert!(text(section(&page, "_recent")).contains("all 24 that passed as planned"));
}

/// One decision, none, and two: the table of all of them is there from the second on.
#[test]
fn one_decision_has_no_table_of_decisions() {
    for count in 0..3 {
        let decisions: String = (0..count)
            .map(|number| {
                format!("  d{number}: {{title: Choice {number}, criteria: [t], alternatives: {{a: {{}}, b: {{}}}}}}\n")
            })
            .collect();
        let records = format!("targets:\n  t: {{of: car, at-most: 5 kg, estimate: 4 kg}}\ndecisions:\n{decisions}");
        let records = if count == 0 { records.replace("decisions:\n", "") } else { records };
        let sandbox = Sandbox::new();
        sandbox.write("tierod.yaml", SETTINGS);
        sandbox.write("a.yaml", &records);
        let own = section(&page(&sandbox), "_decisions").to_owned();
        assert_eq!(own.contains("<th scope=\"col\">analyses<"), count > 1, "{own}");
        assert_eq!(own.matches("not chosen yet").count(), [0, 1, 4][count], "{own}");
    }
}

/// The page of the season's car on a Monday.
fn monday(sandbox: &Sandbox) -> String {
    sandbox.tierod(&["example", "car"]).ended(0);
    page_of(sandbox, &sandbox.path_of("car"), &["--rev", "HEAD~29", "--on", "2027-04-19"])
}

/// What raises the chance, why the points changed, and what is open: each with a name, and each number with what it is.
#[test]
fn a_meeting_sees_why_the_points_changed_and_what_raises_the_chance() {
    let sandbox = Sandbox::new();
    let page = monday(&sandbox);
    let own = |id: &str| text(section(&page, id));
    // The numbers of points are explained at the head.
    let scores = "Points on this page: 653.0 planned; 679.0 predicted now, with the results of tests; 680.6 the same car by \
                  estimates alone, for decisions and what raises the chance.";
    let answer = own("_answer");
    assert!(answer.contains(scores), "{answer}");
    assert!(answer.contains("At risk, missed or uncertain 7, 1 of them uncertain"), "{answer}");
    // Levers by what they do to the chance: a finish does more to it than its points alone.
    let worth = own("_worth").replace('−', "-");
    assert!(worth.contains("What raises the chance, and the points"), "{worth}");
    let grip = "What 1 % of a value adds to the chance of place 8, 79 % by the estimates alone: Peak side grip of the tyre on the rig";
    assert!(worth.contains(grip), "{worth}");
    let rows = [
        "Peak side grip of the tyre on the rig2.14+3531+7.56+2.48 %",
        "Chance of finishing the endurance90 %+2.54%+2.29+0.79 %",
    ];
    for row in rows {
        assert!(worth.contains(row), "{row} in {worth}");
    }
    // So are the targets that are short.
    let risk = own("_risk").replace('−', "-");
    assert!(
        risk.contains("+1.0 %+2.92026-10-14")
            && risk.contains("to the chance, now 78.6 % with the results of tests, and"),
        "{risk}"
    );
    // A chance without the results is another number, and is named so.
    let both = "by its estimates alone is 79.3 %, and 78.6 % with the results of tests, as in the answer;";
    assert!(worth.contains(both), "{worth}");
    // What each commit changed, the largest first, with the targets whose values it changed.
    let recent = own("_recent").replace('−', "-");
    assert!(recent.contains("points 684.1 → 679.0; chance 81 % → 79 %"), "{recent}");
    let at = |text: &str| recent.find(text).unwrap_or_else(|| panic!("no {text} in {recent}"));
    let first = at("-2.5to 681.680.5 % → 79.6 %Mean efficiency from fuel to crank: 25 % → 24.6 %");
    assert!(first < at("-1.6to 679.079.3 % → 78.6 %Mean efficiency from fuel to crank: 24.6 % → 24.3 %"), "{recent}");
    assert!(recent.contains("Mean crank power over the used speeds: 36.4 kW → 36.1 kW, by Mean from 6500"), "{recent}");
    // Open warnings by name with their lead, also those of what is calculated for a target.
    let open = own("_open");
    assert!(open.contains("Set of 24 rod ends and 8 spherical bearings safety-criticalis out of date"), "{open}");
    let coolant =
        open.split("Coolant temperature in the second stint").nth(1).unwrap().split("powertrain lead").next().unwrap();
    assert!(coolant.contains("Heat balance of the cooling circuit is out of date"), "{open}");
    assert!(coolant.contains("has no verification"), "{open}");
    assert!(open.contains("Of all 23 errors and warnings, 5 are in At risk, missed or uncertain, 9 in Due."), "{open}");
    // Counts say what they count; titles are shown, not ids; and code is code.
    assert!(own("_chain").contains("337 of 345 records (revisions and waivers are in no chain)"));
    assert!(own("_due").contains("Waiver: Noise at the inspection speedwaiver ends"));
    assert!(!answer.contains('`') && !open.contains('`'), "{answer}");
    assert!(section(&page, "_open").contains("changed from <code>1.35 kg</code> to <code>"), "{open}");
}

/// After the contest the score of the place aimed at is on the page if it is recorded; otherwise its estimate says so.
#[test]
fn the_score_of_the_place_is_shown_if_it_is_on_record() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let season = sandbox.path_of("car");
    let answer = || text(section(&page_of(&sandbox, &season, &["--on", "2027-07-20"]), "_answer"));
    let before = answer();
    assert!(
        before.contains("an estimate of 2027-07-20 from earlier contests; what place 8 scored is not recorded"),
        "{before}"
    );
    assert!(before.contains("668.9 predicted before the contest; 689.7 scored; 684.1 the same car"), "{before}");
    // So do the captions; before the contest that is plain.
    let page = page_of(&sandbox, &season, &["--on", "2027-07-20"]);
    assert!(text(section(&page, "_points")).contains("place 8 was estimated to need 652.4"));
    assert!(before.contains("above the 652.4 pts that place 8 was estimated to need"), "{before}");
    let early = page_of(&sandbox, &season, &["--rev", "HEAD~29", "--on", "2027-04-19"]);
    assert!(text(section(&early, "_points")).contains("; place 8 needs 652.4"));
    // A target that a result has missed was at risk for some time, too.
    assert!(text(section(&page, "_risk")).contains("2026-10-14for 219 days"));
    // Of the estimates those of targets that are short and those with a small allowance are shown, the others folded with their
    // number.
    let estimates = section(&page, "_estimates");
    let (first, rest) = estimates.split_once("<details>").unwrap();
    assert_eq!(first.matches("<tr><th scope=\"row\">").count(), 8, "{first}");
    assert!(text(first).contains("timeanalysis5") && text(first).contains("costestimated"), "{first}");
    assert!(text(rest).starts_with("17 more groups of estimates"), "{rest}");
    assert_eq!(rest.matches("<tr><th scope=\"row\">").count(), 17);
    let table = season.join("season/past-standings.csv");
    let mut rows = std::fs::read_to_string(&table).unwrap();
    let columns: Vec<String> = rows.lines().next().unwrap().split(',').map(str::to_owned).collect();
    for place in 1..=10 {
        let cell = |column: &String| match column.as_str() {
            "year" => "2027".to_owned(),
            "place" => place.to_string(),
            "total" => format!("{}.5", 760 - 15 * place),
            _ => "x".to_owned(),
        };
        rows.push_str(&format!("{}\n", columns.iter().map(cell).collect::<Vec<_>>().join(",")));
    }
    std::fs::write(&table, rows).unwrap();
    let after = answer();
    assert!(after.contains("place 8 scored 640.5 points in 2027"), "{after}");
    assert!(!after.contains("an estimate of"), "{after}");
    // Without a value of a target at its limit there is no column for it.
    let risk = text(section(&page_of(&sandbox, &season, &["--on", "2027-07-20"]), "_risk"));
    assert!(!risk.contains("if at the limit"), "{risk}");
}
