//! Expanded uncertainties of values: first order, after the GUM (JCGM 100).

use std::fmt::Write as _;

use crate::read::{Read, close, end_gauge};

/// JCGM 100:2008 (GUM), H.1, end-gauge calibration, to first order: l = ls + d - ls (da t + as dt). The digits are
/// those of table H.1 and of the result (50.000838 mm, 32 nm). Uncertainties come in at k = 2.
#[test]
fn end_gauge_of_the_gum() {
    let read = end_gauge([50.0, 19.4, 2.4, 0.82, 1.16, 0.058]);
    assert!((read.number("gauge") - 50.000_838).abs() < 1e-9, "{:?}", read.get("gauge"));
    // Contributions 25, 9.7, 0, 0, 2.9 and 16.6 nm: 32 nm.
    let standard = read.uncertainty("gauge") / 2.0 * 1e6;
    let exact = [25.0, 9.7, 50.000_623e6 * 0.1 * 0.58e-6, 50.000_623e6 * 11.5e-6 * 0.029];
    let exact = exact.iter().map(|part: &f64| part * part).sum::<f64>().sqrt();
    close(standard, exact, 1e-9);
    assert_eq!(standard.round(), 32.0);
    // H.1.6: expanded with k = 2.92 it is 93 nm (H.1 rounds 92.5 up from 31.7).
    assert!((standard * 2.92 - 93.0).abs() < 1.0);
}

/// JCGM 100:2008, 5.2: values that depend on the same input are correlated, and the input counts once.
#[test]
fn shared_inputs_count_once() {
    let read = Read::new(
        "
targets:
  x: {of: car, at-most: 900, estimate: 10 ± 1}
  a: {of: car, at-most: 900, estimate: 3}
  b: {of: car, at-most: 900, estimate: 4 ± 0.5}
  nothing: {of: car, at-most: 900, formula: x - x}
  one: {of: car, at-most: 900, formula: x / x}
  sum: {of: car, at-most: 900, formula: a * x + 4 * x}
  three: {of: car, at-most: 900, formula: 3 * x}
  two: {of: car, at-most: 900, formula: x + x}
  difference: {of: car, at-most: 900, formula: three - two}
  product: {of: car, at-most: 900, formula: b * x + a * x}
  square: {of: car, at-most: 900, formula: x^2}
  same-square: {of: car, at-most: 900, formula: x * x}
  apart: {of: car, at-most: 900, formula: x - y}
  y: {of: car, at-most: 900, estimate: 10 ± 1}
  greater: {of: car, at-most: 900, formula: 'max(x, b)'}
  chosen: {of: car, at-most: 900, formula: 'if(x < b, x, b)'}
",
    );
    for (id, value, uncertainty) in [
        ("nothing", 0.0, 0.0),
        ("one", 1.0, 0.0),
        ("sum", 70.0, 7.0),
        ("difference", 10.0, 1.0),
        ("product", 70.0, f64::hypot(7.0, 5.0)),
        ("square", 100.0, 20.0),
        ("same-square", 100.0, 20.0),
        ("apart", 0.0, 2.0_f64.sqrt()),
        ("greater", 10.0, 1.0),
        ("chosen", 4.0, 0.5),
    ] {
        assert!((read.number(id) - value).abs() < 1e-12, "{:?}", read.get(id));
        assert!((read.uncertainty(id) - uncertainty).abs() < 1e-12, "{:?}", read.get(id));
    }
}

/// The uncertainty of a model's output is that of its inputs, by slopes that this test calculates from full runs.
#[test]
fn uncertainty_through_a_model() {
    let inputs = [
        ("mass", 280.0, "kg", 6.0),
        ("power", 60.0, "kW", 3.0),
        ("grip", 1.2, "", 0.1),
        ("drag-area", 1.1, "m^2", 0.2),
    ];
    let mut records = String::from("analyses:\n");
    let mut targets = String::from("targets:\n");
    let mut add = |id: &str, moved: Option<(usize, f64)>, uncertain: bool| {
        writeln!(targets, "  {id}: {{of: car, at-most: 9 s}}").unwrap();
        write!(records, "  run-{id}: {{model: straight-line, finds: {id}, given: {{distance: 75 m").unwrap();
        for (number, (name, value, unit, spread)) in inputs.iter().enumerate() {
            let by = moved.filter(|(input, _)| *input == number).map_or(0.0, |(_, by)| by);
            write!(records, ", {name}: {} {unit}", value + by).unwrap();
            if uncertain {
                write!(records, " ± {spread} {unit}").unwrap();
            }
        }
        records.push_str("}}\n");
    };
    add("run", None, true);
    for (number, (_, value, _, _)) in inputs.iter().enumerate() {
        add(&format!("up-{number}"), Some((number, value * 1e-3)), false);
        add(&format!("down-{number}"), Some((number, value * -1e-3)), false);
    }
    // The same through a formula.
    targets += "  points-lost: {of: car, at-most: 900 pts, formula: run * 20 pts/s}\n";
    let read = Read::new(&(records + &targets));
    let slopes: f64 = inputs
        .iter()
        .enumerate()
        .map(|(number, (_, value, _, spread))| {
            let (up, down) = (read.number(&format!("up-{number}")), read.number(&format!("down-{number}")));
            ((up - down) / (2e-3 * value) * spread).powi(2)
        })
        .sum();
    close(read.uncertainty("run"), slopes.sqrt(), 1e-4);
    close(read.uncertainty("points-lost"), 20.0 * slopes.sqrt(), 1e-4);
    assert!(read.uncertainty("run") > 0.01);
    for number in 0..inputs.len() {
        assert_eq!(read.uncertainty(&format!("up-{number}")), 0.0);
    }
}
