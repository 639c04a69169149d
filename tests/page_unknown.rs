//! The page of a car of which little is known: what is missing, and why.

use crate::page::{page, section, text};
use crate::support::{SETTINGS, Sandbox};

fn page_with(sandbox: &Sandbox, records: &str) -> String {
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", records);
    page(sandbox)
}

/// A goal with two events, each of which reads a target with this value.
fn events(run: &str, lap: &str) -> String {
    let event = |name: &str| {
        format!(
            "  {name}: {{title: The {name}, plan: 70 pts, lead: x, serves: {{top: It is scored.}}, reads: {{time: {name}-time}}, \
             score: {{formula: 100 * best / time * unit, given: {{best: 4 s, unit: 1 pts}}}}}}\n"
        )
    };
    let target = |name: &str, value: &str| {
        format!("  {name}-time: {{of: car, at-most: 5 s, lead: x, serves: {{{name}: It is read.}}{value}}}\n")
    };
    format!(
        "goals:\n  top: {{title: The top, points: 150 pts, lead: x}}\nevents:\n{}{}targets:\n{}{}",
        event("run"),
        event("lap"),
        target("run", run),
        target("lap", lap)
    )
}

#[test]
fn what_is_not_known_is_said_with_its_reason() {
    let sandbox = Sandbox::new();
    let answer = |records: &str| text(section(&page_with(&sandbox, records), "_answer"));
    let goal = "goals:\n  top: {title: The top, place: 8, lead: x}\n";
    let without_all = answer(goal);
    let both =
        "Not known yet: no event serves this goal; the points needed (the goal has no table under past-standings).";
    assert!(without_all.contains(both), "{without_all}");
    let one = answer(&events("", ", estimate: 4.5 s"));
    assert!(one.contains("Not known yet: 1 of 2 events has no value: run."), "{one}");
    let two = answer(&events("", ""));
    assert!(two.contains("Not known yet: 2 of 2 events have no value: ") && two.contains("no points yet"), "{two}");
    let none = answer(&events(", estimate: 4.4 s", ", estimate: 4.5 s"));
    assert!(none.contains("chance: The top") && !none.contains("ot known"), "{none}");
}

#[test]
fn one_of_something_is_singular() {
    let sandbox = Sandbox::new();
    let page = page_with(&sandbox, "parts:\n  hoop: {title: Hoop, in: car, safety-critical: true}\n");
    let shown = text(page.split("</style>").nth(1).unwrap());
    assert!(shown.contains("· 1 record ·") && section(&page, "_records").contains(">1 record<"), "{shown}");
    for noun in ["records", "commits", "targets", "changes", "errors", "warnings", "notes", "groups"] {
        assert!(!shown.contains(&format!(" 1 {noun}")) && !shown.contains(&format!("\n1 {noun}")), "1 {noun}");
    }
}

/// Where no points depend on an amount of the car, that is said: zero points would be a result.
#[test]
fn an_amount_without_a_path_to_the_points_is_worth_nothing_known() {
    let sandbox = Sandbox::new();
    let parts =
        "systems:\n  s: {in: car, lead: x}\nparts:\n  hub: {in: s, amounts: {mass: {value: 2 kg, basis: estimated}}}\n";
    let free = events(", estimate: 4.4 s", ", estimate: 4.5 s") + parts;
    let worth = text(section(&page_with(&sandbox, &free), "_worth"));
    assert!(worth.contains("mass of the car: no path to the points"), "{worth}");
    for direction in ["more", "less"] {
        assert!(!worth.contains(&format!("{direction} mass of the car")), "{worth}");
    }
    assert!(!worth.contains("The whole car"), "{worth}");
    let heavy = ", formula: 4 * one + car.mass / rate, given: {one: 1 s, rate: 20 kg/s}";
    let tied = events(heavy, ", estimate: 4.5 s") + parts;
    let worth = text(section(&page_with(&sandbox, &tied), "_worth"));
    assert!(worth.contains("1 kg less mass of the car: +") && worth.contains("The whole car: mass"), "{worth}");
    assert!(!worth.contains("no path"), "{worth}");
}

#[test]
fn without_a_goal_there_is_one_sentence_and_no_empty_section() {
    let sandbox = Sandbox::new();
    let page = page_with(&sandbox, "systems:\n  s: {in: car, lead: x}\n");
    assert!(text(section(&page, "_answer")).contains("No goal: add one under goals:."));
    for id in ["_points", "_worth"] {
        assert!(!page.contains(&format!("id=\"{id}\"")) && !page.contains(&format!("href=\"#{id}\"")), "{id}");
    }
    let with = page_with(&sandbox, &events("", ""));
    assert!(with.contains("id=\"_points\"") && with.contains("href=\"#_worth\""));
}
