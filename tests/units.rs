//! Units in answers: which unit a value is shown in, temperatures, and units that do not mix.

use crate::support::Sandbox;
use crate::values_json::Read;

#[test]
fn a_value_is_shown_in_the_unit_of_the_limit() {
    let read = Read::new(
        "
targets:
  heat: {of: car, at-most: 100 °C, estimate: 363.15 K ± 2 K}
  speed: {of: car, at-least: 100 km/h, estimate: 30 m/s ± 0.1 m/s}
  torque: {of: car, at-least: 40 N*m, formula: 1 kW / (1000 rpm) * 5}
  share: {of: car, at-most: 60 %, estimate: 0.5}
",
    );
    for (id, unit, value, uncertainty) in [
        ("heat", "°C", 90.0, 2.0),
        ("speed", "km/h", 108.0, 0.36),
        ("torque", "N*m", 47.746_482_927_568_6, 0.0),
        ("share", "%", 50.0, 0.0),
    ] {
        let found = read.get(id);
        assert_eq!(found["unit"], unit);
        assert!((read.number(id) - value).abs() < 1e-9, "{found}");
        assert!((read.uncertainty(id) - uncertainty).abs() < 1e-9, "{found}");
    }
    assert!((read.get("heat")["limit"]["at_most"].as_f64().unwrap() - 100.0).abs() < 1e-9);
    assert!((read.get("speed")["limit"]["at_least"].as_f64().unwrap() - 100.0).abs() < 1e-9);
    // 10 % of 100 °C is not 10 % in kelvins: the margin of a temperature is a difference.
    assert!(read.get("heat")["margin"].is_null());
    assert!((read.get("speed")["margin"].as_f64().unwrap() - 0.08).abs() < 1e-9);
}

#[test]
fn the_margin_of_a_temperature_is_a_difference() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "heat.yaml",
        "targets:\n  heat: {of: car, at-most: 100 °C, estimate: 363.15 K}\n  cold: {of: car, between: [60 °C, 80 °C], estimate: 55 °C}\n  kelvin: {of: car, at-most: 373.15 K, estimate: 90 °C}\n",
    );
    let out = sandbox.tierod(&["values"]).out;
    let line = |id: &str| out.lines().find(|line| line.starts_with(id)).unwrap().to_owned();
    assert!(line("heat").contains(" +10 °C  on target"), "{out}");
    assert!(line("cold").contains(" -5 °C  at risk"), "{out}");
    assert!(line("kelvin").contains(" +2.7 %  on target"), "{out}");
}

/// Money, points and the decibel have their own dimensions, which pint does not have.
#[test]
fn money_points_and_decibels_mix_with_nothing() {
    let read = Read::new(
        "
targets:
  ok-price: {of: car, at-most: 10000 EUR, formula: 12 EUR/kg * 20 kg + 3 EUR}
  ok-worth: {of: car, at-least: 0 pts/kg, formula: 62 pts / 31 kg}
  ok-ratio: {of: car, at-least: 0, formula: (3 EUR / 2 EUR)^0.5 * (3 dB / 1 dB)}
  ok-root: {of: car, at-least: 0 EUR, formula: sqrt(3 EUR * 12 EUR)}
  two: {of: car, at-most: 10 EUR, formula: 1 EUR + 1 USD}
  product: {of: car, at-most: 10, formula: 1 EUR * 1 USD / (1 EUR * 1 USD)}
  points: {of: car, at-most: 10 pts, formula: 1 pts + 1}
  noise: {of: car, at-most: 110 dB, formula: 103 dB + 20 %}
",
    );
    for (id, value) in [("ok-price", 243.0), ("ok-worth", 2.0), ("ok-ratio", 13.5_f64.sqrt()), ("ok-root", 6.0)] {
        assert!((read.number(id) - value).abs() < 1e-12, "{}", read.get(id));
    }
    for id in ["two", "product", "points", "noise"] {
        assert!(read.get(id)["value"].is_null());
        read.reports("unit-mismatch", id, "", "");
    }
}
