//! Units and their arithmetic, against NIST SP 811 and against a table generated with the PyPI package pint.

use std::fmt::Write as _;

use crate::read::Read;

/// NIST SP 811 (2008), tables 1 to 8 and appendix B.8: factors that are exact by definition with all digits, the others
/// with the seven digits of the appendix. Quantity, value in SI, SI unit, greatest relative deviation.
const NIST: [(&str, f64, &str, f64); 47] = [
    ("1 in", 2.54e-2, "m", 1e-15),
    ("1 ft", 3.048e-1, "m", 1e-15),
    ("1 lb", 4.535_923_7e-1, "kg", 1e-15),
    ("1 lbf", 4.448_222, "kg*m/s^2", 5e-7),
    ("1 psi", 6.894_757e3, "kg/m/s^2", 5e-7),
    ("1 hp", 7.456_999e2, "kg*m^2/s^3", 5e-7),
    ("1 mph", 4.470_4e-1, "m/s", 1e-15),
    ("1 gn", 9.806_65, "m/s^2", 1e-15),
    ("1 bar", 1e5, "kg/m/s^2", 1e-15),
    ("1 min", 60.0, "s", 1e-15),
    ("1 h", 3.6e3, "s", 1e-15),
    ("1 d", 8.64e4, "s", 1e-15),
    ("1 l", 1e-3, "m^3", 1e-15),
    ("1 L", 1e-3, "m^3", 1e-15),
    ("1 t", 1e3, "kg", 1e-15),
    ("1 deg", 1.745_329e-2, "1", 5e-7),
    ("1 rpm", 1.047_198e-1, "rad/s", 5e-7),
    ("1 kWh", 3.6e6, "kg*m^2/s^2", 1e-15),
    ("1 Wh", 3.6e3, "kg*m^2/s^2", 1e-15),
    ("1 Ah", 3.6e3, "A*s", 1e-15),
    ("1 km/h", 2.777_778e-1, "m/s", 5e-7),
    ("0 °C", 273.15, "K", 1e-15),
    ("-40 °C", 233.15, "K", 1e-15),
    ("1 in^2", 6.451_6e-4, "m^2", 1e-15),
    ("1 in^3", 1.638_706e-5, "m^3", 5e-7),
    ("1 ft^2", 9.290_304e-2, "m^2", 1e-15),
    ("1 ft^3", 2.831_685e-2, "m^3", 5e-7),
    ("1 lb/ft^3", 1.601_846e1, "kg/m^3", 5e-7),
    ("1 lb/in^3", 2.767_990e4, "kg/m^3", 5e-7),
    ("1 lbf*ft", 1.355_818, "kg*m^2/s^2", 5e-7),
    ("1 lbf*in", 1.129_848e-1, "kg*m^2/s^2", 5e-7),
    ("1 lbf/in", 1.751_268e2, "kg/s^2", 5e-7),
    ("1 lbf/ft", 1.459_390e1, "kg/s^2", 5e-7),
    ("1 lb*ft^2", 4.214_011e-2, "kg*m^2", 5e-7),
    ("1 in*lb", 1.152_125e-2, "kg*m", 5e-7),
    ("1 ft/s^2", 3.048e-1, "m/s^2", 1e-15),
    ("1 ft/min", 5.08e-3, "m/s", 1e-15),
    ("1 ft^3/min", 4.719_474e-4, "m^3/s", 5e-7),
    ("1 N", 1.0, "m*kg*s^-2", 1e-15),
    ("1 Pa", 1.0, "m^-1*kg*s^-2", 1e-15),
    ("1 J", 1.0, "m^2*kg*s^-2", 1e-15),
    ("1 W", 1.0, "m^2*kg*s^-3", 1e-15),
    ("1 C", 1.0, "s*A", 1e-15),
    ("1 V", 1.0, "m^2*kg*s^-3*A^-1", 1e-15),
    ("1 F", 1.0, "m^-2*kg^-1*s^4*A^2", 1e-15),
    ("1 ohm", 1.0, "m^2*kg*s^-3*A^-2", 1e-15),
    ("1 H", 1.0, "m^2*kg*s^-2*A^-2", 1e-15),
];

/// Targets with these values, between limits in the SI unit: a value of another dimension would be a problem.
fn read<'a>(all: impl Iterator<Item = (&'a str, &'a str, &'a str)>) -> Read {
    let mut records = String::from("targets:\n");
    for (number, (key, text, unit)) in all.enumerate() {
        writeln!(records, "  t{number}: {{of: car, between: ['-1e300 {unit}', '1e300 {unit}'], {key}: '{text}'}}")
            .unwrap();
    }
    Read::new(&records)
}

#[test]
fn factors_of_nist_sp_811() {
    let read = read(NIST.iter().map(|(text, _, unit, _)| ("estimate", *text, *unit)));
    for (number, (text, value, _, within)) in NIST.iter().enumerate() {
        let found = read.si(&format!("t{number}"));
        assert!((found - value).abs() <= within * value.abs(), "{text}: {found} is not {value}");
    }
}

/// The table of `unit_table.py`: every unit with every prefix, compound units, and products, quotients, powers, roots,
/// sums and differences of quantities in random units.
#[test]
fn units_and_arithmetic_of_pint() {
    let table = include_str!("unit_table.csv");
    let rows: Vec<[&str; 4]> = table
        .lines()
        .skip(1)
        .map(|line| line.split(',').collect::<Vec<_>>().try_into().expect("four cells a row"))
        .collect();
    assert!(rows.iter().filter(|row| row[0] == "quantity").count() > 500);
    assert!(rows.iter().filter(|row| row[0] == "formula").count() > 500);
    let key = |kind: &str| if kind == "quantity" { "estimate" } else { "formula" };
    let read = read(rows.iter().map(|[kind, text, _, unit]| (key(kind), *text, *unit)));
    let mut worst = ("", 0.0_f64);
    for (number, [_, text, value, unit]) in rows.iter().enumerate() {
        let (found, value): (f64, f64) = (read.si(&format!("t{number}")), value.parse().unwrap());
        let off = (found / value - 1.0).abs();
        assert!(off < 1e-11, "{text}: {found} is not {value} {unit}");
        if off > worst.1 {
            worst = (text, off);
        }
    }
    println!("of {} rows the worst is `{}`: {:e}", rows.len(), worst.0, worst.1);
}
