//! Tests of values, derivatives, dimensions and errors of formulas.

use super::*;
use crate::quantity::{Quantity, Unit};

fn run(text: &str, names: &[(&str, &str)]) -> Result<(f64, Dimension), FormulaError> {
    let formula = Formula::parse(text)?;
    let given: Vec<Quantity> = formula
        .names()
        .iter()
        .map(|name| {
            Quantity::parse(names.iter().find(|(n, _)| *n == &*name.text).expect("the name is given").1).unwrap()
        })
        .collect();
    let dimensions: Vec<Dimension> = given.iter().map(|q| q.unit().dimension()).collect();
    let values: Vec<f64> = given.iter().map(Quantity::si).collect();
    let dimension = formula.dimension(&dimensions)?;
    Ok((formula.value(&values, &mut Work::default()), dimension))
}

#[track_caller]
fn value(text: &str, names: &[(&str, &str)]) -> f64 {
    run(text, names).unwrap_or_else(|e| panic!("{text}: {e:?}")).0
}

#[test]
fn arithmetic() {
    for (text, expected) in [
        ("1 + 2 * 3", 7.0),
        ("(1 + 2) * 3", 9.0),
        ("2^3^2", 512.0),
        ("-2^2", -4.0),
        ("2^-1", 0.5),
        ("8 / 4 / 2", 1.0),
        ("10 - 3 - 2", 5.0),
        ("min(3, 1, 2) + max(1, 2)", 3.0),
        ("if(1 < 2, 10, 20)", 10.0),
        ("if(1 >= 2, 10, 20)", 20.0),
        ("abs(-3) + sqrt(16) + exp(0) + ln(1)", 8.0),
        ("sin(pi / 2) + cos(0)", 2.0),
        ("20 % * 10", 2.0),
        ("1e3 + .5", 1000.5),
        ("sin(30 deg)", 0.5),
    ] {
        assert!((value(text, &[]) - expected).abs() < 1e-12, "{text} = {}", value(text, &[]));
    }
}

#[test]
fn names_and_units() {
    let names = [
        ("car-mass", "205 kg"),
        ("engine-unit.mass", "31 kg"),
        ("g", "9.80665 m/s^2"),
        ("mu", "1.5"),
        ("r", "9.125 m"),
    ];
    assert_eq!(value("car-mass - engine-unit.mass", &names), 174.0);
    assert_eq!(value("car-mass + 75 kg", &names), 280.0);
    assert_eq!(value("1.2 kg/m^3 * 2 m^3 + 600 g", &names), 3.0);
    // Diameter 18.25 m, grip 1.5: 4.94869 s (Newton's law; the reference's section 2).
    let (time, dimension) = run("2 * pi * sqrt(r / (mu * g))", &names).unwrap();
    assert!((time - 4.94869).abs() < 1e-5, "{time}");
    assert_eq!(dimension.to_string(), "s");
    let (_, dimension) = run("sqrt(car-mass)", &names).unwrap();
    assert_eq!(dimension.to_string(), "kg^0.5");
    assert_eq!(Formula::parse("car-mass").unwrap().only_name(), Some("car-mass"));
    assert_eq!(Formula::parse("-car-mass").unwrap().only_name(), None);
}

/// Temperatures with their own zero: what pint calls offset units, and refuses in the same places.
#[test]
fn temperatures_have_a_scale() {
    let kind = |text: &str| {
        let formula = Formula::parse(text).unwrap();
        let of = |name: &Name| match &*name.text {
            "inside" | "outside" => ValueKind::of_unit(&Unit::parse("°C").unwrap()),
            _ => ValueKind::of_unit(&Unit::parse("K").unwrap()),
        };
        let names: Vec<ValueKind> = formula.names().iter().map(of).collect();
        formula.kind(&names)
    };
    for (text, scale) in [
        ("inside", Scale::Point),
        ("inside - outside", Scale::Difference),
        ("2 * (inside - outside)", Scale::Difference),
        ("inside + 5 K", Scale::Point),
        ("outside + (inside - outside) / 2", Scale::Point),
        ("max(inside, outside)", Scale::Point),
        ("max(inside - outside, 5 K)", Scale::Plain),
        ("inside - -273.15 °C", Scale::Difference),
        ("kelvin - 5 K", Scale::Plain),
        ("if(inside > outside, inside, outside)", Scale::Point),
    ] {
        assert_eq!(kind(text).unwrap().scale, scale, "{text}");
    }
    for (text, at, word) in [
        ("inside + outside", 7, "adding two temperatures"),
        ("2 * inside", 4, "product"),
        ("inside / outside", 0, "product"),
        ("inside^2", 0, "power"),
        ("-inside", 1, "product"),
        ("abs(inside)", 4, "product"),
        ("if(inside - outside < 12 °C, 1, 0)", 20, "a temperature and a difference"),
        ("max(inside - outside, 12 °C)", 0, "a temperature and a difference"),
        ("inside - outside - 5 °C", 17, "from a difference"),
    ] {
        let error = kind(text).unwrap_err();
        assert!(error.message.contains(word) && error.start == at, "{text}: {error:?}");
    }
    // A sign before a temperature belongs to the number: 293.15 K - 253.15 K.
    assert!((value("20 °C - -20 °C", &[]) - 40.0).abs() < 1e-12);
    assert!((value("-20 °C + 5 K", &[]) - 258.15).abs() < 1e-12);
}

#[test]
fn names_in_units() {
    let names = |text: &str| {
        let formula = Formula::parse(text).unwrap();
        formula.unit_names().iter().map(|name| (name.text.to_string(), name.start)).collect::<Vec<_>>()
    };
    assert_eq!(names("9 s/t + 2 kg/m^3*s"), [("t".to_owned(), 4), ("s".to_owned(), 17)]);
    assert!(names("9 s / t").is_empty());
}

/// Published vectors of score formulas: Formula SAE Rules 2024, FS-Rules 2025 v1.1, FS-Rules 2026 v1.0.
#[test]
fn score_formulas_of_published_rule_books() {
    let sae = "if(time < slowest, span * (slowest/time - 1) / (slowest/best - 1) + floor, floor)";
    let names = [("time", "4.4 s"), ("best", "4.0 s"), ("slowest", "6 s"), ("span", "95.5 pts"), ("floor", "4.5 pts")];
    let (points, dimension) = run(sae, &names).unwrap();
    assert!((points - 73.954545).abs() < 1e-5, "{points}");
    assert_eq!(dimension, Dimension::points());
    let fs = "(max - least) * ((slowest - time)/(slowest - best))^2 + least";
    let names = [("time", "4.4 s"), ("best", "4.0 s"), ("slowest", "6.8 s"), ("max", "50 pts"), ("least", "2.5 pts")];
    let formula = Formula::parse(&fs.replace("max", "most")).unwrap();
    assert_eq!(formula.names().len(), 5);
    let names: Vec<(&str, &str)> = names.iter().map(|(n, v)| (if *n == "max" { "most" } else { n }, *v)).collect();
    assert!((value(&fs.replace("max", "most"), &names) - 37.397959).abs() < 1e-5);
}

#[test]
fn derivatives_agree_with_central_differences() {
    let text = "if(a < b, a^2 * b / c + sqrt(a) * ln(c) - min(a, b)^1.5, 0) + exp(-a) * sin(b) + cos(c) + abs(-a) + max(a, c) + b^a";
    let formula = Formula::parse(text).unwrap();
    let (at, mut work) = ([1.3, 2.1, 0.7], Work::default());
    let mut partials = [0.0; 3];
    formula.value_and_partials(&at, &mut partials, &mut work);
    for i in 0..3 {
        let h = 1e-6;
        let mut shifted = |by: f64| {
            let mut x = at;
            x[i] += by;
            formula.value(&x, &mut work)
        };
        let numeric = (shifted(h) - shifted(-h)) / (2.0 * h);
        assert!((partials[i] - numeric).abs() < 1e-7, "{i}: got {}, expected {numeric}", partials[i]);
    }
}

/// Invalid formulas, each with the position of the error and a part of the message.
#[test]
fn fifty_invalid_formulas() {
    let names =
        [("m", "2 kg"), ("t", "3 s"), ("v", "4 m/s"), ("r", "5"), ("p", "6 pts"), ("c", "7 EUR"), ("d", "8 USD")];
    let cases: Vec<Vec<&str>> = include_str!("../../../tests/wrong-formulas.tsv")
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| line.split('\t').collect())
        .collect();
    assert!(cases.len() >= 50);
    for case in cases {
        let [text, start, kind, word] = case[..] else { panic!("{case:?}") };
        let error = run(text, &names).expect_err(text);
        let kind = if kind == "Unit" { FormulaErrorKind::Unit } else { FormulaErrorKind::Syntax };
        assert_eq!((error.start, error.kind), (start.parse().unwrap(), kind), "{text}: {error:?}");
        assert!(error.message.contains(word), "{text}: {error:?}");
        assert!(!error.help.is_empty(), "{text}");
    }
}

#[test]
fn deep_nesting_is_an_error_and_length_is_not() {
    for text in ["(".repeat(1000), "-".repeat(1000), format!("{}1", "2^".repeat(1000)), "abs(".repeat(1000)] {
        assert!(Formula::parse(&text).unwrap_err().message.contains("nested"));
    }
    let long = vec!["1"; 2000].join("+");
    assert!(Formula::parse(&long).is_ok());
}

proptest::proptest! {
    /// No text makes the parser panic, and the position of an error is inside the text.
    #[test]
    fn any_text_is_parsed_or_rejected(text in "[-a-z0-9.+*/^()<>=, %°±A-Zé]{0,60}") {
        match Formula::parse(&text) {
            Ok(formula) => {
                let dimensions = vec![Dimension::default(); formula.names().len()];
                let _ = formula.dimension(&dimensions);
                let mut partials = vec![0.0; dimensions.len()];
                let _ = formula.value_and_partials(&vec![1.5; dimensions.len()], &mut partials, &mut Work::default());
            }
            Err(error) => proptest::prop_assert!(error.start <= text.chars().count()),
        }
    }
}
