//! The JSON Schemas: committed, current, and in agreement with `check`.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::support::{SETTINGS, Sandbox};

fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn schema_of(which: &str) -> Value {
    Sandbox::new().tierod(&["schema", which]).ended(0).json()
}

fn validator(which: &str) -> jsonschema::Validator {
    jsonschema::validator_for(&schema_of(which)).unwrap()
}

/// YAML as an editor validates it: dates are texts, empty values are null.
fn as_json(yaml: &str) -> Value {
    serde_yaml::from_str(yaml).unwrap()
}

#[test]
fn the_committed_schemas_are_current() {
    for which in ["records", "settings"] {
        let name = if which == "records" { "tierod" } else { "tierod-settings" };
        let now = Sandbox::new().tierod(&["schema", which]).ended(0).out;
        for path in [format!("schema/{which}.schema.json"), format!("example-car/{name}.schema.json")] {
            let committed = std::fs::read_to_string(repository().join(&path)).unwrap_or_default();
            assert!(committed == now, "{path} is not current: `cargo run -q -- schema {which} > {path}` renews it");
        }
    }
}

#[test]
fn the_schemas_declare_their_draft() {
    for which in ["records", "settings"] {
        let schema = schema_of(which);
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        assert!(jsonschema::meta::is_valid(&schema), "{which} is not a valid schema");
    }
}

#[test]
fn every_key_has_a_description() {
    fn walk(at: &str, schema: &Value, bare: &mut Vec<String>) -> usize {
        let mut keys = 0;
        match schema {
            Value::Object(map) => {
                for (name, inner) in map {
                    if name == "properties" {
                        for (key, of_key) in inner.as_object().unwrap() {
                            keys += 1;
                            if of_key["description"].as_str().is_none_or(|text| text.len() < 4) {
                                bare.push(format!("{at}.{key}"));
                            }
                        }
                    }
                    keys += walk(&format!("{at}.{name}"), inner, bare);
                }
            }
            Value::Array(list) => list.iter().for_each(|inner| keys += walk(at, inner, bare)),
            _ => {}
        }
        keys
    }
    let mut bare = Vec::new();
    let keys = walk("records", &schema_of("records"), &mut bare) + walk("settings", &schema_of("settings"), &mut bare);
    assert!(keys > 130, "only {keys} keys were seen");
    assert_eq!(bare, [""; 0]);
}

#[test]
fn the_example_car_is_accepted() {
    fn record_files(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            // `ignore:` of the example excludes `cad`.
            if path.is_dir() && !path.ends_with("cad") {
                record_files(&path, found);
            } else if path.extension().is_some_and(|extension| extension == "yaml") {
                found.push(path);
            }
        }
    }
    let (records, settings) = (validator("records"), validator("settings"));
    let mut files = Vec::new();
    record_files(&repository().join("example-car"), &mut files);
    assert!(files.len() > 10, "{files:?}");
    for path in files {
        let of = if path.ends_with("tierod.yaml") { &settings } else { &records };
        let value = as_json(&std::fs::read_to_string(&path).unwrap());
        let wrong: Vec<String> =
            of.iter_errors(&value).map(|error| format!("{}: {error}", error.instance_path())).collect();
        assert!(wrong.is_empty(), "{}: {wrong:#?}", path.display());
    }
}

#[test]
fn allowed_empty_values_are_accepted() {
    let records = validator("records");
    for yaml in [
        "parts:\n",
        "goals: {g: {place: 8, reason: why, title: }}\n",
        "systems: {s: {in: car, serves: , for-parts: {serves: }}}\n",
        "analyses:\n  a: {evidence: , informs: , given: }\n",
        "parts: {hub: {in: car, amounts: {mass: 2, cost: 1.5 EUR, length: {value: 2 m}}}}\n",
        "targets: {t: {of: car, between: [1, 2.5], verify: [{by: test}, {by: analysis}]}}\n",
    ] {
        let wrong: Vec<String> = records.iter_errors(&as_json(yaml)).map(|error| error.to_string()).collect();
        assert!(wrong.is_empty(), "{yaml}: {wrong:#?}");
        assert_eq!(schema::read::records(yaml.as_bytes()).problems, [], "{yaml}");
    }
}

/// Broken files: what is broken, the file, and the check, line and column that `tierod check` reports.
const BROKEN: [(&str, &str, &str, u32, u32); 10] = [
    ("unknown key", "parts:\n  hub:\n    in: car\n    cuont: 2\n", "unknown-key", 4, 5),
    ("wrong type", "parts:\n  hub:\n    in: car\n    count: two\n", "bad-value", 4, 12),
    ("bad id", "parts:\n  Front Hub:\n    in: car\n", "bad-value", 2, 3),
    ("bad quantity", "parts: {hub: {in: car, amounts: {mass: 1.2kg}}}\n", "bad-value", 1, 40),
    ("missing required key", "systems:\n  brakes:\n    title: Brakes\n", "missing-key", 2, 3),
    ("bad method word", "targets:\n  t: {of: car, at-most: 1 s, verify: {by: tset}}\n", "bad-value", 2, 43),
    ("bad date", "results:\n  r:\n    of: circle-time\n    value: 5 s\n    date: 21.05.2027\n", "bad-value", 5, 11),
    (
        "empty reason",
        "targets:\n  t:\n    of: car\n    at-most: 1 s\n    serves:\n      skidpad: ''\n",
        "no-reason",
        6,
        16,
    ),
    ("bad level word", "levels:\n  no-lead: loud\n", "bad-value", 2, 12),
    ("wrong kind", "part:\n  hub: {in: car}\n", "unknown-key", 1, 1),
];

#[test]
fn the_schema_and_check_refuse_the_same() {
    let (records, settings) = (validator("records"), validator("settings"));
    for (what, yaml, check, line, column) in BROKEN {
        let of_settings = what == "bad level word";
        let validator = if of_settings { &settings } else { &records };
        assert!(!validator.is_valid(&as_json(yaml)), "the schema lets {what} through");

        let sandbox = Sandbox::new();
        sandbox.small_root("");
        let (path, text) =
            if of_settings { ("tierod.yaml", format!("{yaml}{SETTINGS}")) } else { ("broken.yaml", yaml.to_owned()) };
        sandbox.write(path, text);
        let report = sandbox.tierod(&["check", "--format", "json"]).json();
        let here = json!({"path": path, "check": check, "line": line, "column": column});
        let found = report["findings"]
            .as_array()
            .unwrap()
            .iter()
            .any(|finding| here.as_object().unwrap().iter().all(|(key, value)| finding[key] == *value));
        assert!(found, "{what}: no {here} in {:#}", report["findings"]);
    }
}
