//! Every JSON answer has exactly the keys that its JSON Schema (`tierod schema ANSWER`) and `docs/json.md` list.

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::Value;

use crate::numbers_audit;
use crate::support::Sandbox;

const ANSWERS: [&str; 18] = [
    "add",
    "export",
    "check",
    "delta",
    "delta-context",
    "graph",
    "why",
    "values",
    "points",
    "budget",
    "worth",
    "compare",
    "history",
    "audit",
    "audit-context",
    "audit-brief",
    "explain",
    "edit",
];

struct Shapes {
    sandbox: Sandbox,
    schemas: Vec<(Value, jsonschema::Validator)>,
    /// The keys that occurred in an answer, by answer, as paths in the schema.
    seen: Vec<BTreeSet<String>>,
}

impl Shapes {
    fn new() -> Self {
        let sandbox = Sandbox::new();
        let schemas = ANSWERS.map(|name| {
            let schema = sandbox.tierod(&["schema", name]).ended(0).json();
            assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{name}");
            let validator = jsonschema::validator_for(&schema).unwrap();
            (schema, validator)
        });
        Self { sandbox, schemas: schemas.into(), seen: vec![BTreeSet::new(); ANSWERS.len()] }
    }

    /// Runs a command and validates its answer.
    fn take(&mut self, name: &str, folder: &Path, args: &[&str]) -> Value {
        let answer = self.sandbox.tierod_in(folder, args);
        let json = answer.json();
        // With the status 2 the answer says what is broken, or which events have no value.
        let is_incomplete = json["broken"].as_array().is_some_and(|broken| !broken.is_empty());
        assert!(answer.code < 2 || is_incomplete, "{args:?}: {}", answer.err);
        let at = ANSWERS.iter().position(|known| *known == name).unwrap();
        let (schema, validator) = &self.schemas[at];
        let wrong: Vec<String> =
            validator.iter_errors(&json).take(5).map(|error| format!("{}: {error}", error.instance_path())).collect();
        assert!(wrong.is_empty(), "{args:?} does not match the schema of `{name}`:\n{}", wrong.join("\n"));
        mark(schema, schema, &json, "#", &mut self.seen[at]);
        json
    }
}

/// Notes the keys of a value under the place in the schema that declares them.
fn mark(root: &Value, schema: &Value, value: &Value, place: &str, seen: &mut BTreeSet<String>) {
    if let Some(reference) = schema["$ref"].as_str() {
        return mark(root, root.pointer(&reference[1..]).unwrap(), value, reference, seen);
    }
    for branches in ["anyOf", "oneOf"] {
        for (number, branch) in schema[branches].as_array().into_iter().flatten().enumerate() {
            // A branch is null, a value, or one variant of an answer.
            let required = branch["required"].as_array().into_iter().flatten();
            let fits = (branch["type"] == "null") == value.is_null()
                && required.into_iter().all(|key| value.get(key.as_str().unwrap()).is_some());
            if fits {
                mark(root, branch, value, &format!("{place}/{branches}/{number}"), seen);
            }
        }
    }
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                let declared = &schema["properties"][key];
                if declared.is_object() {
                    let place = format!("{place}/properties/{key}");
                    seen.insert(place.clone());
                    mark(root, declared, value, &place, seen);
                } else if schema["additionalProperties"].is_object() {
                    mark(root, &schema["additionalProperties"], value, &format!("{place}/additionalProperties"), seen);
                }
            }
        }
        Value::Array(items) => {
            for item in items {
                mark(root, &schema["items"], item, &format!("{place}/items"), seen);
            }
        }
        _ => {}
    }
}

/// The places of all keys that a schema declares.
fn declared(schema: &Value, place: &str, all: &mut BTreeSet<String>) {
    if !schema.is_object() {
        return;
    }
    for (key, inner) in schema["properties"].as_object().into_iter().flatten() {
        let place = format!("{place}/properties/{key}");
        declared(inner, &place, all);
        all.insert(place);
    }
    for key in ["items", "additionalProperties"] {
        declared(&schema[key], &format!("{place}/{key}"), all);
    }
    for key in ["anyOf", "oneOf"] {
        for (number, inner) in schema[key].as_array().into_iter().flatten().enumerate() {
            declared(inner, &format!("{place}/{key}/{number}"), all);
        }
    }
    for (name, inner) in schema["$defs"].as_object().into_iter().flatten() {
        declared(inner, &format!("#/$defs/{name}"), all);
    }
}

/// A budget that no limit change can bring within its limit, with a system without a share.
const SHORT: &str = "\
systems:
  brakes: {in: car}
  seat: {in: car}
  frame: {in: car}
targets:
  car-mass: {of: car, at-most: 20 kg, reserve: 1 kg, total: mass}
  brakes-mass: {of: brakes, at-most: 8 kg, total: mass, share-of: car-mass}
  seat-mass: {of: seat, at-most: 11 kg, total: mass, share-of: car-mass}
  travel: {of: frame, between: [1 mm, 3 mm], estimate: 2 mm}
  left: {of: frame, at-most: 9 mm, formula: right + 1 mm}
  right: {of: frame, at-most: 9 mm, estimate: 2 mm}
parts:
  shell: {in: seat, amounts: {mass: {value: 9 kg, basis: estimated}}}
  disc: {in: brakes, count: 4, amounts: {mass: 2.5 kg}}
  tube: {in: frame, amounts: {mass: 2 kg}}
";

/// A score whose units do not match, and a decision.
const FAULTY: &str = "\
events:
  circle: {plan: 9 pts, reads: {time: circle-time}, score: {formula: time}, serves: {top-ten: It is scored, too.}}
decisions:
  hub-size: {alternatives: {small: {sets: {circle-time: 5 s}}}}
";

/// On the example car, its season, an exceeded budget, a root that cannot be read completely, and an empty one.
#[test]
fn every_answer_matches_its_schema() {
    let mut shapes = Shapes::new();
    let json = ["--format", "json"];
    let car = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car").canonicalize().unwrap();
    let season = shapes.sandbox.path_of("season");
    shapes.sandbox.tierod(&["example", season.to_str().unwrap()]).ended(0);
    let broken = shapes.sandbox.path_of("broken");
    shapes.sandbox.write("broken/tierod.yaml", "season: 2027\n");
    shapes.sandbox.write("broken/records.yaml", "parts:\n  hub: {in: nowhere, mas: 1}\n  hub: {title: [}\n");
    shapes.sandbox.write("broken/more.yaml", "targets:\n  mass: {of: car, at-most: 3 parsec}\n");
    let empty = shapes.sandbox.path_of("empty");
    shapes.sandbox.write("empty/tierod.yaml", "season: 2027\n");
    let short = shapes.sandbox.path_of("short");
    shapes.sandbox.write("short/tierod.yaml", "season: 2027\ngrowth: {mass: {estimated: 20 %}}\n");
    shapes.sandbox.write("short/records.yaml", SHORT);
    for folder in [&car, &season, &broken, &empty, &short] {
        for name in ["check", "graph", "values", "budget", "audit"] {
            shapes.take(name, folder, &[&[name], &json[..]].concat());
        }
        shapes.take("audit-context", folder, &["audit", "--context"]);
        shapes.take("audit-brief", folder, &["audit", "--brief", "--format", "json"]);
    }
    for folder in [&car, &season] {
        shapes.take("points", folder, &["points", "--format", "json"]);
        shapes.take("worth", folder, &["worth", "--format", "json"]);
        shapes.take("worth", folder, &["worth", "car.mass", "--format", "json"]);
        shapes.take("why", folder, &["why", "rear-upright", "--format", "json"]);
        shapes.take("compare", folder, &["compare", "engine", "--format", "json"]);
        shapes.take("graph", folder, &["graph", "--below", "suspension", "--format", "json"]);
    }
    // Numbers out of evidence, and stress files.
    for id in ["belt-anchor-pull", "mould-count", "rack-mount"] {
        shapes.take("why", &car, &["why", id, "--format", "json"]);
    }
    // An event without a value, and one whose score cannot be calculated.
    let faulty = shapes.sandbox.path_of("faulty");
    shapes.sandbox.small_root("faulty/");
    shapes.sandbox.write("faulty/faulty.yaml", FAULTY);
    for args in [&["points"][..], &["worth"], &["compare", "hub-size"], &["values"]] {
        let answer = shapes.take(args[0], &faulty, &[args, &json].concat());
        assert!(answer["broken"].as_array().unwrap().iter().any(|fault| fault["record"] == "circle"), "{answer}");
    }
    // An alternative that sets an unknown value, now and when it was chosen.
    let unknown = FAULTY.replace("circle-time: 5 s}}}", "cirle-time: 5 s}}}, chosen: small");
    shapes.sandbox.write("faulty/faulty.yaml", unknown);
    shapes.sandbox.git_in(&faulty, &["init", "-q"]);
    shapes.sandbox.git_in(&faulty, &["add", "."]);
    shapes.sandbox.git_in(&faulty, &["commit", "-q", "-m", "Choose"]);
    shapes.take("compare", &faulty, &["compare", "hub-size", "--format", "json"]);
    let group = shapes.sandbox.path_of("group");
    shapes.sandbox.small_root("group/");
    let parts = "systems: {pins: {in: suspension, for-parts: {serves: {circle-time: They hold it.}}}}\nparts: {pin: {in: pins}}\n";
    shapes.sandbox.write("group/group.yaml", parts);
    shapes.take("why", &group, &["why", "pin", "--format", "json"]);
    shapes.take("graph", &group, &["graph", "--format", "json"]);
    for name in ["", "no-parent", "part", "settings", "verify", "units", "lap", "sae-2024", "sae-2024.endurance"] {
        let name = (!name.is_empty()).then_some(name);
        let args: Vec<&str> = ["explain"].into_iter().chain(name).chain(json).collect();
        shapes.take("explain", &car, &args);
    }
    let agreed =
        ["revise", "car-mass", "at-most", "207 kg", "--reason", "It is built.", "--agreed-by", "chief engineer"];
    for edit in [
        &["set", "front-upright.mass", "9 kg"][..],
        // A waiver that applies again, and a limit that is met.
        &["set", "wing-mount-late.until", "2027-12-31"],
        &["set", "accel-time.at-most", "4.5 s"],
        &agreed,
        &["rename", "front-upright", "upright-front"],
    ] {
        shapes.take("edit", &car, &[edit, &["--dry-run", "--format", "json"]].concat());
    }
    // A result that misses its limit, and a waiver that accepts a finding.
    let result = ["result", "slow", "of=accel-time", "value=4.5 s ± 0.01 s", "date=2027-03-18"];
    let evidence = ["evidence=test/2027-01-20-drop-test.csv", "--dry-run"];
    shapes.take("add", &car, &[&["add"], &result[..], &evidence, &json].concat());
    let waiver = ["waiver", "later", "check=no-reason", "of=nose-cone", "until=2027-06-01", "agreed-by=chief engineer"];
    let reason = ["reason=The part is being replaced.", "--dry-run"];
    shapes.take("add", &car, &[&["add"], &waiver[..], &reason, &json].concat());
    shapes.take("export", &faulty, &[&["export", "all.xlsx"], &json[..]].concat());
    shapes.take("history", &season, &["history", "car-mass", "--format", "json"]);
    shapes.take("history", &season, &["history", "wheel-power", "--format", "json"]);
    shapes.take("history", &season, &["history", "car.mass", "--format", "json"]);
    for pair in [["HEAD~47", "HEAD~46"], ["HEAD~106", "HEAD"], ["HEAD", "HEAD~60"], ["HEAD~30", "HEAD~29"]] {
        shapes.take("delta", &season, &["delta", pair[0], pair[1], "--format", "json"]);
        shapes.take("delta-context", &season, &["delta", pair[0], pair[1], "--context"]);
    }
    let bad = "parts:\n  bare: {in: suspension}\n";
    std::fs::write(season.join("bare.yaml"), bad).unwrap();
    shapes.sandbox.git_in(&season, &["add", "bare.yaml"]);
    shapes.take("check", &season, &["check", "--staged", "--format", "json"]);
    let staged = shapes.take("check", &season, &["check", "--staged", "--all", "--format", "json"]);
    assert_eq!(staged["source"]["kind"], "index");
    // Every filter, and since when findings are open.
    let of_record = ["--lead=chief engineer", "--system=suspension"];
    let filters = [&["check", "car", "--level=note", "--only=no-lead", "--due=2027-08-01"], &of_record[..], &json];
    let none = shapes.take("check", &season, &filters.concat());
    assert_eq!(none["filters"]["path"], "car");
    let since = ["check", "--rev", "HEAD~70", "--since"];
    shapes.take("check", &season, &[&since[..], &json].concat());
    // A clone that was not changed for years.
    let old = shapes.sandbox.path_of("old");
    shapes.sandbox.write("old/tierod.yaml", "season: 2020\n");
    shapes.sandbox.git_in(&old, &["init", "-q"]);
    shapes.sandbox.git_in(&old, &["add", "."]);
    shapes.sandbox.git_in_on(&old, "2020-01-01", &["commit", "-q", "-m", "Start"]);
    shapes.take("check", &old, &[&["check"], &json[..]].concat());
    // A new waiver fixes a finding.
    shapes.sandbox.git_in(&short, &["init", "-q"]);
    shapes.sandbox.git_in(&short, &["add", "."]);
    shapes.sandbox.git_in(&short, &["commit", "-q", "-m", "Add records"]);
    let waiver =
        "waivers:\n  later: {check: no-parent, of: shell, until: 2099-01-01, agreed-by: lead, reason: It follows.}\n";
    shapes.sandbox.write("short/waivers.yaml", waiver);
    shapes.sandbox.write("short/records.yaml", SHORT.replace("between: [1 mm, 3 mm]", "between: [1 mm, 4 mm]"));
    let delta = shapes.take("delta", &short, &["delta", "HEAD", "--format", "json"]);
    assert_eq!(delta["fixed"][0]["waiver"], "later");
    shapes.take("delta-context", &short, &["delta", "HEAD", "--context"]);
    // Two values that exchange their direction: the change cannot be split.
    let turned = SHORT.replace("formula: right + 1 mm", "estimate: 3 mm").replace(
        "right: {of: frame, at-most: 9 mm, estimate: 2 mm}",
        "right: {of: frame, at-most: 9 mm, formula: left - 1 mm}",
    );
    shapes.sandbox.write("short/records.yaml", turned.replace("mass: 2 kg", "mass: 3 kg"));
    let delta = shapes.take("delta", &short, &["delta", "HEAD", "--format", "json"]);
    let left = delta["other"]["amounts"]["mass"]["change"].as_f64().unwrap();
    assert!((left - 1.2).abs() < 1e-9, "{left} kg with 20 % growth");
    shapes.take("delta-context", &short, &["delta", "HEAD", "--context"]);
    shapes.take("history", &short, &["history", "travel", "--format", "json"]);
    // What a commit does to findings that were there, to rules, and to what could not be read.
    let due = |day: &str| format!("parts:\n  rod: {{in: frame, verify: {{by: test, with: rig, due: {day}}}}}\n");
    shapes.sandbox.write("short/rod.yaml", due("2020-01-01"));
    shapes.sandbox.write("short/hidden.yaml", "parts:\n  pin: {in: nowhere\n");
    shapes.sandbox.git_in(&short, &["add", "."]);
    shapes.sandbox.git_in(&short, &["commit", "-q", "-m", "Add a waiver"]);
    // A number that is read from a file, in a history of its own.
    let value = "{from: read.csv, column: time, unit: s}";
    shapes.sandbox.write("read/tierod.yaml", "season: 2028\n");
    shapes.sandbox.write("read/read.csv", "time\n4.5\n");
    shapes.sandbox.write(
        "read/records.yaml",
        format!("targets: {{time: {{of: car, at-most: 5 s}}}}\nresults: {{run: {{of: time, date: 2027-03-01, value: {value}}}}}\n"),
    );
    let read = shapes.sandbox.path_of("read");
    shapes.sandbox.git_in(&read, &["init", "-q"]);
    shapes.sandbox.git_in(&read, &["add", "."]);
    shapes.sandbox.git_in(&read, &["commit", "-q", "-m", "Add a result"]);
    shapes.take("history", &read, &["history", "run", "--format", "json"]);
    shapes.sandbox.write("short/rod.yaml", due("2099-01-01"));
    shapes.sandbox.write("short/hidden.yaml", "parts:\n  pin: {in: nowhere}\n");
    shapes.sandbox.write("short/tierod.yaml", "season: 2028\ngrowth: {mass: {estimated: 20 %}}\n");
    for (from, to) in [("value: 9 kg", "value: 12 kg"), ("value: 9 kg", "value: 8 kg")] {
        shapes.sandbox.write("short/records.yaml", SHORT.replace(from, to));
        shapes.sandbox.git_in(&short, &["add", "."]);
        shapes.take("check", &short, &["check", "--staged", "--format", "json"]);
        shapes.take("delta", &short, &["delta", "HEAD", "--format", "json"]);
        shapes.take("delta-context", &short, &["delta", "HEAD", "--context"]);
    }
    // A goal that was missed: the events that are short, and the targets behind them.
    shapes.sandbox.write("missed/tierod.yaml", numbers_audit::SETTINGS);
    shapes.sandbox.write("missed/car.yaml", numbers_audit::CAR);
    shapes.sandbox.write("missed/contest.yaml", numbers_audit::CONTEST.replace("place: 7,", "place: 9,"));
    let missed = shapes.sandbox.path_of("missed");
    shapes.take("audit-context", &missed, &["audit", "--context"]);
    // A key that no answer has does not belong in the tables.
    let mut unseen = Vec::new();
    for (at, name) in ANSWERS.iter().enumerate() {
        let mut all = BTreeSet::new();
        declared(&shapes.schemas[at].0, "#", &mut all);
        assert!(all.len() > 3, "{name}");
        unseen.extend(all.difference(&shapes.seen[at]).map(|place| format!("{name} {place}")));
    }
    assert!(unseen.is_empty(), "keys that no answer has:\n{}", unseen.join("\n"));
}

/// A schema refuses an answer with a key more or less, or of another type.
#[test]
fn schemas_refuse_other_keys_and_types() {
    let mut shapes = Shapes::new();
    let car = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car").canonicalize().unwrap();
    let good = shapes.take("check", &car, &["check", "--format", "json"]);
    let validator = &shapes.schemas[ANSWERS.iter().position(|name| *name == "check").unwrap()].1;
    for change in [
        |answer: &mut Value| answer["extra"] = Value::Null,
        |answer: &mut Value| answer["findings"][0]["extra"] = Value::Null,
        |answer: &mut Value| drop(answer["findings"][0].as_object_mut().unwrap().remove("path")),
        |answer: &mut Value| answer["findings"][0]["line"] = Value::from("1"),
        |answer: &mut Value| answer["version"] = Value::from(2),
    ] {
        let mut bad = good.clone();
        change(&mut bad);
        assert!(!validator.is_valid(&bad), "{bad:#}");
    }
    assert!(validator.is_valid(&good));
}
