//! Models through the binary: gears, load transfer and energy recovery in records, the sign of what a kilogram and the height
//! of the centre of gravity are worth, tables over the size limit, and what `explain` states.

use crate::support::{SETTINGS, Sandbox};
use crate::values_json::{Read, close};

/// Events with the slopes of Formula SAE Rules 2024, D.9.4, D.10.4, D.11.4 and D.12.13.
const TARGETS: &str = "\
goals: {season: {points: 400 pts}}
events:
  acceleration:
    serves: {season: x}
    reads: {time: accel-time}
    score: {formula: 95.5 pts * (1.5 * 4 s / time - 1) / 0.5 + 4.5 pts}
  skidpad:
    serves: {season: x}
    reads: {time: skidpad-time}
    score: {formula: 71.5 pts * ((1.25 * 4.8 s / time)^2 - 1) / 0.5625 + 3.5 pts}
  autocross:
    serves: {season: x}
    reads: {time: lap-time}
    score: {formula: 118.5 pts * (1.45 * 11.5 s / time - 1) / 0.45 + 6.5 pts}
  endurance:
    serves: {season: x}
    reads: {time: lap-time}
    score: {formula: 250 pts * (1.45 * 11.5 s / time - 1) / 0.45}
targets:
  accel-time: {of: car, at-most: 5 s, serves: {acceleration: x}}
  skidpad-time: {of: car, at-most: 6 s, serves: {skidpad: x}}
  lap-time: {of: car, at-most: 20 s, serves: {autocross: x}}
  lap-energy: {of: car, at-most: 1 MJ}
  car-mass: {of: car, at-most: 300 kg, estimate: 205 kg, serves: {accel-time: x}}
  cg-height: {of: car, at-most: 0.4 m, estimate: 0.3 m, serves: {skidpad-time: x}}
";

/// The analyses of a rear-driven car, with further inputs for all of them.
fn analyses(more: &str, corners: &str, lap: &str) -> String {
    let car = "mass: car-mass + 75 kg, grip: 1.4, air-density: 1.2 kg/m^3, measured-factor: 1.02 ± 0.01";
    let body = "power: 45 kW, drag-area: 1.1 m^2, driven-share: 53 %, wheelbase: 1.55 m, cg-height: cg-height";
    format!(
        "analyses:
  run: {{model: straight-line, given: {{{car}, {body}, distance: 75 m{more}}}, finds: accel-time}}
  circle: {{model: steady-circle, given: {{{car}, radius: 9.1 m{more}{corners}}}, finds: skidpad-time}}
  lap:
    model: lap
    given: {{{car}, {body}, track: track.csv{more}{corners}{lap}}}
    finds: {{lap-time: time, lap-energy: energy}}
"
    )
}

const SENSITIVE: &str = ", load-sensitivity: 0.25 / 1 kN / 4, reference-load: 4 * 650 N";

fn read(records: &str) -> Read {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("targets.yaml", TARGETS);
    sandbox.write("track.csv", "length,curvature\n60,0\n31.4,0.1\n60,0\n31.4,-0.1\n");
    sandbox.write("records.yaml", records);
    Read::from_sandbox(sandbox)
}

fn worth(read: &Read, id: &str) -> f64 {
    let answer = read.sandbox.tierod(&["worth", "--format", "json"]).ended(0).json();
    let all = answer["values"].as_array().unwrap().iter();
    let found = all.clone().find(|value| value["id"] == id).unwrap_or_else(|| panic!("no worth of {id} in {answer}"));
    found["points_per_unit"].as_f64().unwrap()
}

/// Without load sensitivity a higher centre of gravity only helps the launch. With it, the outer tyres of the corners lose
/// more than that, and mass costs more.
#[test]
fn the_worth_of_height_and_mass_has_the_sign_of_a_load_sensitive_tyre() {
    let plain = read(&analyses("", "", ""));
    // The lap has the height already.
    let sensitive =
        analyses(SENSITIVE, ", track-width: 1.2 m", "").replace("radius: 9.1 m", "radius: 9.1 m, cg-height: cg-height");
    let sensitive = read(&sensitive);
    assert!(worth(&plain, "cg-height") > 0.0);
    assert!(worth(&sensitive, "cg-height") < 0.0, "{}", worth(&sensitive, "cg-height"));
    let (before, after) = (worth(&plain, "car-mass"), worth(&sensitive, "car-mass"));
    assert!(after < 1.3 * before && before < 0.0, "{before} {after}");
    // The measured factor and its uncertainty are in each time.
    assert!(sensitive.uncertainty("lap-time") / sensitive.number("lap-time") > 0.0098);
}

#[test]
fn a_lap_with_gears_and_energy_given_back() {
    let gears = ", gears: '2, 1.5, 0.9', final-drive: 8, wheel-radius: 0.23 m, redline: 1000 rad/s";
    let plain = read(&analyses("", "", ""));
    let geared = read(&analyses("", "", &format!("{gears}, shift-time: 0.1 s")));
    let at_once = read(&analyses("", "", gears));
    assert!(geared.number("lap-time") > at_once.number("lap-time"));
    close(at_once.number("lap-time"), plain.number("lap-time"), 1e-9);
    let electric = read(&analyses("", "", ", regeneration: 40 %, power-limit: 30 kW, regeneration-limit: 20 kW"));
    assert!(electric.si("lap-energy") < 0.9 * plain.si("lap-energy"));
    assert!(electric.number("lap-time") > plain.number("lap-time"));
}

/// Before, the analysis had no value and no finding.
#[test]
fn a_table_over_the_size_limit_is_an_error() {
    let read = read(&analyses("", "", ""));
    let mut large = String::from("length,curvature\n");
    large.push_str(&"0.01,0.001\n".repeat(800_000));
    read.sandbox.write("track.csv", large);
    let read = Read::from_sandbox(read.sandbox);
    assert!(read.get("lap-time")["value"].is_null());
    let finding =
        read.reports("unreadable-table", "lap", "track.csv, the file has 8.4 MiB; the limit is 8 MiB", "smaller");
    assert_eq!(finding["level"], "error");
}

#[test]
fn explain_states_equations_limits_and_accuracy() {
    let sandbox = Sandbox::new();
    for model in ["lap", "steady-circle", "straight-line", "efficiency", "efficiency-co2"] {
        let text = sandbox.tierod(&["explain", model]).ended(0).out;
        for part in ["equations", "omitted", "accuracy", "inputs", "outputs"] {
            assert!(text.contains(&format!("\n{part}")), "{model}: {text}");
        }
        let answer = sandbox.tierod(&["explain", model, "--format", "json"]).ended(0).json();
        for key in ["equations", "omitted", "accuracy"] {
            assert!(!answer[key].as_array().unwrap().is_empty(), "{model} {key}");
        }
    }
    let lap = sandbox.tierod(&["explain", "lap"]).ended(0).out;
    for stated in ["longest segment", "noise in the curvature", "regeneration-limit", "load-sensitive tyres"] {
        assert!(lap.contains(stated), "{stated}: {lap}");
    }
}
