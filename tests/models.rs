//! Models with wrong inputs, unknown models and unknown outputs.

use std::fmt::Write as _;

use crate::support::{SETTINGS, Sandbox};
use crate::values_json::Read;

fn targets<'a>(all: impl Iterator<Item = (&'a str, &'a str)>) -> String {
    let mut text = String::from("targets:\n");
    for (id, unit) in all {
        writeln!(text, "  {id}: {{of: car, at-least: 0 {unit}}}").unwrap();
    }
    text
}

/// A root with targets in these units and these records.
#[track_caller]
fn read(units: &[(&str, &str)], records: &str, with: impl Fn(&Sandbox)) -> Read {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    with(&sandbox);
    sandbox.write("targets.yaml", targets(units.iter().copied()));
    sandbox.write("records.yaml", records);
    Read::from_sandbox(sandbox)
}

/// One run of 75 m per variant, each with a target for its time.
fn runs(variants: &[(&str, &str)]) -> (Vec<String>, String) {
    let mut records = String::from("analyses:\n");
    for (id, given) in variants {
        writeln!(records, "  run-{id}:\n    model: straight-line\n    finds: {id}\n    given: {given}").unwrap();
    }
    (variants.iter().map(|(id, _)| (*id).to_owned()).collect(), records)
}

fn times(variants: &[(&str, &str)], with: impl Fn(&Sandbox)) -> Read {
    let (ids, records) = runs(variants);
    let units: Vec<(&str, &str)> = ids.iter().map(|id| (id.as_str(), "s")).collect();
    read(&units, &records, with)
}

const RUN: &str = "mass: 280 kg, power: 60 kW, grip: 1.2, distance: 75 m";

/// A wrong input is reported at the input, and there is no value.
#[test]
fn wrong_inputs() {
    let with = |more: &str| format!("{{{RUN}, {more}}}");
    let without = |name: &str| {
        let kept: Vec<&str> = RUN.split(", ").filter(|input| !input.starts_with(&format!("{name}:"))).collect();
        format!("{{{}}}", kept.join(", "))
    };
    let changed = |more: &str| {
        let name = more.split_once(':').unwrap().0;
        without(name).replace('}', &format!(", {more}}}"))
    };
    let cases: Vec<(&str, String, &str, &str, &str)> = vec![
        ("misspelt", with("gripp: 1.3"), "unknown-reference", "has no input `gripp`", "`grip`"),
        ("foreign", with("radius: 9 m"), "unknown-reference", "has no input `radius`", ""),
        ("no-grip", without("grip"), "bad-value", "`grip` is missing", ""),
        ("no-power", without("power"), "bad-value", "`power` is missing", ""),
        ("massless", changed("mass: 0 kg"), "bad-value", "`mass` must be above zero", ""),
        ("negative", changed("mass: -280 kg"), "bad-value", "`mass` must be above zero", ""),
        ("too-much-share", with("driven-share: 120 %"), "bad-value", "`driven-share` must be", ""),
        ("stuck", with("rolling-resistance: 2"), "bad-value", "the car stops at", ""),
        ("metres", changed("mass: 280 m"), "unit-mismatch", "`280 m` is a length, and a mass is", "`kg`"),
        ("plain", changed("power: 60000"), "unit-mismatch", "without unit", ""),
        ("worked-out", changed("mass: 200 kg * 2 s"), "unit-mismatch", "`kg*s`", ""),
        ("mixed", changed("mass: 200 kg + 2 s"), "unit-mismatch", "adding", ""),
        ("unknown", changed("mass: car-mas"), "unknown-reference", "`car-mas`", "`car-mass`"),
        ("gears-alone", with("gears: 2, 1"), "bad-value", "", ""),
        (
            "wordy-gears",
            with("wheel-radius: 0.25 m, redline: 900 rad/s, gears: 'low, high'"),
            "bad-value",
            "",
            "commas",
        ),
        ("no-column", changed("power-curve: tables/no-column.csv"), "unreadable-table", "no column `power`", ""),
        (
            "text-cell",
            changed("power-curve: tables/text.csv"),
            "unreadable-table",
            "line 4: `strong` under `power`",
            "",
        ),
        (
            "short-row",
            changed("power-curve: tables/short.csv"),
            "unreadable-table",
            "line 3: expected 2 cells, found 1",
            "",
        ),
        ("windows", changed("power-curve: tables/windows.csv"), "unreadable-table", "line 5: `4,5` under `power`", ""),
        ("latin", changed("power-curve: tables/latin.csv"), "unreadable-table", "line 2: the text is not UTF-8", ""),
        ("no-rows", changed("power-curve: tables/no-rows.csv"), "bad-value", "row", ""),
        ("falling", changed("power-curve: tables/falling.csv"), "bad-value", "must increase", ""),
        ("both-powers", with("power-curve: tables/level.csv"), "bad-value", "`power`", ""),
        ("no-table", changed("power-curve: 60 kW"), "bad-value", "must be a table", ""),
        ("no-number", changed("mass: tables/level.csv"), "bad-value", "expected a number for `mass`", ""),
        ("no-file", changed("power-curve: tables/absent.csv"), "unknown-reference", "absent.csv", ""),
    ];
    let fix = |given: &str| {
        // With a table in place of the power.
        if given.contains("power-curve") && !given.contains("level") {
            given.replace("power: 60 kW, ", "")
        } else {
            given.replace("gears: 2, 1", "gears: '2, 1'")
        }
    };
    let given: Vec<(&str, String)> = cases.iter().map(|(id, given, ..)| (*id, fix(given))).collect();
    let given: Vec<(&str, &str)> = given.iter().map(|(id, given)| (*id, given.as_str())).collect();
    let read = times(&given, |sandbox| {
        sandbox.write("mass.yaml", "targets: {car-mass: {of: car, at-most: 300 kg, estimate: 280 kg}}\n");
        sandbox.write("tables/level.csv", "speed,power\n0,60000\n100,60000\n");
        sandbox.write("tables/no-column.csv", "speed,kilowatts\n0,60\n");
        sandbox.write("tables/text.csv", "speed,power\n0,60000\n# halfway\n50,strong\n");
        sandbox.write("tables/short.csv", "speed,power\n0,60000\n50\n");
        sandbox.write("tables/windows.csv", "speed,power\r\n0,60000\r\n\r\n# comment\r\n50,\"4,5\"\r\n");
        sandbox.write("tables/latin.csv", b"speed,power\n0,\xe9\n");
        sandbox.write("tables/no-rows.csv", "speed,power\n");
        sandbox.write("tables/falling.csv", "speed,power\n50,60000\n10,60000\n");
    });
    for (id, _, check, message, help) in &cases {
        let found = read.get(id);
        assert!(found["value"].is_null() && found["status"] == "no value", "{found}");
        let finding = read.reports(check, &format!("run-{id}"), message, help);
        assert_eq!(finding["path"], "records.yaml");
    }
}

#[test]
fn a_model_that_is_not_there_and_outputs_that_it_does_not_give() {
    let read = read(
        &[("a", "s"), ("b", "s"), ("c", "m"), ("d", "s"), ("e", "s")],
        &format!(
            "
analyses:
  of-a: {{model: straightline, given: {{{RUN}}}, finds: a}}
  of-b: {{model: straight-line, given: {{{RUN}}}, finds: {{b: duration}}}}
  of-c: {{model: straight-line, given: {{{RUN}}}, finds: c}}
  of-d: {{model: steady-circle, given: {{radius: 9.125 m, grip: 1.5, mass: 280 kg, lift-area: 50 m^2}}, finds: d}}
  of-e: {{model: straight-line, given: {{mass: total * 1, total: 200 kg + 80 kg, power: 60 kW, grip: 1.2, distance: 75 m}}, finds: e}}
"
        ),
        |_| (),
    );
    for id in ["a", "b", "c", "d"] {
        assert!(read.get(id)["value"].is_null(), "{}", read.get(id));
    }
    assert!(read.number("e") > 3.0, "a name that an input uses is a step on the way");
    read.reports("unknown-reference", "of-a", "unknown model `straightline`", "`straight-line`");
    read.reports("unknown-reference", "of-b", "has no output `duration`", "time");
    read.reports("unit-mismatch", "of-c", "`s`", "");
    // mu kL R beyond m: there is no finite limit.
    read.reports("bad-value", "of-d", "no finite limit", "");
    read.reports_nothing(&["unknown-reference", "bad-value"], "of-e");
}
