//! Numbers that are read from evidence files, against the worked examples of JCGM 100:2008 (GUM) and JCGM GUM-5:2026, and
//! NIST's Statistical Reference Datasets, from records to values.

use crate::read::{Read, close};

/// A target with one result that is read from `a.csv`; the keys below `value` follow the file.
fn result(keys: &str, file: &str) -> Read {
    let records = format!(
        "targets:\n  t: {{of: car, at-least: -1e9}}\nresults:\n  r: {{of: t, date: 2027-03-01, value: {{from: a.csv, column: x, \
         unit: 1, {keys}}}}}\n"
    );
    Read::with_files(&records, &[("a.csv", file)])
}

#[track_caller]
fn value(keys: &str, file: &str) -> (f64, f64) {
    let read = result(keys, file);
    (read.number("t"), read.uncertainty("t"))
}

fn column(numbers: &[f64]) -> String {
    let rows: Vec<String> = numbers.iter().map(|number| format!("{number}\n")).collect();
    format!("x\n{}", rows.concat())
}

/// Student's factors for 95.45 %, JCGM 100:2008, table G.2, with more digits (the regularized incomplete beta function, mpmath).
const T2: f64 = 4.526_536_687;
const T4: f64 = 2.869_309_415;
const T5: f64 = 2.648_649_431;
const T19: f64 = 2.140_493_723;

/// JCGM 100:2008, 4.4.3: twenty temperatures. Printed: mean 100.145, s = 1.489, u = 0.333.
#[test]
fn twenty_temperatures() {
    let readings = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11,
        101.20, 101.57, 101.84, 102.36, 102.72,
    ];
    let (mean, uncertainty) = value("take: mean", &column(&readings));
    close(mean, 100.145, 1e-12);
    close(uncertainty, T19 * 0.332_915_747_2, 1e-7);
    close(uncertainty / T19, 0.333, 1e-3);
    // The same with an offset in the unit: a scatter has no zero of its own.
    let records = "targets:\n  t: {of: car, at-least: 0 °C}\nresults:\n  r: {of: t, date: 2027-03-01, value: {from: a.csv, column: \
                   temperature, take: mean}}\n";
    let file = column(&readings).replacen('x', "temperature [°C]", 1);
    let read = Read::with_files(records, &[("a.csv", &file)]);
    close(read.number("t"), 100.145, 1e-12);
    close(read.uncertainty("t"), T19 * 0.332_915_747_2, 1e-7);
    // Every other way to take a number of them has no uncertainty of its own.
    for (take, expected) in [
        ("lowest", 96.90),
        ("highest", 102.72),
        ("last", 102.72),
        ("median", 100.20),
        ("50 %", 100.20),
        ("0 %", 96.90),
        ("100 %", 102.72),
        // Between the 19th and the 20th: 1 + 0.95 * 19 = 19.05.
        ("95 %", 102.36 + 0.05 * 0.36),
        ("count", 20.0),
    ] {
        let unit = if take == "count" { "of: t" } else { "" };
        let (found, uncertainty) = match unit {
            "" => value(&format!("take: {take}"), &column(&readings)),
            _ => {
                let records = "targets:\n  t: {of: car, at-least: 0}\nresults:\n  r: {of: t, date: 2027-03-01, value: {from: a.csv, \
                               take: count}}\n";
                let read = Read::with_files(records, &[("a.csv", &column(&readings))]);
                (read.number("t"), read.uncertainty("t"))
            }
        };
        close(found, expected, 1e-12);
        assert_eq!(uncertainty, 0.0, "{take}");
    }
}

/// JCGM 100:2008, H.2: five readings of voltage, current and phase. Printed: 4.9990 V, 19.6610 mA, 1.04446 rad with u =
/// 0.0032 V, 0.0095 mA and 0.00075 rad; R = 127.732 ohm. The inputs are independent here, which gives u(R) = 0.1945 ohm
/// (computed from the readings in full precision; the printed 0.071 ohm is with their correlations).
#[test]
fn resistance_from_the_readings() {
    let file = "V [V],I [mA],phi [rad]\n5.007,19.663,1.0456\n4.994,19.639,1.0438\n5.005,19.640,1.0468\n4.990,19.685,1.0428\n\
                4.999,19.678,1.0433\n";
    let records = "
targets:
  voltage: {of: car, at-least: 0 V}
  current: {of: car, at-least: 0 mA}
  phase: {of: car, at-least: 0 rad}
  resistance: {of: car, at-least: 0 ohm, formula: voltage * cos(phase) / current}
  reactance: {of: car, at-least: 0 ohm, formula: voltage * sin(phase) / current}
results:
  v: {of: voltage, date: 2027-03-01, value: {from: test/a.csv, column: V, take: mean}}
  i: {of: current, date: 2027-03-01, value: {from: test/a.csv, column: I, take: mean}}
  phi: {of: phase, date: 2027-03-01, value: {from: test/a.csv, column: phi, take: mean}}
";
    let read = Read::with_files(records, &[("test/a.csv", file)]);
    for (id, mean, standard) in [
        ("voltage", 4.9990, 0.003_209_361_307),
        ("current", 19.6610, 0.009_471_008_394),
        ("phase", 1.044_46, 0.000_752_063_827),
        ("resistance", 127.732_169_928, 0.194_544_454_489),
        ("reactance", 219.846_511_913, 0.200_909_305_928),
    ] {
        close(read.number(id), mean, 1e-9);
        close(read.uncertainty(id), T4 * standard, 1e-6);
    }
}

/// JCGM GUM-5:2026, the rope: six readings and four half-widths. Printed: 10005.67 kN, u = 9.9 kN. The printed U = 19.4 kN is
/// 1.96 times that; here the factor is 2.
#[test]
fn the_rope() {
    let file = column(&[10_006.0, 10_007.0, 10_005.0, 10_008.0, 10_003.0, 10_005.0]);
    let (mean, uncertainty) =
        value("take: mean, instrument: [{within: 6.8}, {within: 8.2}, {within: 8.7}, {within: 10.2}]", &file);
    close(mean, 10_005.666_666_667, 1e-12);
    close(uncertainty / 2.0, 9.912_002, 1e-5);
    let (_, alone) = value("take: mean", &file);
    close(alone, T5 * 0.714_920, 1e-5);
}

/// JCGM 100:2008, 4.3: the uncertainty of an instrument, alone and with that of the mean.
#[test]
fn the_instrument() {
    let one = "x\n4.31\n";
    assert_eq!(value("take: mean", one), (4.31, 0.0), "one reading has no uncertainty of its own");
    // As it is: a standard uncertainty. 4.3.7: limits, divided by the root of three. 4.3.3: a certificate with k = 2.
    for (instrument, standard) in [
        ("0.01", 0.01),
        ("{within: 0.01}", 0.005_773_502_7),
        ("{expanded: 0.01}", 0.005),
        ("[0.03, 0.04]", 0.05),
        ("0", 0.0),
    ] {
        for take in ["", ", take: mean", ", take: lowest"] {
            let (found, uncertainty) = value(&format!("instrument: {instrument}{take}"), one);
            assert_eq!(found, 4.31);
            assert!((uncertainty - 2.0 * standard).abs() < 1e-9, "{instrument}{take}: {uncertainty}");
        }
    }
    // In quadrature, with the degrees of freedom of G.4.1: u = 1 with 2 degrees, and 1 of the instrument: 2^2 * 2 = 8.
    let three = column(&[10.0, 10.0 + 3.0_f64.sqrt(), 10.0 - 3.0_f64.sqrt()]);
    let (_, uncertainty) = value("take: mean, instrument: 1", &three);
    close(uncertainty, 2.0_f64.sqrt() * 2.366_415_784, 1e-5);
    close(value("take: mean", &three).1, T2, 1e-6);
    // Of three readings, only the mean has the scatter.
    assert_eq!(value("take: median, instrument: 1", &three), (10.0, 2.0));
}

/// NIST StRD, univariate: NumAcc1 to NumAcc4, with the certified standard deviation to eight digits.
#[test]
fn nist_univariate() {
    let (mean, uncertainty) = value("take: mean", "x\n10000001\n10000003\n10000002\n");
    assert_eq!(mean, 10_000_002.0);
    close(uncertainty, T2 / 3.0_f64.sqrt(), 1e-7);
    for (middle, low, high) in
        [("1.2", "1.1", "1.3"), ("1000000.2", "1000000.1", "1000000.3"), ("10000000.2", "10000000.1", "10000000.3")]
    {
        let file = format!("x\n{middle}\n{}", format!("{low}\n{high}\n").repeat(500));
        let read = result("take: mean", &file);
        close(read.number("t"), middle.parse().unwrap(), 1e-14);
        // The factor for 1000 degrees of freedom, and the root of 1001 readings.
        close(read.uncertainty("t"), 2.002_503_065 * 0.1 / 1001.0_f64.sqrt(), 1e-6);
    }
}

/// Amounts of parts and findings of analyses are read alike.
#[test]
fn amounts_and_findings() {
    let records = "
systems: {body: {in: car}}
targets:
  mass: {of: car, at-most: 10 kg, total: mass}
  stress: {of: car, at-most: 300 MPa}
parts:
  hub: {in: body, count: 2, amounts: {mass: {value: {from: scales.csv, column: mass, unit: g, take: mean, where: {part: hub, run: 1}}}}}
  rim: {in: body, amounts: {mass: 1 kg}}
analyses:
  bending: {finds: {stress: {from: loads.csv, column: stress, take: highest}}}
";
    let scales = "part,run,mass\nhub,1,500\nhub,1.0,502\nhub,2,900\nrim,1,1000\n";
    let loads = "# from the solver\ncase,stress [MPa]\nbrake,210.5\ncorner,244.25\n";
    let read = Read::with_files(records, &[("scales.csv", scales), ("loads.csv", loads)]);
    close(read.number("mass"), 2.002, 1e-12);
    assert_eq!((read.number("stress"), read.get("stress").unit.as_str()), (244.25, "MPa"));
    // s = sqrt(2) g of two readings: u = 1 g, Student's factor for one degree of freedom 13.968, two pieces.
    close(read.uncertainty("mass"), 2.0 * 13.967_730_2 * 1e-3, 1e-4);
}
