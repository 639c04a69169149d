//! Results: when a measured value meets its limit (JCGM 106:2012), and totals that were measured.

use trace::values::{Limit, Status};

use crate::read::{Read, close};

/// A target with one result.
fn measured(limit: &str, value: &str) -> Read {
    Read::new(&format!(
        "targets:\n  t: {{of: car, {limit}}}\nresults:\n  r: {{of: t, value: {value}, date: 2027-03-01}}\n"
    ))
}

#[track_caller]
fn status(limit: &str, value: &str) -> (Status, f64) {
    let (status, conformance) = measured(limit, value).get("t").status.unwrap();
    (status, conformance.unwrap_or_else(|| panic!("{limit}, {value}: no probability")))
}

/// JCGM 106:2012, 7.3, table 1 and the examples of 7 and 8, as quoted in reference/metrology.md; each with k = 2. Digits
/// beyond the printed ones are from the normal distribution (SciPy).
#[test]
fn published_probabilities_of_conformance() {
    use Status::{Met, Missed, Uncertain};
    for (limit, value, own, conformance, within) in [
        // Breakdown voltage of a Zener diode: at most -5.40 V, measured -5.47 V, u = 0.05 V; printed 0.92.
        ("at-most: -5.40 V", "-5.47 V ± 0.10 V", Uncertain, 0.919_243_340_8, 1e-9),
        // Kinematic viscosity of an oil: between 12.5 and 16.3, measured 13.6, u = 1.8; printed 0.66.
        ("between: [12.5 mm^2/s, 16.3 mm^2/s]", "13.6 mm^2/s ± 3.6 mm^2/s", Uncertain, 0.662_629_786_5, 1e-9),
        // Speed limit of 100 km/h, u = 2 % of the speed: act above 106.6 km/h for 99.9 %.
        ("at-least: 100 km/h", "106.5876095 km/h ± 4.26350438 km/h", Met, 0.999, 1e-8),
        // Limit 100, u = 2: with 95 %, accept up to 96.71.
        ("at-most: 100 mm", "96.7102927 mm ± 4 mm", Uncertain, 0.95, 1e-8),
        // A guard band of w = 2u gives at least 97.7 %: the end of the interval is on the limit.
        ("at-most: 100 mm", "96 mm ± 4 mm", Met, 0.977_249_868_1, 1e-9),
        ("at-most: 100 mm", "104 mm ± 4 mm", Missed, 1.0 - 0.977_249_868_1, 1e-7),
        // 7.3: .80 .90 .95 .99 .999 for z = 0.842 1.282 1.645 2.326 3.090.
        ("at-least: 10 mm", "10.842 mm ± 2 mm", Uncertain, 0.80, 1e-3),
        ("at-least: 10 mm", "11.282 mm ± 2 mm", Uncertain, 0.90, 1e-3),
        ("at-least: 10 mm", "11.645 mm ± 2 mm", Uncertain, 0.95, 1e-3),
        ("at-least: 10 mm", "12.326 mm ± 2 mm", Met, 0.99, 1e-3),
        ("at-least: 10 mm", "13.090 mm ± 2 mm", Met, 0.999, 1e-3),
        // The same on the other side.
        ("at-least: 10 mm", "9.158 mm ± 2 mm", Uncertain, 0.20, 1e-3),
        ("at-least: 10 mm", "7 mm ± 2 mm", Missed, 0.001_349_898, 1e-6),
    ] {
        let found = status(limit, value);
        assert_eq!(found.0, own, "{limit}, {value}");
        close(found.1, conformance, within);
    }
}

/// Simpson's rule.
fn integral(from: f64, to: f64, of: impl Fn(f64) -> f64) -> f64 {
    const STEPS: usize = 4000;
    let step = (to - from) / STEPS as f64;
    let weight = |at: usize| if at == 0 || at == STEPS { 1.0 } else { 2.0 + 2.0 * (at % 2) as f64 };
    (0..=STEPS).map(|at| weight(at) * of(from + at as f64 * step)).sum::<f64>() * step / 3.0
}

/// JCGM 106:2012, 9.5.4: ball bearings, error motion gamma distributed (shape 4, scale 1/4 um), limit 2 um, measured with
/// u = 0.25 um. Published: 4.2 % do not conform; the consumer's risk is 0.8 % for acceptance up to 2 um, and 0.1 % up to
/// 1.67 um; the producer's risk is 1.7 % and 7.5 %. All other digits: SciPy, as in reference/metrology.md.
#[test]
fn risks_of_accepting_ball_bearings() {
    const U: f64 = 0.25;
    let limit = Limit { at_least: None, at_most: Some(2.0) };
    let density = |x: f64| 256.0 / 6.0 * x.powi(3) * (-4.0 * x).exp();
    close(integral(2.0, 12.0, density), 0.042_380_112_0, 1e-8);
    // The largest value that a rule accepts, found by asking the rule.
    let accepted_up_to = |accepts: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (0.0, 4.0);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if accepts(middle) { low = middle } else { high = middle }
        }
        low
    };
    let risks = |end: f64| {
        // The probability that a bearing x reads at most `end`, by the function that users see.
        let accepted = |x: f64| Limit { at_least: None, at_most: Some(end) }.conformance(x, 2.0 * U);
        let consumer = integral(2.0, 12.0, |x| density(x) * accepted(x));
        (consumer, integral(0.0, 2.0, |x| density(x) * (1.0 - accepted(x))))
    };
    // Simple acceptance, which was the rule before uncertainties counted.
    let simple = risks(accepted_up_to(&|y| limit.holds(y, 0.0)));
    close(simple.0, 0.008_019_111_9, 1e-7);
    close(simple.1, 0.017_444_569_2, 1e-7);
    // A guard band for a consumer's risk of 0.1 %.
    let guarded = risks(accepted_up_to(&|y| limit.holds(y, 2.0 - 1.671_828_771_6)));
    close(guarded.0, 0.001, 1e-6);
    // `met` has a guard band of the expanded uncertainty: one bearing in 5000 is met and does not conform.
    let met = risks(accepted_up_to(&|y| limit.measured(y, 2.0 * U) == Status::Met));
    close(met.0, 0.000_199_327_882, 1e-6);
    close(met.1, 0.130_825_873_5, 1e-7);
    // And three in 10,000 are missed although they conform.
    let not_missed = risks(accepted_up_to(&|y| limit.measured(y, 2.0 * U) != Status::Missed));
    close(not_missed.1, 0.000_304_684_677, 1e-6);
}

/// A later, worse measurement is used, and decides nothing while the limit is inside its uncertainty.
#[test]
fn a_later_worse_measurement_decides_nothing() {
    let records = |more: &str| {
        format!(
            "targets:\n  t: {{of: car, at-most: 4.27 s}}\nresults:\n  r: {{of: t, value: 4.30 s ± 0.02 s, date: \
             2027-03-01}}\n  s: {{of: t, value: 4.20 s ± 0.40 s, date: 2027-03-02{more}}}\n"
        )
    };
    let before = Read::new(&records("").replace("2027-03-02", "2027-02-02"));
    assert_eq!(before.get("t").status.unwrap().0, Status::Missed);
    let after = Read::new(&records(""));
    assert_eq!(after.number("t"), 4.2);
    assert_eq!(after.uncertainty("t"), 0.4);
    assert_eq!(after.get("t").status.unwrap().0, Status::Uncertain);
    // Superseding decides which one is used, whatever the dates.
    let replaced = Read::new(&records(", supersedes: [r]").replace("2027-03-02", "2027-03-01"));
    assert_eq!(replaced.number("t"), 4.2);
}

/// A system in a system, a part that counts four times with growth, and a frame.
const CAR: &str = "\
systems:
  suspension: {in: car}
  corner: {in: suspension}
  frame: {in: car}
targets:
  car-mass: {of: car, at-most: 200 kg, total: mass}
  suspension-mass: {of: suspension, at-most: 32 kg, total: mass, share-of: car-mass}
  corner-mass: {of: corner, at-most: 11 kg, total: mass, share-of: suspension-mass}
  uprights-mass: {of: upright, at-most: 11 kg, total: mass}
  frame-mass: {of: frame, at-most: 170 kg, total: mass, share-of: car-mass}
  by-name: {of: car, at-most: 200 kg, formula: car.mass + suspension.mass * 2 + corner.mass * 3}
parts:
  upright: {in: corner, count: 4, amounts: {mass: 2.5 kg ± 0.1 kg}}
  arm: {in: suspension, count: 4, amounts: {mass: 4.95 kg ± 0.1 kg}}
  tube: {in: frame, amounts: {mass: 160 kg}}
";

/// The totals of the car, the suspension, the corner and the frame, with the uncertainty of the car.
#[track_caller]
fn totals(results: &[(&str, &str)]) -> [f64; 5] {
    let records: String = results
        .iter()
        .enumerate()
        .map(|(at, (of, value))| format!("  r{at}: {{of: {of}, value: {value}, date: 2027-03-01}}\n"))
        .collect();
    let read = Read::new(&format!("{CAR}results:\n{records}").replace("results:\n\n", ""));
    let [car, suspension, corner, frame] =
        ["car-mass", "suspension-mass", "corner-mass", "frame-mass"].map(|id| read.number(id));
    // Every name of a total has the same value.
    close(read.number("by-name"), car + 2.0 * suspension + 3.0 * corner, 1e-12);
    [car, suspension, corner, frame, read.uncertainty("car-mass")]
}

/// A measured total replaces its parts in everything around it, once, with its own uncertainty.
#[test]
fn a_measured_total_replaces_its_parts_above() {
    let root = |squares: &[f64]| squares.iter().map(|u| u * u).sum::<f64>().sqrt();
    let nothing = CAR.to_owned();
    let read = Read::new(&nothing);
    close(read.number("car-mass"), 189.8, 1e-12);
    close(read.uncertainty("car-mass"), root(&[0.4, 0.4]), 1e-12);
    for (results, expected) in [
        (&[("suspension-mass", "31.2 kg ± 0.3 kg")][..], [191.2, 31.2, 10.0, 160.0, 0.3]),
        (&[("corner-mass", "10.6 kg ± 0.3 kg")], [190.4, 30.4, 10.6, 160.0, 0.5]),
        // The outer one contains the inner one.
        (&[("suspension-mass", "31.2 kg ± 0.3 kg"), ("corner-mass", "10.6 kg")], [191.2, 31.2, 10.6, 160.0, 0.3]),
        // A total of a part: all pieces together.
        (&[("uprights-mass", "10.2 kg ± 0.3 kg")], [190.0, 30.0, 10.2, 160.0, 0.5]),
        (&[("uprights-mass", "10.2 kg"), ("corner-mass", "10.6 kg ± 0.3 kg")], [190.4, 30.4, 10.6, 160.0, 0.5]),
        (&[("frame-mass", "158 kg"), ("suspension-mass", "31.2 kg")], [189.2, 31.2, 10.0, 158.0, 0.0]),
        (&[("car-mass", "193 kg ± 1 kg"), ("suspension-mass", "31.2 kg")], [193.0, 31.2, 10.0, 160.0, 1.0]),
    ] {
        for (found, expected) in totals(results).into_iter().zip(expected) {
            assert!((found - expected).abs() < 1e-12, "{results:?}: {found} instead of {expected}");
        }
    }
}

/// A measured total without any amount in it counts, too, and a result in another unit replaces nothing.
#[test]
fn only_a_total_is_replaced() {
    let parts = "parts:\n  a: {in: x, amounts: {mass: 2 kg}}\n  b: {in: y}\n";
    let rest = "systems: {x: {in: car}, y: {in: car}}\ntargets:\n  whole: {of: car, at-most: 9 kg, total: mass}\n";
    let y = "  own: {of: y, at-most: 9 kg, total: mass}\nresults: {r: {of: own, value: 3 kg, date: 2027-03-01}}\n";
    close(Read::new(&format!("{parts}{rest}{y}")).number("whole"), 5.0, 1e-15);
    // A target with a formula is not the roll-up of its parts.
    let formula = y.replace("total: mass", "formula: x.mass");
    close(Read::new(&format!("{parts}{rest}{formula}")).number("whole"), 2.0, 1e-15);
}
