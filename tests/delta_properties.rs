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

    // What is only due later in head, or not at all, is not fixed.
    let both = |a: &Value, b: &Value| findings(&Value::Array([list(a).clone(), list(b).clone()].concat()));
    let only_head = |answer: &Value| both(&answer["new"], &answer["uncovered"]);
    let only_base = |answer: &Value, revision: &str| {
        let ids = sorted(list(&answer["postponed"]).iter().map(|own| own["id"].clone()));
        let (_, check) = ask(&["check", "--rev", revision]);
        let is_late = |one: &&Value| one["check"] == "verification-overdue";
        let late = list(&check["findings"]).iter().filter(is_late);
        let late = late.filter(|one| ids.contains(&sorted([one["record"].clone()].into_iter())[0]));
        both(&answer["fixed"], &late.cloned().collect())
    };
    // A state with a broken file cannot see that a finding of the other state is fixed.
    let mirrored = |head: Vec<String>, base: Vec<String>, broken: bool| {
        let is_part = |mut all: Vec<String>| {
            base.iter().all(|one| all.iter().position(|own| own == one).map(|at| all.remove(at)).is_some())
        };
        if broken { is_part(head) } else { head == base }
    };
    assert!(
        mirrored(only_head(&there), only_base(&back, "b"), a.broken_file.is_some()),
        "new, and fixed in the reverse delta"
    );
    assert!(
        mirrored(only_head(&back), only_base(&there, "a"), b.broken_file.is_some()),
        "fixed, and new in the reverse delta"
    );
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
            for key in ["revision", "agreed_by", "day", "reason"] {
                item[key] = Value::Null;
            }
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
        let own = if side == "new" { only_head(&there) } else { only_base(&there, "a") };
        // What cannot be seen in the other state, because a file cannot be read there, is in no list.
        let other = if side == "new" { a } else { b };
        let listed = own.len() + unchanged;
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
    let about_records = |finding: &&Value| finding["level"] == "error" && finding["about"] == "records";
    assert_eq!(staged, i32::from(list(&there["new"]).iter().any(|finding| about_records(&finding))));

    for side in ["a", "b"] {
        let (code, none) = ask(&["delta", side, side]);
        assert_eq!(code, 0);
        for key in
            ["new", "fixed", "values", "causes", "status_changes", "limits_changed", "uncovered", "worse", "better"]
                .iter()
                .chain(&["postponed", "settings", "stops"])
        {
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

/// Edits of the example car, each by a number that chooses where and how.
fn edit_car(sandbox: &Sandbox, files: &[String], edits: &[(u8, u16, u8)]) {
    for (kind, place, how) in edits {
        let bases = ["estimated", "calculated", "drawn", "weighed"];
        let factor = 0.5 + f64::from(*how) / 128.0;
        // The lines that an edit of this kind can change.
        let fits = |line: &str| match kind {
            0..=2 => line.contains("amounts: {mass: {value: "),
            3 => line.starts_with("    in: "),
            4 => line.trim_start().starts_with("estimate: ") && !line.contains("°C"),
            5 => line.starts_with("  mass: {estimated"),
            6 => line.trim_start().starts_with("rotating-mass: "),
            7 => line.starts_with("    count: "),
            _ => line.trim_start().starts_with("formula: ") && !line.contains("pts"),
        };
        let texts = files.iter().map(|file| std::fs::read_to_string(sandbox.path_of(file)).unwrap());
        let texts: Vec<String> = texts.collect();
        let places: Vec<(usize, usize)> = texts
            .iter()
            .enumerate()
            .flat_map(|(file, text)| {
                let lines = text.lines().enumerate().filter(|(_, line)| fits(line));
                lines.map(move |(line, _)| (file, line)).collect::<Vec<_>>()
            })
            .collect();
        if places.is_empty() {
            continue;
        }
        let (file, at) = places[usize::from(*place) % places.len()];
        let mut lines: Vec<String> = texts[file].lines().map(str::to_owned).collect();
        let line = lines[at].clone();
        let between = |start: &str, end: &str| {
            let from = line.find(start).unwrap() + start.len();
            (from, from + line[from..].find(end).unwrap())
        };
        match kind {
            0 | 1 => {
                let (from, to) = between("{mass: {value: ", " kg");
                let mass = line[from..to].parse::<f64>().unwrap() * factor;
                lines[at].replace_range(from..to, &format!("{mass:.3}"));
                if *kind == 1 {
                    let basis = bases[usize::from(*how) % 4];
                    let known = bases.iter().find(|known| line.contains(&format!("kg, basis: {known}"))).unwrap();
                    lines[at] = lines[at].replacen(&format!("basis: {known}"), &format!("basis: {basis}"), 1);
                }
            }
            2 => lines[at] = "    amounts: {}".to_owned(),
            3 => {
                let other = ["suspension", "powertrain", "chassis", "brakes"][usize::from(*how) % 4];
                lines[at] = format!("    in: {other}");
            }
            7 => lines[at] = format!("    count: {}", 1 + how % 5),
            4 | 6 => {
                let key = line.split_once(": ").unwrap();
                let (number, rest) = key.1.split_once(' ').unwrap_or((key.1, ""));
                if let Ok(number) = number.parse::<f64>() {
                    lines[at] = format!("{}: {:.4} {rest}", key.0, number * (0.8 + factor / 5.0));
                }
            }
            5 => lines[at] = format!("  mass: {{estimated: {how} %, calculated: 10 %, drawn: 7 %, weighed: 0 %}}"),
            _ => lines[at] = format!("{} * {factor:.3}", line.trim_end()),
        }
        sandbox.write(&files[file], lines.join("\n") + "\n");
    }
}

/// The causes of random edits of the example car add up to the change of the points and of each amount.
#[test]
fn the_causes_add_up() {
    let sandbox = Sandbox::repository();
    crate::example_car::copy(&sandbox);
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "as it is"]);
    let listing = sandbox.git(&["ls-files", "*.yaml"]);
    let files: Vec<String> = listing.lines().map(str::to_owned).collect();
    let seed = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let config = Config { cases: 16, failure_persistence: None, max_shrink_iters: 20, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(config, seed);
    let edits = prop::collection::vec((0..9_u8, any::<u16>(), 1..100_u8), 1..12);
    let mut kinds: BTreeSet<String> = BTreeSet::new();
    let seen = std::cell::RefCell::new(&mut kinds);
    runner
        .run(&edits, |edits| {
            sandbox.git(&["checkout", "-q", "--", "."]);
            edit_car(&sandbox, &files, &edits);
            let there = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).json();
            crate::gate_names::adds_up(&there);
            assert!(there["points"]["after"].is_number(), "the points of head are known");
            // Most causes have their own effect: what is left is small.
            assert_eq!(there["other"], Value::Null, "{edits:?}");
            let whats = list(&there["causes"]).iter().map(|cause| cause["what"].as_str().unwrap().to_owned());
            seen.borrow_mut().extend(whats);
            sandbox.git(&["checkout", "-q", "--detach"]);
            sandbox.git(&["commit", "-q", "--allow-empty", "-am", "edited"]);
            let back = sandbox.tierod(&["delta", "HEAD", "main", "--format", "json"]).json();
            sandbox.git(&["checkout", "-q", "main"]);
            crate::gate_names::adds_up(&back);
            // The reverse delta has the same effects with the other sign.
            let effects = |json: &Value, sign: f64| {
                let mut all: Vec<String> = list(&json["causes"])
                    .iter()
                    .map(|cause| {
                        let points = cause["points"].as_f64().map(|points| format!("{:.6}", points * sign + 0.0));
                        format!("{} {points:?}", cause["id"])
                    })
                    .collect();
                all.sort();
                all
            };
            assert_eq!(effects(&there, 1.0), effects(&back, -1.0), "{edits:?}");
            Ok(())
        })
        .unwrap();
    let expected = ["basis", "count", "formula", "removed", "settings", "system", "value"];
    assert_eq!(kinds.iter().map(String::as_str).collect::<Vec<_>>(), expected);
}
