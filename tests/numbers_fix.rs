//! Faults that a stranger found: caps of judged events, impossible times, money, commas, uncertain results, standings, budgets.

use crate::support::{SETTINGS, Sandbox};

/// A sandbox with settings and one file of records.
fn root(settings: &str, records: &str) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", settings);
    sandbox.write("season.yaml", records);
    sandbox
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const GOAL: &str = "goals:\n  top: {points: 90 pts, reason: The sponsor renews for it., lead: lead}\n";

#[test]
fn a_judged_event_near_its_cap_ends_at_the_cap() {
    let events = |expect: &str| {
        format!(
            "{GOAL}events:\n  judged:\n    plan: 50 pts\n    most: 100 pts\n    expect: {expect}\n    lead: lead\n    \
             serves: {{top: Judges score it.}}\n"
        )
    };
    // The mean of min(x, 100) with x normal around 98 with deviation 4: 98 - 4 (phi(0.5) - 0.5 (1 - Phi(0.5))) = 97.209.
    let sandbox = root(SETTINGS, &events("98 pts ± 8 pts"));
    let event = sandbox.tierod(&["points", "--format", "json"]).ended(0).json()["events"][0].clone();
    let number = |key: &str| event[key].as_f64().unwrap();
    assert!((number("predicted") - 97.209).abs() < 0.02, "{event}");
    assert!((number("high") - 100.0).abs() < 1e-9 && (89.5..92.0).contains(&number("low")), "{event}");
    let worth = sandbox.tierod(&["worth"]).ended(0).out;
    assert!(one_line(&worth).contains("judged 98 pts +1.00 per pts"), "{worth}");
    let out = sandbox.tierod(&["values"]).ended(0).out;
    assert!(one_line(&out).contains("to 100.0) pts estimate"), "{out}");
    // Far from the cap nothing changes, and above it the expectation is named.
    let out = root(SETTINGS, &events("60 pts ± 8 pts")).tierod(&["points"]).ended(0).out;
    assert!(out.contains("60.0 ± 8.0"), "{out}");
    let out = root(SETTINGS, &events("110 pts ± 2 pts")).tierod(&["check", "--format", "lines"]).ended(1).out;
    assert!(out.contains("110.0 points are expected, but the event gives at most 100.0"), "{out}");
}

#[test]
fn a_time_of_an_event_is_above_zero() {
    let records = |time: &str, event: &str| {
        format!(
            "{GOAL}events:\n  sprint:\n    plan: 50 pts\n    lead: lead\n    serves: {{top: It is timed.}}\n    {event}\n\
             targets:\n  sprint-time: {{of: car, at-most: 4.2 s, estimate: {time}, lead: lead, serves: {{sprint: It is \
             what is timed.}}, verify: {{by: test, with: gates, due: 2027-06-01}}}}\n"
        )
    };
    let sheet = "reads: {time: sprint-time}\n    score: {use: sae-2024.acceleration, given: {best: 4 s}}";
    let formula = "reads: {time: sprint-time}\n    score: {formula: 50 pts * (6 s - time) / best, given: {best: 4 s}}";
    for event in [sheet, formula] {
        for time in ["0 s", "-4 s"] {
            let sandbox = root(SETTINGS, &records(time, event));
            let out = sandbox.tierod(&["check", "--format", "lines"]).ended(1).out;
            let message = format!(
                "sprint-time is {time}, and event sprint reads it as `time`: a time must be above zero [bad-value]"
            );
            assert!(out.contains(&message) && out.contains("season.yaml:11:"), "{event}:\n{out}");
            assert!(!out.contains("excess-margin") && !out.contains("no-number"), "{event}:\n{out}");
            let points = sandbox.tierod(&["points"]).ended(2).out;
            assert!(points.contains("1 error under") && one_line(&points).contains("sprint 50.0 none"), "{points}");
        }
        let sandbox = root(SETTINGS, &records("4.1 s", event));
        sandbox.tierod(&["points"]).ended(0);
    }
    let literal = "reads: {time: -4 s}\n    score: {use: sae-2024.acceleration, given: {best: 4 s}}";
    let out = root(SETTINGS, &records("4.1 s", literal)).tierod(&["check", "--format", "lines"]).ended(1).out;
    assert!(out.contains("`time` is -4 s: a time must be above zero"), "{out}");
}

#[test]
fn money_in_another_currency_is_wrong_on_its_own_line() {
    let parts = "systems:\n  drive: {in: car, lead: lead}\nparts:\n  a: {in: drive, amounts: {cost: 900 USD}}\n  \
                 b: {in: drive, amounts: {cost: 800 EUR}}\n  c: {in: drive, amounts: {cost: 700 EUR}}\n";
    let sandbox = root(&format!("{SETTINGS}currency: EUR\n"), parts);
    let out = sandbox.tierod(&["check", "--format", "lines"]).ended(1).out;
    let wrong: Vec<&str> = out.lines().filter(|line| line.contains("unit-mismatch")).collect();
    assert_eq!(wrong.len(), 1, "{out}");
    assert!(wrong[0].starts_with("season.yaml:4:") && wrong[0].contains("`900 USD` is not in `EUR`"), "{out}");
    let values = sandbox.tierod(&["values"]).ended(0).out;
    assert!(one_line(&values).contains("car.cost 1500 EUR"), "{values}");
}

#[test]
fn three_digits_after_a_comma_can_be_thousands() {
    let fix = "use `6000 EUR` if it separates thousands, or `6 EUR` if it is a decimal comma";
    for cost in ["6,000 EUR", "'6,000 EUR'"] {
        let parts = format!(
            "systems:\n  drive: {{in: car, lead: lead}}\nparts:\n  a: {{in: drive, amounts: {{cost: {cost}}}}}\n"
        );
        let out = root(SETTINGS, &parts).tierod(&["check"]).ended(1).out;
        assert!(one_line(&out).contains(fix), "{cost}:\n{out}");
        assert!(!out.contains("6.000"), "{cost}:\n{out}");
    }
}

#[test]
fn a_result_with_the_limit_inside_its_uncertainty_is_counted_apart() {
    let sandbox = root(
        SETTINGS,
        &format!(
            "{GOAL}targets:\n  sprint-time: {{of: car, at-most: 4.4 s, estimate: 4 s, lead: lead, verify: {{by: test, with: \
             gates, due: 2027-03-01}}}}\nresults:\n  r: {{of: sprint-time, value: 4.20 s ± 0.40 s, date: 2027-03-01, \
             evidence: [tierod.yaml]}}\n"
        ),
    );
    let line = sandbox.tierod(&["audit", "--format", "json"]).json()["verification"][0].clone();
    let counts = ["planned", "closed", "uncertain", "failed", "open"].map(|key| line[key].as_u64().unwrap());
    assert_eq!(counts, [1, 0, 1, 0, 0], "{line}");
    let out = one_line(&sandbox.tierod(&["audit"]).out);
    assert!(out.contains("verification planned passed uncertain failed no result test 1 0 1 0 0"), "{out}");
    let out = sandbox.tierod(&["audit", "--format", "markdown"]).out;
    assert!(out.contains("| method | planned | passed | uncertain | failed | no result |"), "{out}");
    assert!(out.contains("| test | 1 | 0 | 1 | 0 | 0 |"), "{out}");
}

#[test]
fn past_standings_with_two_cars_on_one_place() {
    let goal = |place: u32| {
        format!(
            "goals:\n  top: {{place: {place}, past-standings: {{file: past.csv}}, reason: A place keeps the workshop., lead: \
             lead}}\n"
        )
    };
    let check = |place: u32, table: &str| {
        let sandbox = root(SETTINGS, &goal(place));
        sandbox.write("past.csv", table);
        sandbox.tierod(&["check", "--format", "lines"]).out
    };
    let out = check(2, "year,place,total\n2025,1,900\n2025,2,800\n2025,2,790\n");
    let message = "past.csv, line 4: place 2 of 2025 has 790 points here, and 800 points above [unreadable-table]";
    assert!(out.contains(message), "{out}");
    let out = check(2, "year,place,total\n2025,1,900\n2025,2,800\n2025,2,800\n");
    assert!(!out.contains("unreadable-table"), "equal totals share a place:\n{out}");
    let out = check(100, "year,place,total\n2025,1,900\n2025,2,800\n2026,1,850\n");
    assert!(out.contains("no year had 100 cars: the most cars of a year are 2"), "{out}");
}

#[test]
fn a_difference_that_rounding_explains_is_no_gap() {
    for (whole, share) in [("194.19", "100.09"), ("194.1999", "100.0999")] {
        let sandbox = root(
            SETTINGS,
            &format!(
                "systems:\n  a: {{in: car, lead: lead}}\n  b: {{in: car, lead: lead}}\ntargets:\n  car-mass: {{of: car, \
                 at-most: {whole} kg, total: mass, lead: lead}}\n  a-mass: {{of: a, at-most: {share} kg, total: mass, \
                 share-of: car-mass, lead: lead}}\n  b-mass: {{of: b, at-most: 94.1 kg, total: mass, share-of: car-mass, \
                 lead: lead}}\nparts:\n  p: {{in: a, amounts: {{mass: {{value: 100.1 kg, basis: weighed}}}}}}\n  q: {{in: b, \
                 amounts: {{mass: {{value: 94.1 kg, basis: weighed}}}}}}\n"
            ),
        );
        let out = sandbox.tierod(&["budget"]).ended(0).out;
        assert!(out.contains("194.20") && !out.contains("close the gap") && !out.contains("over"), "{whole}:\n{out}");
        let transfer = &sandbox.tierod(&["budget", "--format", "json"]).json()["budgets"][0]["transfer"];
        assert_eq!(*transfer, serde_json::json!({"closes": true, "changes": []}), "{whole}");
        for command in ["check", "values"] {
            let out = sandbox.tierod(&[command]).out;
            assert!(!out.contains("-0.0 %"), "{command}:\n{out}");
        }
    }
}

#[test]
fn explain_finds_inputs_and_forms() {
    let sandbox = Sandbox::new();
    let err = one_line(&sandbox.tierod(&["explain", "gears"]).ended(2).err);
    assert!(err.contains("`gears` is an input of models"), "{err}");
    assert!(err.contains("run `tierod explain lap` or `tierod explain straight-line`"), "{err}");
    let out = sandbox.tierod(&["explain", "confidence"]).ended(0).out;
    assert!(out.contains("a percentage: `50 %`"), "{out}");
    let records = "targets:\n  warm: {of: car, at-most: 33 °F, lead: lead, formula: hot - cold, given: {hot: 80 °F, cold: \
                   60 °F}}\n";
    let out = root(SETTINGS, records).tierod(&["check"]).ended(1).out;
    assert!(out.contains("`at-most: 18.33 K`"), "{out}");
}
