//! The lists of the page of what is left to do: safety-critical records without a passed test, and what is due.

use crate::page::{page, section, text};
use crate::support::{SETTINGS, Sandbox};

/// What people's safety depends on stays in the list until a test, a demonstration or an inspection has passed.
#[test]
fn safety_critical_records_are_listed_until_a_test_has_passed() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    let records = |results: &str| {
        format!(
            "systems:\n  s: {{in: car, lead: chassis lead}}\nparts:\n  hoop: {{title: Main hoop, in: s, safety-critical: true}}\n  \
             pedal: {{title: Brake pedal, in: s, safety-critical: true, verify: {{by: test, with: 2000 N, due: 2027-03-01}}}}\n\
             targets:\n  hoop-safety: {{title: Safety of the hoop, of: hoop, at-least: 2, safety-critical: true, \
             verify: [{{by: analysis, with: finite elements}}, {{by: test, with: load, due: 2027-04-01}}]}}\nresults:\n{results}"
        )
    };
    let listed = |results: &str| {
        sandbox.write("car.yaml", records(results));
        let page = page(&sandbox);
        let own = section(&page, "_unproven").to_owned();
        let ids: Vec<String> = own
            .split("<th scope=\"row\"><a href=\"#")
            .skip(1)
            .map(|row| row.split('"').next().unwrap().to_owned())
            .collect();
        (ids, text(&own))
    };
    let analysed = "  calc: {of: hoop-safety, value: 2.4, by: analysis, date: 2027-03-01, evidence: [car.yaml]}\n";
    let (ids, shown) = listed(analysed);
    // The hoop itself is verified by the target that is about it, so it is proven when that is.
    assert_eq!(ids, ["hoop-safety", "hoop", "pedal"]);
    assert!(shown.contains("overdue") && shown.contains("no result yet"), "{shown}");
    let tested = "  load: {of: hoop-safety, value: 2.3, by: test, date: 2027-03-02, evidence: [car.yaml]}\n";
    assert_eq!(listed(&format!("{analysed}{tested}")).0, ["pedal"]);
    let failed = "  pushed: {of: pedal, outcome: fail, date: 2027-03-02, evidence: [car.yaml]}\n";
    assert_eq!(listed(&format!("{analysed}{tested}{failed}")).0, ["pedal"]);
    let passed = failed.replace("fail", "pass");
    assert!(listed(&format!("{analysed}{tested}{passed}")).1.contains("3 of 3 safety-critical records have passed"));
}

/// What is due, by the lead who is responsible; the parts of a group are one line.
#[test]
fn what_is_due_is_listed_by_lead() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    let records = "systems:\n  s: {in: car, lead: chassis lead}\n  bolts: {title: Bolts, in: s, for-parts: {verify: {by: inspection, with: torque list, due: 2027-03-25}}}\n\
        parts:\n  a: {in: bolts}\n  b: {in: bolts}\n  late: {title: Late part, in: s, verify: {by: test, with: rig, due: 2027-03-01, lead: test lead}}\n  \
        far: {title: Far part, in: s, verify: {by: test, with: rig, due: 2027-09-01}}\n";
    sandbox.write("car.yaml", records);
    let page = page(&sandbox);
    let due = text(section(&page, "_due"));
    for expected in [
        "test lead: 1, 1 overdue",
        "18 days ago",
        "Bolts 2 parts",
        "in 6 days",
        "1 verification due later, the first on 2027-09-01",
    ] {
        assert!(due.contains(expected), "{expected} in {due}");
    }
    assert!(!due.contains("Far part"));
}
