//! What the history checks report, and what they do not.

use schema::Day;

use super::{Past, scripted};
use crate::load::Loaded;
use crate::snapshot::{File, Snapshot};
use crate::study::Study;

/// The findings of the history checks after the last state: check, record and message.
fn findings(states: &[(&str, String)]) -> Vec<String> {
    let states: Vec<(&str, &str)> = states.iter().map(|(day, text)| (*day, text.as_str())).collect();
    let bytes = states.last().unwrap().1.as_bytes().to_vec();
    let mut snapshot = Snapshot::in_memory(vec![File { path: "a.yaml".to_owned(), content: Ok(bytes.into()) }]);
    snapshot.settings = schema::read::settings(b"growth: {mass: {drawn: 5 %, weighed: 0 %}}").0;
    let loaded = Loaded::from_snapshot(snapshot);
    assert_eq!(loaded.unread(), 0, "{:?}", loaded.problems);
    let past = Past::Known(Box::new(scripted(&states)));
    let study = Study::new(loaded, Day::parse("2027-03-19").unwrap(), past);
    let report = study.report();
    let own = report.findings.iter().filter(|finding| finding.check.group == crate::checks::Group::History);
    own.map(|f| format!("{} {}: {}", f.check.name, f.record.as_deref().unwrap_or("-"), f.message)).collect()
}

/// One target with its limit, and further records.
fn target(limit: &str, more: &str) -> String {
    format!("systems: {{s: {{in: car}}}}\ntargets:\n  t: {{of: car, {limit}}}\n{more}")
}

const RESULT: &str = "results: {r: {of: t, value: 4.3 s, date: 2027-01-05}}\n";

#[test]
fn a_limit_that_follows_its_result() {
    let at = |day: &'static str, limit: &str, more: &str| (day, target(limit, more));
    let moved = [
        at("2027-01-01", "at-most: 4.2 s", ""),
        at("2027-01-06", "at-most: 4.2 s", RESULT),
        at("2027-01-07", "at-most: 4.35 s", RESULT),
    ];
    assert_eq!(
        findings(&moved),
        [
            "target-after-result t: the limit of t changed from at most 4.2 s to at most 4.35 s on 2027-01-07 (0000000000), after result r of 2027-01-05, which meets the new limit"
        ]
    );
    let first = [at("2027-01-06", "formula: 1 s", RESULT), at("2027-01-07", "at-most: 4.35 s", RESULT)];
    assert!(findings(&first)[0].contains("was first set to at most 4.35 s"));
    // The target existed without a limit. The result was committed later, but its date is before that of the limit.
    let late = |first: &str| {
        findings(&[
            at("2027-01-02", first, ""),
            at("2027-01-07", "at-most: 4.35 s", ""),
            at("2027-01-08", "at-most: 4.35 s", RESULT),
        ])
    };
    let set = "target-after-result t: the limit of t was first set to at most 4.35 s on 2027-01-07";
    assert!(late("formula: 1 s")[0].starts_with(set), "{:?}", late("formula: 1 s"));
    // Where the order is not known.
    let unknown = "target-after-result t: the limit of t is at most 4.35 s and first appears here on 2027-01-07 (0000000000); \
                   result r of 2027-01-05 meets it: it is not known which of the two was first";
    for (why, states) in [
        ("written later", [at("2027-01-07", "at-most: 4.35 s", ""), at("2027-01-08", "at-most: 4.35 s", RESULT)]),
        ("in one commit", [("2027-01-02", String::new()), at("2027-01-07", "at-most: 4.35 s", RESULT)]),
    ] {
        assert_eq!(findings(&states), [unknown], "{why}");
    }
    let both = [moved[0].clone(), at("2027-01-07", "at-most: 4.35 s", RESULT)];
    assert_eq!(
        findings(&both),
        [
            "target-after-result t: the limit of t changed from at most 4.2 s to at most 4.35 s, which first appears here on 2027-01-07 (0000000000); result r of 2027-01-05 meets the new limit: it is not known which of the two was first"
        ]
    );
    let revision =
        format!("{RESULT}revisions: {{v: {{of: t, to: 4.35 s, date: 2027-01-06, agreed-by: x, reason: y}}}}\n");
    for (why, states) in [
        (
            "all in one commit, on the day of the result",
            vec![
                at("2027-01-05", "at-most: 4.35 s", RESULT),
                at("2027-01-08", "at-most: 4.35 s", &format!("{RESULT}\n# later\n")),
            ],
        ),
        ("agreed", vec![moved[0].clone(), moved[1].clone(), at("2027-01-07", "at-most: 4.35 s", &revision)]),
        (
            "the same value in another unit",
            vec![at("2027-01-05", "at-most: 4.35 s", RESULT), at("2027-01-08", "at-most: 4350 ms", RESULT)],
        ),
        ("set before", vec![at("2027-01-04", "at-most: 4.35 s", ""), at("2027-01-08", "at-most: 4.35 s", RESULT)]),
        // The clock of the first commit was ahead: the second one was made before the result.
        ("a wrong clock", vec![at("2027-02-01", "at-most: 4.35 s", ""), at("2027-01-05", "at-most: 4.35 s", RESULT)]),
        ("one commit", vec![at("2027-01-07", "at-most: 4.35 s", RESULT)]),
    ] {
        assert_eq!(findings(&states), [""; 0], "{why}");
    }
    // A limit that the result misses was not set for it; its change is reported all the same.
    let harder = [moved[1].clone(), at("2027-01-07", "at-most: 4.1 s", RESULT)];
    assert!(findings(&harder)[0].starts_with("unrecorded-revision t: "), "{:?}", findings(&harder));
}

#[test]
fn a_revision_to_another_limit_is_reported_without_a_history() {
    let revisions = |to: &str| {
        target(
            "at-most: 205 kg",
            &format!(
                "revisions:\n  a: {{of: t, to: 0.205 t, date: 2027-01-06, agreed-by: x, reason: y}}\n  b: {{of: t, to: {to}, date: 2027-02-06, agreed-by: x, reason: y}}\n"
            ),
        )
    };
    let one = [("2027-03-01", revisions("203 kg"))];
    assert_eq!(
        findings(&one),
        ["unrecorded-revision t: the limit of t is at most 205 kg, but its revision of 2027-02-06 has `to: 203 kg`"]
    );
    assert_eq!(findings(&[("2027-03-01", revisions("205 kg"))]), [""; 0]);
}

#[test]
fn a_revision_starts_from_the_valid_limit() {
    let at = |day: &'static str, limit: &str, more: &str| (day, target(limit, more));
    let revision = |id: &str, from: &str, to: &str| {
        format!("  {id}: {{of: t, from: {from}, to: {to}, date: 2027-01-06, agreed-by: x, reason: y}}\n")
    };
    let run = |revisions: &str| {
        let more = format!("revisions:\n{revisions}");
        findings(&[at("2027-01-01", "at-most: 4.2 s", ""), at("2027-01-07", "at-most: 4.4 s", &more)])
    };
    assert_eq!(run(&revision("v", "4.2 s", "4.4 s")), [""; 0]);
    assert_eq!(run(&revision("v", "4200 ms", "4.4 s")), [""; 0], "in another unit");
    assert_eq!(
        run(&revision("v", "4.3 s", "4.4 s")),
        [
            "unrecorded-revision v: it has `from: 4.3 s`, but the limit of t was at most 4.2 s until 2027-01-07 (0000000000)"
        ]
    );
    let both = revision("v", "4.2 s", "4.3 s") + &revision("w", "4.3 s", "4.4 s");
    assert_eq!(run(&both), [""; 0], "two in one commit");
}

#[test]
fn every_change_of_a_limit_needs_a_revision() {
    let revision =
        |id: &str, more: &str| format!("  {id}: {{of: t, {more}, date: 2027-01-06, agreed-by: x, reason: y}}\n");
    let at = |day: &'static str, limit: &str, revisions: &str| {
        let revisions = if revisions.is_empty() { String::new() } else { format!("revisions:\n{revisions}") };
        (day, target(limit, &revisions))
    };
    // A change without a revision, and then a small one with a revision.
    let two_changes = |revision: &str| {
        let first = at("2027-01-01", "at-most: 300 N", "");
        findings(&[first, at("2027-01-07", "at-most: 335 N", ""), at("2027-01-09", "at-most: 340 N", revision)])
    };
    let silent = "unrecorded-revision v: it replaces a limit that no revision has as `to`: at most 335 N, set on 2027-01-07 (0000000000)";
    assert_eq!(two_changes(&revision("v", "from: 335 N, to: 340 N")), [silent]);
    assert_eq!(two_changes(&revision("v", "to: 340 N")), [silent], "without `from` it is the limit before");
    let both = revision("u", "from: 300 N, to: 335 N") + &revision("v", "from: 335 N, to: 340 N");
    assert_eq!(two_changes(&both), [""; 0]);
    // A `from` that was never the limit, and one of another quantity.
    let run = |revisions: &str| {
        findings(&[at("2027-01-01", "at-most: 300 N", ""), at("2027-01-07", "at-most: 320 N", revisions)])
    };
    let invented = revision("u", "from: 290 N, to: 310 N") + &revision("v", "from: 310 N, to: 320 N");
    let found = run(&invented);
    assert_eq!(found[0], "unrecorded-revision u: it has `from: 290 N`, but the limit of t never had this value");
    assert!(found[1].starts_with("unrecorded-revision v: it has `from: 310 N`, but the limit of t was at most 300 N"));
    let other = run(&revision("v", "from: 300 kg, to: 320 N"));
    assert_eq!(
        other,
        ["unrecorded-revision v: it changes the limit of t from 300 kg to 320 N: the units do not match"]
    );
    // Both ends of a range.
    let range = |revisions: &str| {
        findings(&[at("2027-01-01", "between: [10 N, 20 N]", ""), at("2027-01-07", "between: [12 N, 25 N]", revisions)])
    };
    let low = revision("v", "from: 10 N, to: 12 N");
    assert!(range(&low)[0].contains("12 N to 25 N since 2027-01-07"), "{:?}", range(&low));
    assert_eq!(range(&(low + &revision("w", "from: 20 N, to: 25 N"))), [""; 0]);
    // Removing an end is a change too.
    let given_up = |revisions: &str| {
        findings(&[at("2027-01-01", "between: [10 N, 20 N]", ""), at("2027-01-07", "at-least: 10 N", revisions)])
    };
    assert!(given_up("")[0].contains("is at least 10 N since 2027-01-07"), "{:?}", given_up(""));
    assert_eq!(given_up(&revision("v", "from: 20 N, to: 10 N")), [""; 0]);
    // Two revisions do not confirm each other, and an earlier one does not record a later change.
    let states = [
        at("2027-01-01", "at-most: 300 N", ""),
        at("2027-01-02", "at-most: 320 N", &revision("u", "from: 300 N, to: 320 N")),
        at(
            "2027-01-03",
            "at-most: 350 N",
            &(revision("u", "from: 300 N, to: 320 N") + &revision("w", "from: 320 N, to: 350 N")),
        ),
        at(
            "2027-01-04",
            "at-most: 360 N",
            &(revision("u", "from: 300 N, to: 320 N")
                + &revision("w", "from: 320 N, to: 350 N")
                + &revision("x", "from: 320 N, to: 360 N")),
        ),
    ];
    let found = findings(&states);
    assert!(
        found[0].starts_with("unrecorded-revision x: it has `from: 320 N`, but the limit of t was at most 350 N"),
        "{found:?}"
    );
    let ring = revision("u", "from: 335 N, to: 340 N") + &revision("v", "from: 340 N, to: 335 N");
    let ring = [
        at("2027-01-01", "at-most: 300 N", ""),
        at("2027-02-02", "at-most: 335 N", ""),
        at("2027-02-03", "at-most: 340 N", ""),
        at("2027-02-04", "at-most: 335 N", &ring),
    ];
    assert!(!findings(&ring).is_empty());
    // A draft that is corrected together with the limit, which returns to an earlier value.
    let there = revision("u", "from: 200 N, to: 205 N");
    let back = [
        at("2027-01-01", "at-most: 200 N", ""),
        at("2027-01-02", "at-most: 205 N", &there),
        at("2027-01-03", "at-most: 205 N", &(there.clone() + &revision("v", "from: 205 N, to: 210 N"))),
        at("2027-01-04", "at-most: 200 N", &(there.clone() + &revision("v", "from: 205 N, to: 200 N"))),
    ];
    assert_eq!(findings(&back), [""; 0]);
    // A revision that was edited after the limit had changed; and a draft that was corrected before.
    let edited = [
        at("2027-01-01", "at-most: 300 N", ""),
        at("2027-01-07", "at-most: 320 N", &revision("v", "from: 300 N, to: 302 N")),
        at("2027-01-09", "at-most: 320 N", &revision("v", "from: 300 N, to: 320 N")),
    ];
    assert!(findings(&edited)[0].ends_with("; revision v was edited to this limit later, on 2027-01-09 (0000000000)"));
    let draft = [
        at("2027-01-01", "at-most: 300 N", &revision("v", "from: 300 N, to: 302 N")),
        at("2027-01-07", "at-most: 320 N", &revision("v", "from: 300 N, to: 320 N")),
    ];
    assert_eq!(findings(&draft), [""; 0]);
}

#[test]
fn a_limit_does_not_follow_a_result_in_two_changes() {
    let at = |day: &'static str, limit: &str, more: &str| (day, target(limit, &format!("{RESULT}{more}")));
    let revision = "revisions: {v: {of: t, from: 4.35 s, to: 4.4 s, date: 2027-01-09, agreed-by: x, reason: y}}\n";
    let states = [
        ("2027-01-01", target("at-most: 4.2 s", "")),
        at("2027-01-06", "at-most: 4.2 s", ""),
        at("2027-01-07", "at-most: 4.35 s", ""),
        at("2027-01-09", "at-most: 4.4 s", revision),
    ];
    let found = findings(&states);
    assert!(found[0].contains("changed from at most 4.2 s to at most 4.35 s on 2027-01-07"), "{found:?}");
    // A result whose date was changed to one after the change of the limit.
    let states = [
        states[0].clone(),
        states[1].clone(),
        (
            "2027-01-07",
            target("at-most: 4.35 s", &RESULT.replace("01-05}", "01-12, notes: The sheet was of another day.}")),
        ),
    ];
    let found = findings(&states);
    assert!(found[0].ends_with("after result r, added on 2027-01-06, which meets the new limit"), "{found:?}");
}

#[test]
fn a_result_that_is_rewritten() {
    let result = |id: &str, keys: &str| format!("  {id}: {{of: t, {keys}}}\n");
    let at = |day: &'static str, results: &str| (day, target("at-most: 5 s", &format!("results:\n{results}")));
    let keys = "value: 4.3 s ± 0.1 s, date: 2027-01-05";
    let start = ("2027-01-01", target("at-most: 5 s", ""));
    let first = at("2027-01-06", &result("r", keys));
    let run = |later: &str| findings(&[start.clone(), first.clone(), at("2027-01-08", later)]);
    assert_eq!(
        run(&result("r", "value: 4.1 s ± 0.1 s, date: 2027-01-05")),
        [
            "rewritten-result r: the value of r changed from `4.3 s ± 0.1 s` (2027-01-06, 0000000000) to `4.1 s ± 0.1 s` (2027-01-08, 0000000000) without a note"
        ]
    );
    assert!(run(&result("r", "value: 4.3 s ± 0.4 s, date: 2027-01-05"))[0].contains("the value of r"), "wider");
    assert!(run(&result("r", "value: 4.3 s ± 0.1 s, date: 2027-01-04"))[0].contains("the date of r"));
    let turned = run(&result("r", "outcome: pass, date: 2027-01-05"));
    assert!(turned[0].contains("was removed (2027-01-08"), "{turned:?}");
    for (why, later) in [
        ("the same value in another unit", result("r", "value: 4300 ms ± 100 ms, date: 2027-01-05")),
        ("a note", result("r", "value: 4.1 s ± 0.1 s, date: 2027-01-05, notes: The gates were a metre too far.")),
        ("more keys", result("r", &format!("{keys}, evidence: [a.yaml], title: Gates"))),
        ("another id for it", result("p", keys)),
        ("named", result("p", "value: 4.1 s, date: 2027-01-07, notes: 'The gates of r were at the wrong place.'")),
    ] {
        assert_eq!(run(&later), [""; 0], "{why}");
    }
    let gone = run(&result("p", "value: 4.1 s, date: 2027-01-07, notes: 'No r-like gates.'"));
    assert_eq!(
        gone,
        [
            "rewritten-result t: result r (4.3 s ± 0.1 s, 2027-01-05) of t was removed on 2027-01-08 (0000000000) without a note in another result"
        ]
    );
    // A change that was undone, and a note that is older than the change.
    let back =
        [start.clone(), first.clone(), at("2027-01-08", &result("r", "value: 4.1 s, date: 2027-01-05")), first.clone()];
    assert_eq!(findings(&back), [""; 0]);
    let noted = |value: &str| result("r", &format!("value: {value}, date: 2027-01-05, notes: No wind."));
    let older = [start.clone(), at("2027-01-06", &noted("4.3 s")), at("2027-01-08", &noted("4.1 s"))];
    assert!(findings(&older)[0].starts_with("rewritten-result r: "));
    // Notes that are empty, or the same as before, or were removed again.
    let changed = |notes: &str| result("r", &format!("value: 4.1 s, date: 2027-01-05, notes: {notes}"));
    for blank in ["''", "' '", "null", "'.'"] {
        assert_eq!(run(&changed(blank)).len(), 1, "{blank}");
    }
    let spaced = [start.clone(), at("2027-01-06", &noted("4.3 s")), at("2027-01-08", &changed("No  wind"))];
    assert_eq!(findings(&spaced).len(), 1);
    let without_note = at("2027-01-09", &result("r", "value: 4.1 s, date: 2027-01-05"));
    let taken_back = [start.clone(), first.clone(), at("2027-01-08", &changed("A reason.")), without_note];
    assert_eq!(findings(&taken_back).len(), 1);
    // A note that was removed in one commit and added again in the next; and a value that was added in a later commit.
    let put_back = [
        start.clone(),
        at("2027-01-06", &noted("4.3 s")),
        at("2027-01-07", &result("r", "value: 4.1 s, date: 2027-01-05")),
        at("2027-01-08", &noted("4.1 s")),
    ];
    assert_eq!(findings(&put_back).len(), 1);
    let later = [
        start.clone(),
        at("2027-01-06", &result("r", "outcome: pass, date: 2027-01-05")),
        at("2027-01-07", &result("r", "value: 4.3 s, date: 2027-01-05, notes: The number was found.")),
        at("2027-01-08", &result("r", "value: 4.1 s, date: 2027-01-05, notes: The number was found.")),
    ];
    assert!(findings(&later)[0].contains("the value of r changed from `4.3 s` (2027-01-07"), "{:?}", findings(&later));
    // The target was renamed, and the result was removed.
    let gone = "targets: {u: {of: car, at-most: 5 s, formerly: [t]}}\n".to_owned();
    let found = findings(&[start.clone(), first.clone(), ("2027-01-08", gone)]);
    assert!(found[0].starts_with("rewritten-result u: result r (4.3 s ± 0.1 s, 2027-01-05) of u was removed"));
    // The target was renamed.
    let renamed = "targets: {u: {of: car, at-most: 5 s, formerly: [t]}}\nresults: {r: {of: u, value: 4.3 s ± 0.1 s, date: 2027-01-05}}\n";
    assert_eq!(findings(&[start, first, ("2027-01-08", renamed.to_owned())]), [""; 0]);
}

/// A system with parts, targets, a requirement, and further records.
fn car(parts: &str, more: &str) -> String {
    format!(
        "systems: {{s: {{in: car}}, inner: {{in: s}}}}\nparts:\n{parts}targets:\n  t: {{of: car, total: mass, at-most: 9 kg}}\n  u: {{of: s, at-most: 1 s}}\n  v: {{of: s, total: mass, at-most: 5 kg}}\nrequirements: {{q: {{of: a, shall: hold.}}}}\n{more}"
    )
}

const A: &str = "  a: {in: s, amounts: {mass: 1 kg}}\n";
const B: &str = "  b: {in: inner, amounts: {mass: 1 kg}}\n";

#[test]
fn what_makes_a_result_stale() {
    let of = |id: &str, value: &str| format!("results: {{r: {{of: {id}, {value}, date: 2027-01-06}}}}\n");
    let run = |id: &str, value: &str, parts: &str, more: &str| {
        let with_result = |more: &str| format!("{}{more}", of(id, value));
        findings(&[
            ("2027-01-06", car(&format!("{A}{B}"), &with_result(""))),
            ("2027-01-09", car(parts, &with_result(more))),
        ])
    };
    let lighter = format!("  a: {{in: s, amounts: {{mass: 0.8 kg}}}}\n{B}");
    let weighed = format!("  a: {{in: s, amounts: {{mass: {{value: 0.8 kg, basis: weighed}}}}}}\n{B}");
    let other_amount = format!("  a: {{in: s, amounts: {{mass: 1 kg, inertia: 3 kg*m^2}}}}\n{B}");
    let price = format!("  a: {{in: s, amounts: {{mass: 1 kg, cost: 3 EUR}}}}\n{B}");
    let same = format!("  a: {{in: s, count: 1, amounts: {{mass: 1000 g}}}}\n{B}");
    let chosen = "decisions: {d: {of: a, alternatives: {x: {}, y: {}}, chosen: x}}\n";
    for (id, value) in [("a", "outcome: pass"), ("q", "outcome: pass"), ("u", "value: 1 s")] {
        let stale = run(id, value, &lighter, "");
        assert_eq!(stale.len(), 1, "{id}");
        assert!(
            stale[0].ends_with(
                "is out of date: after the test, a.mass changed from `1 kg` to `0.8 kg` on 2027-01-09 (0000000000)"
            ),
            "{stale:?}"
        );
        assert_eq!(run(id, value, &weighed, ""), [""; 0], "{id}: a measurement");
        assert_eq!(run(id, value, &same, ""), [""; 0], "{id}: in another unit");
        let other = run(id, value, &other_amount, "");
        assert_eq!(other.len(), 1, "{id}: another amount: {other:?}");
        assert_eq!(run(id, value, &price, ""), [""; 0], "{id}: a price");
    }
    for id in ["a", "q"] {
        assert!(run(id, "outcome: pass", &format!("{A}{B}"), chosen)[0].contains("the choice of d was set to `x`"));
        assert_eq!(run(id, "outcome: pass", A, ""), [""; 0], "another part");
    }
    assert!(run("u", "value: 1 s", A, "")[0].contains("the part b was removed"), "in a system inside");
    let third = format!("{A}{B}  c: {{in: s}}\n");
    assert!(run("u", "value: 1 s", &third, "")[0].contains("the part c was added"));
    assert!(run("t", "value: 8 kg", &lighter, "")[0].contains("a.mass changed"), "the car's budget");
    assert_eq!(run("t", "value: 8 kg", &other_amount, ""), [""; 0], "another amount than the budget's");
    assert_eq!(run("t", "value: 8 kg", &third, ""), [""; 0], "a part without that amount");
    assert!(run("v", "value: 4 kg", &lighter, "")[0].contains("a.mass changed"), "the system's share");
    assert_eq!(run("v", "value: 4 kg", &other_amount, ""), [""; 0], "a cost is not part of a mass");
}

#[test]
fn a_later_result_or_an_undone_change_is_not_stale() {
    let result = |more: &str| format!("results:\n  r: {{of: a, outcome: pass, date: 2027-01-05}}\n{more}");
    let lighter = "  a: {in: s, amounts: {mass: 0.8 kg}}\n";
    let first = ("2027-01-06", car(A, &result("")));
    let second = ("2027-01-09", car(lighter, &result("")));
    assert_eq!(findings(&[first.clone(), second.clone()]).len(), 1);
    let again = ("2027-01-12", car(lighter, &result("  r2: {of: a, outcome: pass, date: 2027-01-11}\n")));
    assert_eq!(findings(&[first.clone(), second.clone(), again]), [""; 0]);
    let back = ("2027-01-12", car(A, &result("")));
    assert_eq!(findings(&[first, second, back]), [""; 0]);
}

#[test]
fn analyses_without_a_formula_become_stale() {
    let lighter = format!("  a: {{in: s, amounts: {{mass: 0.8 kg}}}}\n{B}");
    let run = |analysis: &str| {
        let more = format!("analyses:\n  c: {analysis}\n  d: {{supersedes: [old], informs: [b]}}\n");
        findings(&[("2027-01-06", car(&format!("{A}{B}"), &more)), ("2027-01-09", car(&lighter, &more))])
    };
    assert!(
        run("{finds: {u: 1 s}}")[0]
            .starts_with("stale-analysis c: c is out of date: after the calculation, a.mass changed")
    );
    assert!(run("{finds: {t: 1 kg}, given: {m: 2 * a.mass}}")[0].starts_with("stale-analysis c: "));
    assert_eq!(run("{finds: {t: 1 kg}, given: {m: b.mass}}"), [""; 0], "another part");
    assert_eq!(run("{formula: 2 s, finds: u}"), [""; 0], "it is calculated on every run");
}

#[test]
fn what_follows_the_choice_of_a_decision() {
    let choice =
        |more: &str| format!("decisions: {{d: {{criteria: [t], alternatives: {{x: {{}}, y: {{}}}}{more}}}}}\n");
    let analysis = "analyses: {a: {informs: [d]}}\n";
    let at = |day: &'static str, limit: &str, more: String| (day, target(limit, &more));
    let (met, chosen) = ("at-most: 5 s, estimate: 4 s", ", chosen: x, reason: R");
    let later = [
        at("2027-01-01", met, choice("")),
        at("2027-01-05", met, choice(chosen)),
        at("2027-01-09", met, choice(chosen) + analysis),
    ];
    assert_eq!(
        findings(&later),
        [
            "analysis-after-decision a: a informs d, but was added on 2027-01-09 (0000000000), after x was chosen on 2027-01-05 (0000000000)"
        ]
    );
    let moved =
        |limit: &str, more: String| findings(&[later[0].clone(), later[1].clone(), at("2027-01-09", limit, more)]);
    assert_eq!(
        moved("at-most: 6 s, estimate: 4 s", choice(chosen)),
        [
            "target-after-decision t: the limit of t changed from at most 5 s to at most 6 s on 2027-01-09 (0000000000), after the choice of d on 2027-01-05 (0000000000), which is judged by it"
        ]
    );
    let none = "estimate: 4 s";
    let first = [at("2027-01-05", none, choice(chosen)), at("2027-01-09", met, choice(chosen))];
    assert!(findings(&first)[0].starts_with("target-after-decision t: the limit of t was first set to at most 5 s"));
    let again = ", chosen: y, reason: R";
    let revision = "revisions: {v: {of: t, to: 6 s, date: 2027-01-08, agreed-by: x, reason: y}}\n";
    for (why, found) in [
        ("in one commit", findings(&[later[0].clone(), at("2027-01-05", met, choice(chosen) + analysis)])),
        ("nothing is chosen", findings(&[later[0].clone(), at("2027-01-05", met, choice("") + analysis)])),
        ("chosen again", moved(met, choice(again) + analysis)),
        ("another reason", moved(met, choice(", chosen: x, reason: As before.") + analysis)),
        ("stricter and met", moved("at-most: 4.5 s, estimate: 4 s", choice(chosen))),
        ("the same limit", moved("at-most: 5000 ms, estimate: 4 s", choice(chosen))),
        ("agreed", moved("at-most: 6 s, estimate: 4 s", choice(chosen) + revision)),
        ("looked at again", moved("at-most: 5 s, estimate: 4 s", choice(", chosen: x, reason: R, notes: N"))),
    ] {
        assert_eq!(found, [""; 0], "{why}");
    }
}
