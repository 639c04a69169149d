//! Thousands of findings in one file, and cycles and chains of thousands of records.

use std::collections::HashSet;

use crate::hostile::{findings, run};
use crate::support::Sandbox;

/// One analysis that informs unknown records.
fn broken_references(number: usize) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let ids: Vec<String> = (0..number).map(|number| format!("n{number}")).collect();
    sandbox.write("bad.yaml", format!("analyses:\n  a:\n    informs:\n      - {}\n", ids.join("\n      - ")));
    sandbox
}

/// Parts with two things wrong in each.
fn broken_parts(number: usize) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let parts: String = (0..number).map(|number| format!("  p{number}: {{count: no}}\n")).collect();
    sandbox.write("bad.yaml", format!("parts:\n{parts}"));
    sandbox
}

/// How often the JSON of `check` reports a check, each time at another place.
#[track_caller]
fn count_in_json(sandbox: &Sandbox, check: &str) -> usize {
    let found = findings(sandbox, "bad.yaml", 1);
    let here = found.iter().filter(|finding| finding["check"] == check);
    let places: HashSet<_> =
        here.clone().map(|finding| (finding["line"].as_u64(), finding["column"].as_u64())).collect();
    assert_eq!(places.len(), here.clone().count());
    places.len()
}

#[test]
fn thousands_of_findings_in_one_file() {
    assert_eq!(count_in_json(&broken_references(10_000), "unknown-reference"), 10_000);
    let parts = broken_parts(5_000);
    assert_eq!((count_in_json(&parts, "bad-value"), count_in_json(&parts, "missing-key")), (5_000, 5_000));
}

#[test]
fn a_hundred_thousand_broken_references() {
    let answer = run(&broken_references(100_000), &["check"]).answer.ended(1);
    let reported = answer.out.lines().filter(|line| line.ends_with("unknown-reference"));
    assert_eq!(reported.clone().count(), 100_000);
    assert!(reported.clone().any(|line| line.contains("bad.yaml:100003:9 ")), "the last one has its own line");
}

#[test]
fn fifty_thousand_findings() {
    let answer = run(&broken_parts(25_000), &["check"]).answer.ended(1);
    let count = |check: &str| answer.out.lines().filter(|line| line.ends_with(check)).count();
    assert_eq!((count("bad-value"), count("missing-key")), (25_000, 25_000));
}

#[test]
fn fifty_thousand_findings_as_json() {
    assert_eq!(count_in_json(&broken_references(100_000), "unknown-reference"), 100_000);
    assert_eq!(count_in_json(&broken_parts(25_000), "bad-value"), 25_000);
}

/// A chain of targets, each of which serves the one before it; the first one serves `top`.
fn chain(records: usize, top: &str) -> String {
    let mut text = String::from("targets:\n");
    for number in 0..records {
        let parent = if number == 0 { top.to_owned() } else { format!("t{}", number - 1) };
        text.push_str(&format!(
            "  t{number}: {{of: car, at-most: 1 s, lead: x, serves: {{{parent}: It is needed.}}}}\n"
        ));
    }
    text
}

#[track_caller]
fn a_circle(records: usize) {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("circle.yaml", chain(records, &format!("t{}", records - 1)));
    let found = findings(&sandbox, "circle.yaml", 1);
    assert!(found.iter().any(|finding| finding["check"] == "reference-cycle"));
    for finding in &found {
        assert!(finding["message"].as_str().unwrap().len() < 4000, "{finding}");
    }
}

#[track_caller]
fn a_chain(records: usize) {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("long.yaml", chain(records, "skidpad"));
    run(&sandbox, &["check", "--format", "json"]);
    run(&sandbox, &["graph", "--format", "json"]);
    for args in [&["why", &format!("t{}", records - 1)][..], &["why", "top-ten"], &["graph"]] {
        let run = run(&sandbox, args);
        assert_eq!(run.answer.code, 0);
        assert!(run.answer.out.len() < 50 << 20, "{args:?} writes {} bytes", run.answer.out.len());
    }
}

#[test]
fn a_circle_and_a_chain_of_two_hundred_records() {
    a_circle(200);
    a_chain(200);
}

#[test]
fn a_circle_of_twenty_thousand_records() {
    a_circle(20_000);
}

#[test]
fn a_chain_of_twenty_thousand_records() {
    a_chain(20_000);
}

/// Each of the targets serves the two hundred before it: there are far more links than records.
#[test]
fn why_lists_a_bounded_number_of_links() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let target = |at: usize| {
        let serves: Vec<String> = (at.saturating_sub(200)..at).map(|to| format!("t{to}: b")).collect();
        format!("  t{at}: {{of: car, at-most: 1 kg, lead: x, serves: {{{}}}}}\n", serves.join(", "))
    };
    sandbox.write("dense.yaml", format!("targets:\n{}", (0..400).map(target).collect::<String>()));
    // 0 + 1 + ... + 199, and 200 for each of the others.
    let all = 200 * 199 / 2 + 200 * 200;
    for (id, heading, key) in [("t399", "why it exists", "up"), ("t0", "served by", "below")] {
        let out = run(&sandbox, &["why", id, "--all"]).answer.ended(0).out;
        assert!(out.contains(heading) && out.lines().count() < 6_500, "{} lines", out.lines().count());
        let sentence = format!("\n3000 of {all} links are shown: `tierod why ID` shows those of another record\n");
        assert!(out.contains(&sentence), "{}", &out[out.len() - 400..]);
        assert!(out.contains(" more of t"), "what is not shown of a record is counted");
        let json = sandbox.tierod(&["why", id, "--format", "json"]).json();
        let shown = json[key].as_array().unwrap().len();
        // Another link says what a target is about.
        let others = json[key].as_array().unwrap().iter().filter(|edge| edge["link"] != "serves").count();
        assert_eq!(shown, 20_000);
        let more = json[format!("more_{key}")].as_u64().unwrap() as usize;
        assert!((all - 20_000..=all - 20_000 + others + 400).contains(&more), "{more}");
    }
    let out = run(&sandbox, &["why", "t60"]).answer.ended(0).out;
    let up = out.split("\nserved by").next().unwrap();
    assert!(up.contains("why it exists") && !up.contains(" are shown"), "1,830 links are listed");
}

/// Two thousand targets inherit the lead of their system, and pages and tables repeat it for each.
#[test]
fn a_text_that_many_records_inherit_is_not_long() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let targets: String = (0..2_000)
        .map(|number| format!("  t{number}: {{of: brakes, at-most: 1 kg, serves: {{skidpad: It is needed.}}}}\n"))
        .collect();
    let lead = "x".repeat(1_000_000);
    sandbox.write("many.yaml", format!("systems:\n  brakes: {{in: car, lead: {lead}}}\ntargets:\n{targets}"));
    let found = findings(&sandbox, "many.yaml", 1);
    let long: Vec<_> = found.iter().filter(|finding| finding["check"] == "bad-value").collect();
    assert_eq!(long.len(), 1);
    assert_eq!(long[0]["message"], "`lead` is longer than 300 characters");
    assert_eq!((long[0]["line"].as_u64(), long[0]["column"].as_u64()), (Some(2), Some(27)));
    let page = run(&sandbox, &["page"]).answer;
    assert!(page.out.len() < 20 << 20, "{} bytes", page.out.len());
}

/// Each changed value of a chain is a cause, with its path to the points: all of them would be as many as the square.
#[test]
fn the_paths_of_causes_are_bounded() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "one");
    let last = "  v1500: {of: car, at-most: 9 s, estimate: 4 s}\n";
    let others =
        (0..1500).map(|number| format!("  v{number}: {{of: car, at-most: 9 s, formula: v{} + 1 ms}}\n", number + 1));
    sandbox.write("long.yaml", format!("targets:\n{}{last}", others.collect::<String>()));
    let delta = run(&sandbox, &["delta", "HEAD", "--format", "json"]).answer.ended(1);
    assert!(delta.out.len() < 8 << 20, "{} bytes", delta.out.len());
    let delta = delta.json();
    let affects = delta["causes"].as_array().unwrap().iter().map(|cause| cause["affects"].as_array().unwrap().len());
    assert_eq!(affects.max(), Some(50));
    let markdown = run(&sandbox, &["delta", "HEAD", "--format", "markdown"]).answer.ended(1);
    assert!(markdown.out.contains("#### New findings"), "{}", markdown.out);
}

/// A chain of targets, each with an uncertain number of its own, and what would have more derivatives than a state may have.
#[test]
fn a_long_chain_of_uncertain_values_is_not_calculated() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let chain = |length: usize| {
        let target = |at: usize| {
            format!(
                "  t{at}: {{of: car, at-most: 9000 s, formula: t{} + x, given: {{x: 1 ms ± 0.1 ms}}, lead: x, serves: \
                 {{skidpad: It is needed.}}}}\n",
                at + 1
            )
        };
        let last = format!("  t{length}: {{of: car, at-most: 9 s, estimate: 1 s ± 0.1 s, lead: x}}\n");
        format!("targets:\n{}{last}", (0..length).map(target).collect::<String>())
    };
    let refused = || {
        let report = sandbox.tierod(&["check", "--format", "json"]).json();
        let all = report["findings"].as_array().unwrap().clone();
        all.into_iter().filter(|finding| finding["check"] == "bad-value").collect::<Vec<_>>()
    };
    sandbox.write("uncertain.yaml", chain(1_000));
    assert!(refused().is_empty());
    let value = |of: &str| {
        let values = sandbox.tierod(&["values", "--format", "json"]).json();
        values["values"].as_array().unwrap().iter().find(|value| value["id"] == of).cloned().unwrap()
    };
    assert!((value("t0")["value"].as_f64().unwrap() - 2.0).abs() < 1e-9);
    sandbox.write("uncertain.yaml", chain(5_000));
    let found = refused();
    assert_eq!(found.len(), 1, "{found:?}");
    let record = found[0]["record"].as_str().unwrap();
    assert_eq!(found[0]["field"], "formula");
    assert_eq!(
        found[0]["message"],
        format!("{record} is not calculated: the values of the project depend on too many uncertain values")
    );
    // 8 million derivatives: each value keeps one for every number below it.
    let below = 5_000 - record[1..].parse::<usize>().unwrap();
    assert!((3_990..4_000).contains(&below), "{below}");
    assert!(value("t0")["value"].is_null() && !value(&format!("t{}", 5_000 - below + 1))["value"].is_null());
}

/// A mass of thousands of parts with uncertainties, which hundreds of values depend on, is far below the limit.
#[test]
fn the_uncertain_masses_of_a_large_car_are_calculated() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let part = |at: usize| format!("  p{at}: {{in: suspension, amounts: {{mass: 0.05 kg ± 0.0{} kg}}}}\n", at % 4 + 1);
    let target = |at: usize| {
        format!(
            "  t{at}: {{of: car, at-most: 900 kg, formula: car.mass * 2 + car.mass / {} + 1 kg, lead: x}}\n",
            at + 1
        )
    };
    let (parts, targets): (String, String) = ((0..3_000).map(part).collect(), (0..300).map(target).collect());
    sandbox.write("large.yaml", format!("parts:\n{parts}targets:\n{targets}"));
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let found = report["findings"].as_array().unwrap();
    assert!(found.len() > 300 && found.iter().all(|finding| finding["check"] != "bad-value"));
}
