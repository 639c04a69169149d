//! Properties for any two states: the reverse delta mirrors the delta, and no finding, record or value is lost.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::{Value, json};

use crate::support::{SETTINGS, Sandbox};

/// How a part is written.
#[derive(Clone, Debug)]
struct Part {
    renamed: bool,
    mass: u8,
    /// 0: it serves an existing record, 1: without a reason, 2: an unknown record, 3: none.
    serves: u8,
    verified: bool,
    waived: bool,
    file: u8,
}

/// A state of the project root.
#[derive(Clone, Debug)]
struct State {
    parts: Vec<Option<Part>>,
    limit: u8,
    revised: bool,
    estimate: u8,
    broken_file: Option<u8>,
    event_gone: bool,
}

fn part() -> impl Strategy<Value = Option<Part>> {
    let fields = (any::<bool>(), 1..4_u8, 0..4_u8, any::<bool>(), any::<bool>(), 0..3_u8);
    prop::option::weighted(
        0.8,
        fields.prop_map(|(renamed, mass, serves, verified, waived, file)| Part {
            renamed,
            mass,
            serves,
            verified,
            waived,
            file,
        }),
    )
}

fn state() -> impl Strategy<Value = State> {
    let parts = prop::collection::vec(part(), 4);
    let broken = prop::option::weighted(0.3, 0..3_u8);
    (parts, 0..3_u8, any::<bool>(), 0..3_u8, broken, prop::bool::weighted(0.15)).prop_map(
        |(parts, limit, revised, estimate, broken_file, event_gone)| State {
            parts,
            limit,
            revised,
            estimate,
            broken_file,
            event_gone,
        },
    )
}

impl State {
    fn write(&self, sandbox: &Sandbox) {
        for file in std::fs::read_dir(sandbox.path()).unwrap().map(|entry| entry.unwrap().path()) {
            if file.extension().is_some() {
                std::fs::remove_file(file).unwrap();
            }
        }
        // Findings of the history checks name commits, which differ in the reverse direction.
        sandbox.write("tierod.yaml", format!("{SETTINGS}history: off\n"));
        let limit = ["5.2 s", "5.1 s", "5.3 s"][usize::from(self.limit)];
        let estimate = ["5.1 s ± 0.05 s", "5.4 s", "5.05 s"][usize::from(self.estimate)];
        let event = "events:\n  skidpad:\n    plan: 50 pts\n    lead: lead\n    reads: {time: circle-time}\n    score: {formula: \
                     50 pts * 5 s / time}\n    serves: {top-ten: Cheapest points of all.}\n";
        let event = if self.event_gone { "" } else { event };
        sandbox.write(
            "chain.yaml",
            format!(
                "goals:\n  top-ten: {{place: 10, reason: It keeps the workshop., lead: lead}}\n{event}systems:\n  \
                 suspension: {{in: car, lead: lead}}\ntargets:\n  circle-time:\n    of: car\n    at-most: {limit}\n    \
                 estimate: {estimate}\n    lead: lead\n    serves: {{skidpad: It is what is timed.}}\n    verify: {{by: test, \
                 with: gates, due: 2027-06-01}}\n  car-mass:\n    of: car\n    at-most: 7 kg\n    total: mass\n    lead: lead\n    \
                 serves: {{skidpad: It is what is timed too.}}\n    verify: {{by: test, with: scales, due: 2027-06-01}}\n"
            ),
        );
        let mut files = vec![String::new(); 3];
        let mut agreed = String::new();
        for (number, part) in self.parts.iter().enumerate() {
            let Some(part) = part else { continue };
            let file = &mut files[usize::from(part.file)];
            let id = format!("{}-{number}", if part.renamed { "newer" } else { "older" });
            if file.is_empty() {
                file.push_str("parts:\n");
            }
            let _ = writeln!(file, "  {id}:\n    in: suspension\n    amounts: {{mass: {} kg}}", part.mass);
            if part.renamed {
                let _ = writeln!(file, "    formerly: [older-{number}]");
            }
            match part.serves {
                0 => file.push_str("    serves: {circle-time: It holds the wheel.}\n"),
                1 => file.push_str("    serves: {circle-time: , car-mass: }\n"),
                2 => file.push_str("    serves: {no-such-time: It holds the wheel.}\n"),
                _ => {}
            }
            if part.verified {
                file.push_str("    verify: {by: inspection, with: gauge, due: 2027-06-01}\n");
            }
            if part.waived {
                let _ = writeln!(
                    agreed,
                    "  waiver-{number}: {{check: no-verification, of: {id}, until: 2027-09-01, agreed-by: lead, reason: It is late.}}"
                );
            }
        }
        for (number, file) in files.iter().enumerate().filter(|(_, file)| !file.is_empty()) {
            sandbox.write(&format!("parts-{number}.yaml"), file);
        }
        if !agreed.is_empty() {
            sandbox.write("waivers.yaml", format!("waivers:\n{agreed}"));
        }
        if self.revised {
            let revision =
                format!("{{of: circle-time, to: {limit}, date: 2027-03-01, agreed-by: lead, reason: Agreed.}}");
            sandbox.write("revisions.yaml", format!("revisions:\n  circle-time-march: {revision}\n"));
        }
        if let Some(file) = self.broken_file {
            sandbox.write(&format!("broken-{file}.yaml"), "parts: [\n");
        }
    }
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap()
}

/// A list in sorted order, each item as text and with the newer of two ids.
fn sorted(items: impl Iterator<Item = Value>) -> Vec<String> {
    let mut all: Vec<String> = items.map(|item| item.to_string().replace("older-", "newer-")).collect();
    all.sort();
    all
}

/// The same with before and after exchanged.
fn turned(items: &Value) -> impl Iterator<Item = Value> {
    list(items).clone().into_iter().map(|mut item| {
        let before = item["before"].take();
        item["before"] = item["after"].take();
        item["after"] = before;
        item
    })
}

/// Findings without their waiver, and without the place of a broken file.
fn findings(items: &Value) -> Vec<String> {
    let keys = ["check", "level", "record", "field", "message", "help"];
    sorted(list(items).iter().map(|item| keys.iter().map(|key| item[*key].clone()).collect()))
}

const DAYS: [&str; 2] = ["2027-03-19", "2027-07-01"];

fn holds(a: &State, b: &State, on: &str) {
    let sandbox = Sandbox::repository();
    for (state, tag) in [(a, "a"), (b, "b")] {
        state.write(&sandbox);
        sandbox.git(&["add", "-A"]);
        sandbox.git(&["commit", "-q", "--allow-empty", "-m", tag]);
        sandbox.git(&["tag", tag]);
    }
    let ask = |args: &[&str]| {
        let answer = sandbox.tierod(&[args, &["--on", on, "--format", "json"]].concat());
        assert!(answer.code < 2, "{}", answer.err);
        (answer.code, answer.json())
    };
    let (code, there) = ask(&["delta", "a", "b"]);
    let (_, back) = ask(&["delta", "b", "a"]);

    assert_eq!(findings(&there["new"]), findings(&back["fixed"]), "new, and fixed in the reverse delta");
    assert_eq!(findings(&there["fixed"]), findings(&back["new"]), "fixed, and new in the reverse delta");
    assert_eq!(there["unchanged"], back["unchanged"]);
    let ids = |answer: &Value, sort: &str| sorted(list(&answer["records"][sort]).iter().map(|it| it["id"].clone()));
    assert_eq!(ids(&there, "added"), ids(&back, "removed"));
    assert_eq!(ids(&there, "removed"), ids(&back, "added"));
    assert_eq!(ids(&there, "edited"), ids(&back, "edited"));
    let renames = |answer: &Value, from: &str, to: &str| -> BTreeSet<String> {
        list(&answer["records"]["renamed"]).iter().map(|it| format!("{} {}", it[from], it[to])).collect()
    };
    assert_eq!(renames(&there, "before", "id"), renames(&back, "id", "before"));
    for changes in ["values", "status_changes"] {
        assert_eq!(sorted(list(&there[changes]).iter().cloned()), sorted(turned(&back[changes])), "{changes}");
    }
    let limits = |items: &mut dyn Iterator<Item = Value>| {
        sorted(items.map(|mut item| {
            item["revision"] = Value::Null;
            item
        }))
    };
    assert_eq!(
        limits(&mut list(&there["limits_changed"]).clone().into_iter()),
        limits(&mut turned(&back["limits_changed"]))
    );
    for level in ["error", "warning", "note"] {
        assert_eq!(there["counts"][level]["before"], back["counts"][level]["after"]);
    }
    assert_eq!(there["points"]["before"], back["points"]["after"]);
    assert_eq!(there["points"]["after"], back["points"]["before"]);
    assert_eq!(there["amounts"]["mass"]["before"], back["amounts"]["mass"]["after"]);

    // No finding is lost: head has the new and the unchanged ones, base the fixed and the unchanged ones.
    for (side, revision, level) in [("new", "b", "after"), ("fixed", "a", "before")] {
        let (_, check) = ask(&["check", "--rev", revision]);
        let mut all = findings(&check["findings"]);
        let unchanged = usize::try_from(there["unchanged"].as_u64().unwrap()).unwrap();
        let listed = list(&there[side]).len() + unchanged;
        // What cannot be seen in the other state, because a file cannot be read there, is in no list.
        let other = if side == "new" { a } else { b };
        assert!(listed == all.len() || (listed < all.len() && other.broken_file.is_some()), "{side}: {listed}");
        for finding in findings(&there[side]) {
            let at = all.iter().position(|other| *other == finding);
            all.remove(at.unwrap_or_else(|| panic!("{finding} is not in check at {revision}")));
        }
        assert_eq!(check["summary"]["error"], there["counts"]["error"][level]);
    }
    let errors = list(&there["new"]).iter().any(|finding| finding["level"] == "error");
    assert_eq!(code, i32::from(errors));

    // Every changed value depends on a cause, and a cause is listed with both its values.
    assert_eq!(list(&there["values"]).is_empty(), list(&there["causes"]).is_empty());
    // The findings that the commit adds, by the command of the hook.
    sandbox.git(&["checkout", "-q", "--detach", "a"]);
    sandbox.git(&["read-tree", "b"]);
    let (staged, check) = ask(&["check", "--staged"]);
    assert_eq!(check["findings"], there["new"]);
    assert_eq!(staged, code);

    for side in ["a", "b"] {
        let (code, none) = ask(&["delta", side, side]);
        assert_eq!(code, 0);
        for key in ["new", "fixed", "values", "causes", "status_changes", "limits_changed"] {
            assert_eq!(none[key], json!([]), "{key}");
        }
        assert_eq!(none["records"], json!({"added": [], "removed": [], "renamed": [], "edited": []}));
    }
}

/// The same states in each run, so that a failure can be reproduced.
#[test]
fn the_reverse_delta_mirrors_the_delta() {
    let seed = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let config = Config { cases: 12, failure_persistence: None, max_shrink_iters: 30, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(config, seed);
    runner
        .run(&(state(), state(), 0..DAYS.len()), |(a, b, day)| {
            holds(&a, &b, DAYS[day]);
            Ok(())
        })
        .unwrap();
}
