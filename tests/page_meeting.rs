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
    assert!(unproven.contains("rod-end-set.mass changed from `1.35 kg` to `1.42 kg`"), "{unproven}");
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
    assert!(table.contains("1 of 5") && table.contains("0 of 3"), "{table}");
    assert!(rest.contains("without results: that car scores 680.6 points"), "{rest}");
    assert!(rest.contains("alternative single was chosen with crank-power at 37 kW; it is now 36.1 kW"), "{rest}");
    // The targets at risk are worth points and chance together.
    let risk = text(section(&page, "_risk"));
    assert!(risk.contains("With each of them at its limit: +3.6 points, the chance 79 % → 80 %."), "{risk}");
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
    assert!(estimates.contains("mass estimated: 20.0 % used, 24.2 % needed"), "{estimates}");
    assert!(text(section(&page, "_recent")).contains("24 passed as planned"));
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
        assert_eq!(own.contains("analyses before it"), count > 1, "{own}");
        assert_eq!(own.matches("not chosen yet").count(), [0, 1, 4][count], "{own}");
    }
}
