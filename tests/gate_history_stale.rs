//! What makes a result or a calculation stale, and what does not: each case through git.

use crate::gate_history::{assert_none, assert_one, reported};
use crate::history_merges::{branch, merge, name, rig, switch};
use crate::support::Sandbox;

/// A repository with a part and a system in it, committed on a day.
fn with_rack(amounts: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    rack(&sandbox, "2027-01-01", amounts);
    sandbox
}

fn rack_file(amounts: &str, more: &str) -> String {
    format!(
        "parts:\n  rack:\n    in: suspension\n    amounts: {amounts}\n    serves: {{circle-time: It steers.}}\n    verify: {{by: test, with: rig, due: 2027-06-01}}\n{more}"
    )
}

pub(crate) fn rack(sandbox: &Sandbox, day: &str, amounts: &str) {
    sandbox.write("rack.yaml", rack_file(amounts, ""));
    sandbox.commit_on(day, "rack");
}

/// A test of the rack, with this date, committed on this day.
pub(crate) fn tested(sandbox: &Sandbox, day: &str, date: &str, more: &str) {
    sandbox.write(
        "test.yaml",
        format!("results: {{pull: {{of: rack, outcome: pass, date: {date}, evidence: [chain.yaml]{more}}}}}\n"),
    );
    sandbox.commit_on(day, "test");
}

#[test]
fn a_price_does_not_change_a_strength() {
    let sandbox = with_rack("{mass: 1.4 kg, cost: 60 EUR}");
    tested(&sandbox, "2027-02-01", "2027-02-01", "");
    sandbox.write(
        "calc.yaml",
        "targets:\n  rack-safety: {of: rack, at-least: 2, serves: {circle-time: It steers.}, lead: x, verify: {by: analysis, with: FEM, due: 2027-06-01}}\nanalyses:\n  bending: {finds: {rack-safety: 2.4}, informs: [rack], evidence: [chain.yaml]}\n",
    );
    sandbox.commit_on("2027-02-02", "calculation");
    rack(&sandbox, "2027-02-10", "{mass: 1.4 kg, cost: 66 EUR}");
    assert_none(&sandbox, "a quote");
    rack(&sandbox, "2027-02-11", "{mass: 1.4 kg ± 0.1 kg, cost: 66 EUR ± 5 EUR}");
    assert_none(&sandbox, "an uncertainty");
    rack(&sandbox, "2027-02-12", "{mass: 1.1 kg, cost: 66 EUR}");
    let found = reported(&sandbox);
    assert_eq!(found.len(), 2, "{found:#?}");
    assert!(found.iter().all(|one| one.contains("rack.mass changed from `1.4 kg ± 0.1 kg` to `1.1 kg` on 2027-02-12")));

    // What was paid depends on prices only.
    let sandbox = with_rack("{mass: 1.4 kg, cost: 60 EUR}");
    sandbox.write(
        "paid.yaml",
        "targets: {rack-price: {of: rack, at-most: 70 EUR, lead: x, serves: {circle-time: Money is short.}}}\nresults: {invoice: {of: rack-price, value: 61 EUR, date: 2027-01-01, evidence: [chain.yaml]}}\n",
    );
    sandbox.commit_on("2027-01-01", "invoice");
    rack(&sandbox, "2027-02-10", "{mass: 1.2 kg, cost: 60 EUR}");
    assert_none(&sandbox, "a mass is not a price");
    rack(&sandbox, "2027-02-11", "{mass: 1.2 kg, cost: 66 EUR}");
    assert_one(
        &sandbox,
        "warning stale-result invoice rack-price is out of date: after the test, rack.cost changed from `60 EUR` to `66 EUR`",
    );
}

/// The date of a result is the day of the measurement, whenever it was committed.
#[test]
fn a_result_is_stale_by_its_own_date() {
    // Measured on 1 March, part changed on 10 March, typed in on 15 March.
    let sandbox = with_rack("{mass: 1.4 kg}");
    rack(&sandbox, "2027-03-10", "{mass: 1.2 kg}");
    let changed = name(&sandbox, "HEAD");
    tested(&sandbox, "2027-03-15", "2027-03-01", "");
    assert_one(
        &sandbox,
        &format!(
            "warning stale-result pull rack is out of date: after the test, rack.mass changed from `1.4 kg` to `1.2 kg` on 2027-03-10 ({changed})"
        ),
    );
    tested(&sandbox, "2027-03-16", "2027-03-01", ", notes: The rack lost mass at its ends only.");
    assert_none(&sandbox, "explained");
    tested(&sandbox, "2027-03-17", "2027-03-12", ", notes: ''");
    let found = reported(&sandbox);
    assert!(found.iter().all(|one| !one.contains("stale-result")), "measured again: {found:#?}");

    // Several changes: those before the date do not count, and what was undone does not either.
    let sandbox = with_rack("{mass: 1.4 kg}");
    for (day, mass) in [("2027-02-20", "1.3 kg"), ("2027-03-05", "1.25 kg"), ("2027-03-10", "1.2 kg")] {
        rack(&sandbox, day, &format!("{{mass: {mass}}}"));
    }
    tested(&sandbox, "2027-03-15", "2027-03-01", "");
    let found = reported(&sandbox);
    assert!(
        found.len() == 1
            && found[0].contains("from `1.25 kg` to `1.2 kg` on 2027-03-10")
            && found[0].ends_with(", and 1 more change"),
        "{found:#?}"
    );
    rack(&sandbox, "2027-03-16", "{mass: 1.3 kg}");
    assert_none(&sandbox, "the mass is what it was on the day of the test");

    // On the same day the order is not known; a test that was committed before the change was before it.
    let sandbox = with_rack("{mass: 1.4 kg}");
    rack(&sandbox, "2027-03-01", "{mass: 1.2 kg}");
    tested(&sandbox, "2027-03-15", "2027-03-01", "");
    assert_none(&sandbox, "the part changed on the day of the test");
    let sandbox = with_rack("{mass: 1.4 kg}");
    tested(&sandbox, "2027-03-01", "2027-03-01", "");
    rack(&sandbox, "2027-03-01", "{mass: 1.2 kg}");
    assert_one(&sandbox, "warning stale-result pull");

    // Dated later than its commit: the change was before the measurement.
    let sandbox = with_rack("{mass: 1.4 kg}");
    tested(&sandbox, "2027-03-01", "2027-03-12", "");
    rack(&sandbox, "2027-03-10", "{mass: 1.2 kg}");
    assert_none(&sandbox, "measured after the change");
    rack(&sandbox, "2027-03-14", "{mass: 1.1 kg}");
    assert_one(&sandbox, "warning stale-result pull");

    // The part was written down after the test: what it was then is not known, but what changed later is.
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-01-01", "start");
    rack(&sandbox, "2027-03-05", "{mass: 1.4 kg}");
    tested(&sandbox, "2027-03-15", "2027-03-01", "");
    assert_none(&sandbox, "a part that was written down late");
    rack(&sandbox, "2027-03-16", "{mass: 1.2 kg}");
    assert_one(&sandbox, "warning stale-result pull");
}

/// A part that comes into a system: after the commit of a result, or between its date and its commit.
#[test]
fn a_part_that_is_added_to_a_tested_system() {
    let prepare = || {
        let sandbox = Sandbox::repository();
        sandbox.small_root("");
        sandbox.write(
            "stiff.yaml",
            "targets: {stiffness: {of: suspension, at-least: 2 kN/mm, lead: x, serves: {circle-time: It holds the wheel.}}}\n",
        );
        sandbox.commit_on("2027-01-01", "start");
        sandbox
    };
    let test = |sandbox: &Sandbox, day: &str| {
        sandbox.write("rig.yaml", rig("rig", "stiffness", "2.5 kN/mm", "2027-03-01", ""));
        sandbox.commit_on(day, "test");
    };
    let sandbox = prepare();
    test(&sandbox, "2027-03-01");
    rack(&sandbox, "2027-03-10", "{mass: 1.4 kg}");
    assert_one(
        &sandbox,
        "warning stale-result rig stiffness is out of date: after the test, the part rack was added on 2027-03-10",
    );
    let sandbox = prepare();
    rack(&sandbox, "2027-03-10", "{mass: 1.4 kg}");
    test(&sandbox, "2027-03-15");
    assert_one(
        &sandbox,
        "note stale-result rig stiffness is out of date: after the test, the part rack first appears here on 2027-03-10",
    );
}

/// A change on a branch that was made before the test, and merged after it.
#[test]
fn a_part_that_changed_on_a_branch() {
    for (day, stale) in [("2027-02-20", false), ("2027-03-03", true)] {
        let sandbox = with_rack("{mass: 1.4 kg}");
        branch(&sandbox, "side");
        rack(&sandbox, day, "{mass: 1.2 kg}");
        let changed = name(&sandbox, "HEAD");
        switch(&sandbox, "main");
        tested(&sandbox, "2027-03-01", "2027-03-01", "");
        merge(&sandbox, "2027-03-05", &["side"]);
        if stale {
            assert_one(
                &sandbox,
                &format!(
                    "warning stale-result pull rack is out of date: after the test, rack.mass changed from `1.4 kg` to `1.2 kg` on {day} ({changed})"
                ),
            );
        } else {
            assert_none(&sandbox, "changed before the test");
        }
    }
}
