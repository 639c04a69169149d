//! Models through records: every case with a closed form, and tables.
//!
//! The cases are those of section 2 of the reference: each follows from Newton's law; these are standard textbook
//! results (Gillespie, Fundamentals of Vehicle Dynamics; Milliken and Milliken, Race Car Vehicle Dynamics; Guiggiani,
//! The Science of Vehicle Dynamics). The car has 280 kg, 60 kW, 1.1 m2 of drag area
//! and 2.5 m2 of lift area; air has 1.2 kg/m3.

use std::fmt::Write as _;

use crate::read::{Read, close};

/// Standard gravity, in m/s^2.
const GN: f64 = 9.806_65;

/// Runs, circles and laps. A power of 1e15 W does not limit, nor does a grip of 1e9.
const CASES: &str = "
analyses:
  constant-acceleration:
    model: straight-line
    given: {mass: 280 kg, power: 1e15 W, grip: 8 m/s^2 / 1 gn, distance: 75 m}
    finds: {steady-time: time, steady-speed: speed}
  after-staging:
    model: straight-line
    given: {mass: 280 kg, power: 1e15 W, grip: 8 m/s^2 / 1 gn, distance: 75 m, staging: 30 cm}
    finds: staged-time
  constant-power:
    model: straight-line
    given: {mass: 280 kg, power: 60 kW, grip: 1e9, distance: 75 m}
    finds: {power-time: time, power-speed: speed}
  grip-then-power:
    model: straight-line
    given: {mass: 280 kg, power: 60 kW, grip: 8 m/s^2 / 1 gn, distance: 75 m}
    finds: {both-time: time, both-speed: speed}
  thrust-and-drag:
    model: straight-line
    given: {mass: 280 kg, power: 1e15 W, grip: 8 m/s^2 / 1 gn, distance: 75 m, drag-area: 1.1 m^2, air-density: 1.2 kg/m^3}
    finds: {dragged-time: time, dragged-speed: speed}
  power-and-drag:
    model: straight-line
    given: {mass: 280 kg, power: 60 kW, grip: 1e9, distance: 75 m, drag-area: 1.1 m^2}
    finds: {dragged-power-speed: speed}
  terminal:
    model: straight-line
    given: {mass: 280 kg, power: 60 kW, grip: 1e9, distance: 1000 km, drag-area: 1.1 m^2}
    finds: {terminal-speed: speed}
  coasting:
    formula: m / k * (1/v1 - 1/v0)
    given: {m: 280 kg, k: 1.2 kg/m^3 * 1.1 m^2 / 2, v0: 30 m/s, v1: 20 m/s}
    finds: coast-time
  coasting-distance:
    formula: m / k * ln(v0/v1)
    given: {m: 280 kg, k: 1.2 kg/m^3 * 1.1 m^2 / 2, v0: 30 m/s, v1: 20 m/s}
    finds: coast-distance
  coasting-as-a-lap:
    model: lap
    given: {mass: 280 kg, grip: 1.5, power-curve: tables/no-power.csv, track: tables/coast.csv, start: 30 m/s, drag-area: 1.1 m^2}
    finds: {coast-lap-time: time, coast-lap-speed: speed, coast-lap-energy: energy}
  braking:
    formula: v0^2 / (2 * mu * 1 gn)
    given: {v0: 108 km/h, mu: 1.5}
    finds: brake-distance
  braking-time:
    formula: v0 / (mu * 1 gn)
    given: {v0: 30 m/s, mu: 1.5}
    finds: brake-time
  braking-with-wings:
    formula: m / (2 * both) * ln(1 + both * v0^2 / (mu * m * g))
    given: {m: 280 kg, v0: 30 m/s, mu: 1.5, g: 1 gn, k: 1.2 kg/m^3 * 1.1 m^2 / 2, kl: 1.2 kg/m^3 * 2.5 m^2 / 2, both: mu * kl + k}
    finds: winged-brake-distance
  # The arctangent by its series, of an angle that was halved twice.
  braking-time-with-wings:
    formula: m / sqrt(both * mu * m * g) * 4 * (r - r^3/3 + r^5/5 - r^7/7 + r^9/9 - r^11/11 + r^13/13)
    given:
      m: 280 kg
      v0: 30 m/s
      mu: 1.5
      g: 1 gn
      k: 1.2 kg/m^3 * 1.1 m^2 / 2
      kl: 1.2 kg/m^3 * 2.5 m^2 / 2
      both: mu * kl + k
      p: v0 * sqrt(both / (mu * m * g))
      q: p / (1 + sqrt(1 + p^2))
      r: q / (1 + sqrt(1 + q^2))
    finds: winged-brake-time
  small-circle: {model: steady-circle, given: {radius: 17.10 m / 2, grip: 1.5, mass: 280 kg}, finds: small-circle-time}
  circle: {model: steady-circle, given: {radius: 18.25 m / 2, grip: 1.5, mass: 280 kg}, finds: circle-time}
  winged-circle:
    model: steady-circle
    given: {radius: 9.125 m, grip: 1.5, mass: 280 kg, lift-area: 2.5 m^2, air-density: 1.2 kg/m^3}
    finds: {winged-circle-time: time, winged-circle-speed: speed, winged-circle-lateral: lateral-acceleration}
  circle-as-a-lap:
    model: lap
    given: {mass: 280 kg, power: 60 kW, grip: 1.5, track: tables/circle.csv, lift-area: 2.5 m^2}
    finds: circle-lap-time
  rear-drive:
    model: straight-line
    given: {mass: 280 kg, power: 1e15 W, grip: 1.4, distance: 75 m, driven-share: 0.80 m / 1.55 m, cg-height: 0.29 m, wheelbase: 1.55 m}
    finds: {rear-drive-time: time, rear-drive-speed: speed}
  stadium:
    model: lap
    given:
      track: tables/stadium.csv
      mass: 280 kg
      power: 1e15 W
      grip: 1.5
      braking-grip: 14 m/s^2 / 1 gn
      driven-share: 8 m/s^2 / (grip * 1 gn)
    finds: {stadium-time: time, stadium-energy: energy}
";

/// Target, unit, value with the digits of the reference, greatest relative deviation.
const ANSWERS: [(&str, &str, f64, f64); 26] = [
    ("steady-time", "s", 4.330_127, 2e-7),
    ("steady-speed", "m/s", 34.641_016, 2e-8),
    ("staged-time", "s", 4.064_917, 2e-7),
    ("power-time", "s", 3.090_964, 2e-7),
    ("power-speed", "m/s", 36.396_413, 2e-8),
    ("both-time", "s", 4.339_376, 2e-7),
    ("both-speed", "m/s", 33.797_310, 2e-8),
    ("dragged-time", "s", 4.458_767, 2e-7),
    ("dragged-speed", "m/s", 31.793_036, 2e-8),
    ("dragged-power-speed", "m/s", 33.447_428, 2e-8),
    ("terminal-speed", "m/s", 44.964_431, 2e-8),
    ("coast-time", "s", 7.070_707, 1e-7),
    ("coast-distance", "m", 172.015_5, 3e-7),
    ("coast-lap-time", "s", 7.070_707, 1e-6),
    ("coast-lap-speed", "m/s", 20.0, 1e-6),
    ("brake-distance", "m", 30.591_486, 2e-8),
    ("brake-time", "s", 2.039_432, 3e-7),
    ("winged-brake-distance", "m", 23.678_391, 3e-8),
    ("winged-brake-time", "s", 1.721_652, 3e-7),
    ("small-circle-time", "s", 4.790_24, 2e-6),
    ("circle-time", "s", 4.948_69, 2e-6),
    ("winged-circle-time", "s", 4.763_80, 2e-6),
    ("winged-circle-speed", "m/s", 12.035_35, 1e-6),
    ("circle-lap-time", "s", 4.763_80, 2e-6),
    ("rear-drive-limit", "m/s^2", 9.600_92, 1e-6),
    ("stadium-time", "s", 11.231_90, 1e-6),
];

/// More values of the same analyses.
const OTHERS: [(&str, &str); 5] = [
    ("coast-lap-energy", "J"),
    ("winged-circle-lateral", "m/s^2"),
    ("rear-drive-time", "s"),
    ("rear-drive-speed", "m/s"),
    ("stadium-energy", "kJ"),
];

fn targets<'a>(all: impl Iterator<Item = (&'a str, &'a str)>) -> String {
    let mut text = String::from("targets:\n");
    for (id, unit) in all {
        writeln!(text, "  {id}: {{of: car, at-least: 0 {unit}}}").unwrap();
    }
    text
}

/// Tables of lengths and curvatures, and of powers.
fn tables() -> Vec<(&'static str, String)> {
    let half = std::f64::consts::PI * 10.0;
    let round = std::f64::consts::TAU * 9.125;
    // Columns in another order, a byte order mark, spaces, comments and further columns are read.
    let circle = format!("\u{feff}curvature, length, note\n# the right circle\n{}, {round}, right\n", 1.0 / 9.125);
    vec![
        ("tables/no-power.csv", "speed,power\n40,0\n50,1000\n".to_owned()),
        ("tables/coast.csv", "length,curvature\n172.0155,0\n".to_owned()),
        ("tables/circle.csv", circle),
        ("tables/stadium.csv", format!("length,curvature\n60,0\n{half},0.1\n60,0\n{half},-0.1\n")),
    ]
}

/// The values of these records with targets in these units, next to the tables and more files.
#[track_caller]
fn read(units: &[(&str, &str)], records: &str, more: &[(&str, &str)]) -> Read {
    let (tables, targets) = (tables(), targets(units.iter().copied()));
    let mut files: Vec<(&str, &str)> = tables.iter().map(|(path, content)| (*path, content.as_str())).collect();
    files.push(("targets.yaml", &targets));
    files.extend(more);
    Read::with_files(records, &files)
}

#[test]
fn every_closed_form() {
    let mut units: Vec<(&str, &str)> = ANSWERS.iter().map(|(id, unit, ..)| (*id, *unit)).collect();
    units.extend(OTHERS);
    units.retain(|(id, _)| *id != "rear-drive-limit");
    let more = "targets: {rear-drive-limit: {of: car, at-least: 0 m/s^2, formula: rear-drive-speed^2 / (2 * 75 m)}}\n";
    let read = read(&units, CASES, &[("more.yaml", more)]);
    let mut worst = ("", 0.0_f64);
    for (id, unit, value, within) in ANSWERS {
        let (found, got) = (read.number(id), read.get(id));
        assert_eq!(got.unit, unit, "{got:?}");
        let off = (found / value - 1.0).abs();
        assert!(off <= within, "{id}: {found} is not {value} ({off:e})");
        if off > worst.1 {
            worst = (id, off);
        }
        assert_eq!(got.origin, if id == "rear-drive-limit" { "formula" } else { "analysis" }, "{got:?}");
    }
    println!("the worst closed form is {} with a relative deviation of {:e}", worst.0, worst.1);
    assert_eq!(read.number("coast-lap-energy"), 0.0);
    close(read.number("winged-circle-lateral"), read.number("winged-circle-speed").powi(2) / 9.125, 1e-12);
    close(read.number("rear-drive-time"), (150.0_f64 / 9.600_92).sqrt(), 1e-6);
    // Without losses the drive energy equals the braking energy: twice the kinetic energy between corner and top speed.
    let corner = 1.5 * GN * 10.0;
    let top = corner + 2.0 * 60.0 * 8.0 * 14.0 / 22.0;
    close(read.number("stadium-energy"), 280.0 * (top - corner) / 1e3, 1e-8);
}

/// The closed forms to more digits than the reference prints.
#[test]
fn closed_forms_to_nine_digits() {
    let units: Vec<(&str, &str)> = ANSWERS.iter().map(|(id, unit, ..)| (*id, *unit)).chain(OTHERS).collect();
    let read = read(&units, CASES, &[]);
    let (m, p, k, kl, mu, x, a) = (280.0_f64, 60e3_f64, 0.66_f64, 1.5_f64, 1.5_f64, 75.0_f64, 8.0_f64);
    let v1 = p / (m * a);
    let v2 = f64::cbrt(v1.powi(3) + 3.0 * p * (x - v1 * v1 / (2.0 * a)) / m);
    let limit = (m * a / k).sqrt();
    let tau = m * limit / (m * a);
    let t = tau * (k * x / m).exp().acosh();
    let both = mu * kl + k;
    let circle = (mu * GN * 9.125 / (1.0 - mu * kl * 9.125 / m)).sqrt();
    let corner = (mu * GN * 10.0).sqrt();
    let top = (corner * corner + 2.0 * 60.0 * 8.0 * 14.0 / 22.0).sqrt();
    let mut worst = ("", 0.0_f64);
    for (id, value) in [
        ("steady-time", (2.0 * x / a).sqrt()),
        ("staged-time", (2.0 * 75.3 / a).sqrt() - (2.0 * 0.3 / a).sqrt()),
        ("power-time", f64::cbrt(9.0 * m * x * x / (8.0 * p))),
        ("both-time", v1 / a + m * (v2 * v2 - v1 * v1) / (2.0 * p)),
        ("both-speed", v2),
        ("dragged-time", t),
        ("dragged-speed", limit * (t / tau).tanh()),
        ("dragged-power-speed", f64::cbrt(p / k * (1.0 - (-3.0 * k * x / m).exp()))),
        ("terminal-speed", f64::cbrt(p / k)),
        ("coast-time", m / k * (1.0 / 20.0 - 1.0 / 30.0)),
        ("winged-brake-distance", m / (2.0 * both) * (both * 900.0 / (mu * m * GN)).ln_1p()),
        ("winged-brake-time", m / (both * mu * m * GN).sqrt() * (30.0 * (both / (mu * m * GN)).sqrt()).atan()),
        ("winged-circle-speed", circle),
        ("stadium-time", std::f64::consts::TAU * 10.0 / corner + 2.0 * (top - corner) * (1.0 / 8.0 + 1.0 / 14.0)),
    ] {
        let off = (read.number(id) / value - 1.0).abs();
        assert!(off < 1e-9, "{id}: {} is not {value} ({off:e})", read.number(id));
        if off > worst.1 {
            worst = (id, off);
        }
    }
    println!("the worst closed form is {}: {:e}", worst.0, worst.1);
}

/// One run of 75 m per variant, each with a target for its time.
fn runs(variants: &[(&str, &str)]) -> (Vec<String>, String) {
    let mut records = String::from("analyses:\n");
    for (id, given) in variants {
        writeln!(records, "  run-{id}:\n    model: straight-line\n    finds: {id}\n    given: {given}").unwrap();
    }
    (variants.iter().map(|(id, _)| (*id).to_owned()).collect(), records)
}

fn times(variants: &[(&str, &str)], files: &[(&str, &str)]) -> Read {
    let (ids, records) = runs(variants);
    let units: Vec<(&str, &str)> = ids.iter().map(|id| (id.as_str(), "s")).collect();
    read(&units, &records, files)
}

#[test]
fn time_changes_in_the_right_direction() {
    let run = |more: &str| {
        let mut all = vec![
            ("mass", "280 kg"),
            ("power", "60 kW"),
            ("grip", "1.2"),
            ("distance", "75 m"),
            ("drag-area", "1.1 m^2"),
            ("lift-area", "1 m^2"),
        ];
        for change in more.split(", ").filter(|change| !change.is_empty()) {
            let (name, value) = change.split_once(": ").unwrap();
            all.retain(|(known, _)| *known != name);
            all.push((name, value));
        }
        let all: Vec<String> = all.iter().map(|(name, value)| format!("{name}: {value}")).collect();
        format!("{{{}}}", all.join(", "))
    };
    let variants = [
        ("plain", run("")),
        ("strong", run("power: 70 kW")),
        ("grippy", run("grip: 1.3")),
        ("heavy", run("mass: 300 kg")),
        ("blunt", run("drag-area: 1.3 m^2")),
        ("winged", run("lift-area: 2 m^2")),
        ("scaled", run("mass: 560 kg, power: 120 kW, drag-area: 2.2 m^2, lift-area: 2 m^2")),
        ("rolling", run("rolling-resistance: 0.02")),
        ("flywheel", run("rotating-mass: 20 kg")),
    ];
    let variants: Vec<(&str, &str)> = variants.iter().map(|(id, given)| (*id, given.as_str())).collect();
    let read = times(&variants, &[]);
    let plain = read.number("plain");
    for faster in ["strong", "grippy", "winged"] {
        assert!(read.number(faster) < plain, "{faster}");
    }
    for slower in ["heavy", "blunt", "rolling", "flywheel"] {
        assert!(read.number(slower) > plain, "{slower}");
    }
    close(read.number("scaled"), plain, 1e-9);
}

#[test]
fn power_from_a_table_and_through_gears() {
    // One shift at v: accelerate with a to v, roll on for the shift time, accelerate with a again.
    let (a, shift, v): (f64, f64, f64) = (8.0, 0.1, 20.0);
    let rest = 75.0 - v * v / (2.0 * a) - shift * v;
    let shifted = v / a + shift + ((v * v + 2.0 * a * rest).sqrt() - v) / a;
    let gears =
        "mass: 280 kg, power: 1e15 W, grip: 8 m/s^2 / 1 gn, distance: 75 m, wheel-radius: 0.25 m, final-drive: 4";
    // 20 m/s is 80 rad/s at the wheel, 320 rad/s behind the gears, 640 rad/s at a ratio of 2.
    let read = times(
        &[
            ("constant", "{mass: 280 kg, power: 60 kW, grip: 1.2, distance: 75 m, drag-area: 1.1 m^2}"),
            ("level", "{mass: 280 kg, power-curve: tables/level.csv, grip: 1.2, distance: 75 m, drag-area: 1.1 m^2}"),
            ("rising", "{mass: 280 kg, power-curve: tables/rising.csv, grip: 1e9, distance: 75 m}"),
            ("shifted", &format!("{{{gears}, redline: 640 rad/s, shift-time: 0.1 s, gears: '2, 0.5'}}")),
            ("in-rpm", &format!("{{{gears}, redline: 6111.549815 rpm, shift-time: 100 ms, gears: 2 0.5}}")),
            ("one-gear", &format!("{{{gears}, redline: 6400 rad/s, gears: 2}}")),
            (
                "engine",
                "{mass: 280 kg, engine-curve: tables/engine.csv, grip: 1.2, distance: 75 m, drag-area: 1.1 m^2, wheel-radius: 0.25 m, gears: 1}",
            ),
        ],
        &[
            ("tables/level.csv", "speed,power\n0,60000\n20,60000\n100,60000\n"),
            // Power in proportion to speed is a constant force: 2240 N, 8 m/s^2.
            ("tables/rising.csv", "speed,power\n0,0\n100,224000\n"),
            ("tables/engine.csv", "shaft-speed,power\n1,60000\n400,60000\n"),
        ],
    );
    close(read.number("level"), read.number("constant"), 1e-9);
    close(read.number("rising"), (150.0_f64 / 8.0).sqrt(), 1e-8);
    close(read.number("shifted"), shifted, 1e-8);
    close(read.number("in-rpm"), shifted, 1e-7);
    close(read.number("one-gear"), (150.0_f64 / 8.0).sqrt(), 1e-8);
    close(read.number("engine"), read.number("constant"), 1e-6);
}
