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
