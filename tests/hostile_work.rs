//! Small repositories in which what is asked for each of many records has many answers: what a command does grows with what is
//! there, not with its product, and what has no bound by itself has a limit that is reported.

use crate::hostile_history::repeated;
use crate::support::{Answer, Sandbox};

/// Seconds on a processor in a build for tests; two or three are needed.
const MOST: u32 = 10;

/// Checks a project with one record file.
#[track_caller]
fn check(settings: &str, records: &str) -> Answer {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", format!("season: 2027\nas-of: 2027-03-19\n{settings}"));
    sandbox.write("records.yaml", records);
    sandbox.within_seconds(MOST, &["check", "--format", "json"]).ended(1)
}

/// How often a check reports something.
fn count(answer: &Answer, check: &str) -> usize {
    answer.json()["findings"].as_array().unwrap().iter().filter(|own| own["check"] == check).count()
}

/// Systems in each other; the first one is in the car.
fn systems(number: usize) -> String {
    repeated(number, |at| match at {
        0 => "  s0: {in: car}\n".to_owned(),
        at => format!("  s{at}: {{in: s{}}}\n", at - 1),
    })
}

/// Each measured total has the rest of the one around it, and the digits of both come from the parts.
#[test]
fn measured_totals_in_measured_totals() {
    let targets = repeated(40, |at| format!("  t{at}: {{of: s{at}, at-most: 1 kg, total: mass}}\n"));
    let results = repeated(39, |at| format!("  r{at}: {{of: t{0}, value: 1 kg, date: 2027-01-01}}\n", at + 1));
    let part = "parts: {p: {in: s39, amounts: {mass: 1 kg}}}\n";
    let records = format!("systems:\n{}{part}targets:\n{targets}results:\n{results}", systems(40));
    let answer = check("", &records);
    assert!(count(&answer, "no-lead") > 0);
}

#[test]
fn a_total_of_systems_far_below_each_other() {
    let records = format!(
        "systems:\n{}parts: {{p: {{in: s59999, amounts: {{mass: 1 kg}}}}}}\ntargets: {{t: {{of: s0, at-most: 0.5 kg, total: mass}}}}\n",
        systems(60_000)
    );
    let answer = check("", &records);
    assert_eq!(count(&answer, "over-budget"), 1);
}

#[test]
fn many_parts_inherit_many_links() {
    let targets = repeated(5_000, |at| format!("  t{at}: {{of: car, at-most: 1 kg}}\n"));
    let serves = repeated(5_000, |at| format!("        t{at}: It is so {at}.\n"));
    let parts = repeated(20_000, |at| format!("  p{at}: {{in: s}}\n"));
    let answer = check(
        "",
        &format!(
            "targets:\n{targets}systems:\n  s:\n    in: car\n    for-parts:\n      serves:\n{serves}parts:\n{parts}"
        ),
    );
    let all = answer.json();
    let over = all["findings"].as_array().unwrap().iter().filter(|own| own["check"] == "unknown-reference");
    let over: Vec<&str> = over.filter_map(|own| own["message"].as_str()).collect();
    assert!(over.len() == 1 && over[0].contains("3,000,000"), "{over:?}");
}

#[test]
fn many_parts_lack_many_amounts() {
    let parts = repeated(5_000, |at| format!("  p{at}: {{in: s}}\n"));
    let targets = repeated(900, |at| format!("  t{at}: {{of: car, at-most: 1 kg, total: a{at}}}\n"));
    let known = repeated(900, |at| format!("a{at}: 1 kg, "));
    let records = format!(
        "systems: {{s: {{in: car}}}}\ntargets:\n{targets}parts:\n  known: {{in: s, amounts: {{{known}}}}}\n{parts}"
    );
    let answer = check("", &records);
    assert_eq!(count(&answer, "no-estimate"), 20_001);
    assert!(answer.out.contains("4480000 more amounts of parts are missing"), "the others are counted");
}

#[test]
fn an_event_reads_many_driven_values() {
    let targets = repeated(2_000, |at| format!("  t{at}: {{of: car, at-most: 1 s}}\n"));
    let reads = repeated(2_000, |at| format!("      n{at}: t{at}\n"));
    let driven = repeated(2_000, |at| format!("      n{at}: 1 s\n"));
    let event = format!("events:\n  e:\n    plan: 1 pts\n    expect: 1 pts\n    reads:\n{reads}");
    let result = format!("results:\n  r:\n    of: e\n    date: 2027-01-01\n    value: 1 pts\n    reads:\n{driven}");
    check("", &format!("targets:\n{targets}{event}{result}"));
}

#[test]
fn many_budgets_of_the_parts_of_one_system() {
    let parts = repeated(5_000, |at| format!("  p{at}: {{in: s, amounts: {{mass: 1 kg}}}}\n"));
    let outer = repeated(2_000, |at| format!("  t{at}: {{of: car, at-most: 1 t, total: mass}}\n"));
    let inner = repeated(2_000, |at| format!("  u{at}: {{of: s, at-most: 1 t, total: mass, share-of: t{at}}}\n"));
    check("", &format!("systems: {{s: {{in: car}}}}\ntargets:\n{outer}{inner}parts:\n{parts}"));
}

#[test]
fn the_results_of_a_system_verify_its_parts() {
    let parts = repeated(20_000, |at| format!("  p{at}: {{in: s}}\n"));
    let results = repeated(20_000, |at| format!("  r{at}: {{of: s, passed: true, by: test, date: 2027-01-01}}\n"));
    let system = "systems: {s: {in: car, for-parts: {verify: {by: test, with: gauges, due: 2027-01-31}}}}\n";
    check("", &format!("{system}parts:\n{parts}results:\n{results}"));
}

#[test]
fn revisions_that_follow_each_other() {
    let steps = repeated(2_000, |at| {
        format!(
            "  v{at}: {{of: t, from: {} kg, to: {} kg, date: 2027-01-05, agreed-by: a, reason: It is so.}}\n",
            10 + at,
            11 + at
        )
    });
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", "season: 2027\nas-of: 2027-03-19\n");
    sandbox.write("targets.yaml", "targets: {t: {of: car, at-most: 5 kg}}\n");
    sandbox.commit_on("2027-01-02", "one");
    sandbox.write("revisions.yaml", format!("revisions:\n{steps}"));
    sandbox.commit_on("2027-01-03", "two");
    sandbox.within_seconds(MOST, &["check"]).ended(1);
}

#[test]
fn bases_that_are_unknown_among_many() {
    let known = repeated(5_000, |at| format!("    b{at}: 1 %\n"));
    let parts =
        repeated(3_000, |at| format!("  p{at}: {{in: s, amounts: {{mass: {{value: 9.1 kg, basis: other}}}}}}\n"));
    let answer = check(&format!("growth:\n  mass:\n{known}"), &format!("systems: {{s: {{in: car}}}}\nparts:\n{parts}"));
    assert!(answer.out.len() < 10_000_000, "a message lists a hundred of them");
}

/// Blanks behind a key are not looked at again for each empty key after them.
#[test]
fn empty_keys_behind_many_blanks() {
    let answer = check("", &format!("a:{}\n{}", " ".repeat(4_000_000), "?\n".repeat(100_000)));
    assert!(answer.out.contains("records.yaml"));
}

/// A merge names its parents in its object, as often as somebody likes.
#[test]
fn a_merge_with_one_parent_many_times() {
    let sandbox = Sandbox::repository();
    let commit = |mass: usize, day: u32| {
        sandbox.write("tierod.yaml", "season: 2027\n");
        sandbox.write("target.yaml", format!("targets: {{t: {{of: car, at-most: {mass} kg}}}}\n"));
        sandbox.commit_on(&format!("2027-01-{day:02}"), "x");
        sandbox.git(&["rev-parse", "HEAD"]).trim().to_owned()
    };
    commit(1, 1);
    let parent = commit(2, 2);
    commit(3, 3);
    let tree = sandbox.git(&["rev-parse", "HEAD^{tree}"]).trim().to_owned();
    let who = "a <a@example.org> 1798848000 +0000";
    let parents = format!("parent {parent}\n").repeat(80_000);
    let object = sandbox.outside().join("merge");
    std::fs::write(&object, format!("tree {tree}\n{parents}author {who}\ncommitter {who}\n\nx\n")).unwrap();
    let merge = sandbox.git(&["hash-object", "-w", "-t", "commit", object.to_str().unwrap()]);
    sandbox.git(&["reset", "-q", "--hard", merge.trim()]);
    sandbox.within_seconds(MOST, &["check", "--on", "2027-03-01"]).ended(1);
    assert!(sandbox.within_seconds(MOST, &["history", "t"]).out.contains("3 kg"));
}
