//! `rename`: every reference and nothing else.

use std::path::Path;

use serde_json::{Value, json};

use crate::records_edit::{read, with_amounts};
use crate::support::{SETTINGS, Sandbox};

/// The graph and the values of the example with one id replaced.
fn state_of(sandbox: &Sandbox, folder: &Path, from: &str, to: &str) -> [Value; 2] {
    ["graph", "values"].map(|command| {
        let text = sandbox.tierod_in(folder, &[command, "--format", "json"]).out;
        let quoted = |id: &str| format!("\"{id}\"");
        let text = text.replace(&quoted(from), &quoted(to)).replace(&format!("\"{from}."), &format!("\"{to}."));
        let mut json: Value = serde_json::from_str(&text).unwrap();
        without_lines(&mut json);
        json
    })
}

fn without_lines(json: &mut Value) {
    match json {
        Value::Object(map) => {
            map.retain(|key, _| !matches!(key.as_str(), "line" | "column" | "formula"));
            map.values_mut().for_each(without_lines);
        }
        Value::Array(list) => list.iter_mut().for_each(without_lines),
        _ => {}
    }
}

fn example() -> Sandbox {
    let sandbox = Sandbox::repository();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let copied = sandbox.command("cp", &sandbox.path()).arg("-r").arg(from).arg("car").status().unwrap();
    assert!(copied.success());
    sandbox.commit_on("2027-03-19", "start");
    sandbox
}

#[test]
fn rename_changes_every_reference_and_nothing_else() {
    let sandbox = example();
    let folder = sandbox.path_of("car");
    // A target in formulas, budgets and alternatives; a part; a system that amounts and groups name; an event; a goal.
    for old in ["car-mass", "engine-unit", "suspension", "acceleration", "first-eight", "engine"] {
        let before = state_of(&sandbox, &folder, old, "a-new-name");
        let answer = sandbox.tierod_in(&folder, &["rename", old, "a-new-name", "--format", "json"]);
        if answer.err.contains("no record with id") {
            continue;
        }
        let answer = answer.ended(0).json();
        assert_eq!(answer["new"], json!([]), "{old}");
        assert_eq!(answer["fixed"], json!([]), "{old}");
        assert_eq!(state_of(&sandbox, &folder, "", ""), before, "{old}");
        let delta = sandbox.tierod_in(&folder, &["delta", "HEAD", "--format", "json"]).ended(0).json();
        let records = &delta["records"];
        assert_eq!(records["renamed"].as_array().unwrap().len(), 1, "{old}: {records}");
        assert_eq!(records["renamed"][0]["before"], old);
        assert_eq!((&records["added"], &records["removed"]), (&json!([]), &json!([])), "{old}");
        assert_eq!((&delta["values"], &delta["new"]), (&json!([]), &json!([])), "{old}");
        sandbox.git(&["checkout", "-q", "."]);
    }
    let taken = sandbox.tierod_in(&folder, &["rename", "car-mass", "car-cost"]).ended(2);
    assert!(taken.err.contains("has the id `car-cost`"), "{}", taken.err);
    let bad = sandbox.tierod_in(&folder, &["rename", "car-mass", "Car Mass"]).ended(2);
    assert!(bad.err.contains("use `car-mass`"), "{}", bad.err);
    assert_eq!(sandbox.git(&["status", "--porcelain"]), "");
}

#[test]
fn history_follows_a_rename_and_back() {
    let (sandbox, chain) = with_amounts();
    sandbox.tierod(&["rename", "hub", "wheel-hub"]).ended(0);
    assert_eq!(
        read(&sandbox, "chain.yaml"),
        format!("{}    formerly: [hub]\n", chain.replace("  hub:\n", "  wheel-hub:\n"))
    );
    sandbox.commit_on("2027-02-10", "rename");
    let history = sandbox.tierod(&["history", "wheel-hub"]).ended(0);
    assert!(history.out.contains("2027-01-10"), "{}", history.out);
    sandbox.tierod(&["rename", "wheel-hub", "hub"]).ended(0);
    assert_eq!(read(&sandbox, "chain.yaml"), format!("{chain}    formerly: [wheel-hub]\n"));
}

/// Names of a record's own formula are not those of records.
#[test]
fn rename_knows_the_names_of_a_formula() {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    let file = "\
targets:
  wheelbase: {of: car, at-least: 1.5 m, estimate: 1.6 m}
  track: {of: car, at-least: 1.1 m, estimate: 1.2 m}
  area:
    of: car
    at-most: 4 m^2
    formula: wheelbase * width + 0 * hub-part.mass
    given: {wheelbase: wheelbase * 1, width: track}   # wheelbase, as it is
    notes: From wheelbase and track.
parts:
  hub-part: {in: s, amounts: {mass: 1 kg}}
systems:
  s: {in: car}
";
    sandbox.write("a.yaml", file);
    let rename = |old: &str, new: &str| sandbox.tierod(&["rename", old, new]);
    let done = rename("wheelbase", "axle-distance");
    assert!(
        done.code < 2 && done.out.contains("`wheelbase` is still in 1 text: area.notes"),
        "{}{}",
        done.out,
        done.err
    );
    let expected = file
        .replace(
            "  wheelbase: {of: car, at-least: 1.5 m, estimate: 1.6 m}",
            "  axle-distance: {of: car, at-least: 1.5 m, estimate: 1.6 m, formerly: [wheelbase]}",
        )
        .replace("{wheelbase: wheelbase * 1,", "{wheelbase: axle-distance * 1,");
    assert_eq!(read(&sandbox, "a.yaml"), expected);
    sandbox.write("a.yaml", file);
    assert!(rename("hub-part", "hub").code < 2);
    assert!(read(&sandbox, "a.yaml").contains("+ 0 * hub.mass\n"));
    sandbox.write("a.yaml", file);
    assert!(rename("track", "width").code < 2, "a text may mean the record of the name that it defines");
    assert!(read(&sandbox, "a.yaml").contains("width: width}"));
    sandbox.write("a.yaml", file.replace("given: {", "given: {half: track / 2, "));
    let refused = rename("track", "width").ended(2);
    assert!(refused.err.contains("`width` is another value there"), "{}", refused.err);
}

/// A text in each of many records of one file has the earlier id in it: the file is parsed once.
#[cfg(unix)]
#[test]
fn the_work_of_a_rename_grows_with_the_size_of_the_file() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    let part = |at: usize| format!("  q-{at}: {{in: brakes, notes: \"see hub-old here\"}}\n");
    sandbox.write("a.yaml", format!("parts:\n  hub-old: {{in: brakes}}\n{}", (0..4_000).map(part).collect::<String>()));
    let renamed = sandbox.within_seconds(30, &["rename", "hub-old", "hub", "--format", "json"]).json();
    assert_eq!(renamed["mentions"].as_array().unwrap().len(), 4_000);
    assert!(read(&sandbox, "a.yaml").contains("  hub: {in: brakes, formerly: [hub-old]}"));
}
