//! For any input, a model returns finite numbers or an error, and in a short time.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use std::time::{Duration, Instant};

use models::{Bound, Car, Gearbox, Kind, Lap, MODELS, ModelError, Power, SteadyCircle, StraightLine};
use proptest::prelude::*;

fn any_number() -> impl Strategy<Value = f64> {
    prop_oneof![
        2 => prop::sample::select(vec![
            f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.0, -0.0, -1.0, 1.0, f64::MIN_POSITIVE, 5e-324, f64::MAX,
            f64::MIN, f64::EPSILON, 1e-100, 1e100, 1e-9, 1e9,
        ]),
        1 => any::<f64>(),
        3 => (-12.0..12.0_f64).prop_map(|power| 10.0_f64.powf(power)),
        4 => 0.01..10.0_f64,
    ]
}

/// Sorted in most cases, so that the first check passes.
fn any_rows() -> impl Strategy<Value = Vec<(f64, f64)>> {
    (prop::collection::vec((any_number(), any_number()), 0..6), 0..3_u8).prop_map(|(mut rows, order)| {
        if order > 0 {
            rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        }
        rows
    })
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(4000) })]

    #[test]
    fn any_numbers_by_name(
        which in 0..MODELS.len(),
        numbers in prop::collection::vec(prop::option::weighted(0.6, any_number()), 40),
        rows in prop::collection::vec(prop::option::weighted(0.5, any_rows()), 40),
        list in prop::option::weighted(0.3, prop::collection::vec(any_number(), 0..5)),
    ) {
        let model = &MODELS[which];
        let mut bound = Bound::new();
        for (index, input) in model.inputs.iter().enumerate() {
            match (input.kind, &numbers[index], &rows[index], &list) {
                (Kind::Number, Some(value), _, _) => { bound.set_number(input.name, *value); }
                // Required inputs are always set, so that most cases get further.
                (Kind::Number, None, _, _) if input.required => { bound.set_number(input.name, 2.0); }
                (Kind::Table { .. }, _, Some(rows), _) => { bound.set_table(input.name, rows); }
                (Kind::List, _, _, Some(list)) => { bound.set_list(input.name, list); }
                _ => {}
            }
        }
        let begin = Instant::now();
        match model.check_and_run(&bound) {
            Ok(values) => prop_assert!(values.iter().all(|value| value.is_finite()), "{values:?} of {bound:?}"),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
        prop_assert!(begin.elapsed() < Duration::from_secs(20), "{:?}", bound);
    }

    #[test]
    fn any_valid_numbers(
        (mass, power, grip, distance) in (10.0..1e4_f64, 1e2..1e7_f64, 0.02..10.0_f64, 1e-3..1e5_f64),
        (drag_area, lift_area, rolling_resistance, rotating_mass) in (0.0..20.0_f64, -2.0..20.0_f64, 0.0..0.5_f64, 0.0..500.0_f64),
        (driven_share, cg_height, wheelbase) in (0.01..1.0_f64, 0.0..5.0_f64, 0.1..10.0_f64),
        track in prop::collection::vec((1e-3..1e3_f64, -1.0..1.0_f64), 1..8),
        start in prop::option::of(0.0..50.0_f64),
    ) {
        let car = Car {
            mass, grip, drag_area, lift_area, rolling_resistance, rotating_mass, driven_share, cg_height,
            wheelbase: Some(wheelbase), ..Car::default()
        };
        let power = Power::Constant(power);
        let run = StraightLine { car: car.clone(), power: power.clone(), distance, ..StraightLine::default() };
        let found = run.run();
        prop_assert!(matches!(found, Ok(_) | Err(ModelError::Stuck { .. })), "{found:?} of {run:?}");
        let lap = Lap { car, power, track, start, ..Lap::default() };
        let begin = Instant::now();
        let found = lap.run();
        prop_assert!(
            matches!(
                found,
                Ok(_) | Err(ModelError::Stuck { .. } | ModelError::StartTooFast { .. } | ModelError::NoFiniteLimit { .. })
            ),
            "{found:?} of {lap:?}"
        );
        prop_assert!(begin.elapsed() < Duration::from_secs(20), "{:?}", lap);
    }
}

#[test]
fn each_limit_of_validity_has_an_error() {
    let car = Car { mass: 280.0, grip: 1.4, ..Car::default() };
    let run = StraightLine { car, power: Power::Constant(60e3), distance: 75.0, ..StraightLine::default() };
    let error_of = |car: Car| StraightLine { car, ..run.clone() }.run().unwrap_err().to_string();
    let usual = run.car.clone();
    let again = usual.clone();
    let cases = [
        (error_of(Car::default()), "`mass` must be above zero and finite, not NaN"),
        (error_of(Car { grip: 0.0, ..usual.clone() }), "`grip` must be above zero and finite, not 0"),
        (error_of(Car { drag_area: -1.0, ..usual.clone() }), "`drag-area` must be zero or more, and finite, not -1"),
        (error_of(Car { driven_share: 1.1, ..usual.clone() }), "`driven-share` must be above 0 and at most 1, not 1.1"),
        (
            error_of(Car { driven_share: 0.5, cg_height: 0.3, ..usual.clone() }),
            "`wheelbase` is missing: load transfer needs it if `driven-share` is below 1 and `cg-height` is set",
        ),
        (
            error_of(Car { rolling_resistance: 1.4, ..usual }),
            "the car stops at 0.000 m: the driving force is below the resistance",
        ),
        (
            StraightLine { power: Power::Curve(vec![(0.0, 1e3), (0.0, 2e3)]), ..run.clone() }
                .run()
                .unwrap_err()
                .to_string(),
            "`power-curve`, row 2: speeds must increase from row to row",
        ),
        (
            StraightLine { power: Power::Curve(vec![(0.0, 0.0), (10.0, 0.0)]), ..run.clone() }
                .run()
                .unwrap_err()
                .to_string(),
            "`power-curve`: at least one row must have a power above zero",
        ),
        (
            StraightLine { power: Power::Engine(vec![(300.0, 1e3)]), ..run.clone() }.run().unwrap_err().to_string(),
            "`gears` is missing: `engine-curve` needs them",
        ),
    ];
    for (found, expected) in cases {
        assert_eq!(found, expected);
    }
    let geared = |gears: &[f64], redline| {
        let gearbox = Gearbox { gears: gears.to_vec(), wheel_radius: 0.25, redline, ..Gearbox::default() };
        StraightLine { gearbox: Some(gearbox), ..run.clone() }.run().unwrap_err().to_string()
    };
    assert_eq!(geared(&[], Some(1e3)), "`gears`: at least one ratio is needed");
    assert_eq!(geared(&[2.0, 2.0], Some(1e3)), "`gears`, row 2: each ratio must be smaller than the one before");
    assert_eq!(geared(&[2.0], None), "`redline` is missing: `gears` need it without `engine-curve`");

    let lap = |track: &[(f64, f64)]| {
        let lap = Lap { car: again.clone(), power: Power::Constant(60e3), track: track.to_vec(), ..Lap::default() };
        lap.run().unwrap_err().to_string()
    };
    assert_eq!(lap(&[]), "`track`: at least one segment is needed");
    assert_eq!(lap(&[(10.0, 0.0), (0.0, 0.1)]), "`track`, row 2: the length must be above zero and finite");
    assert_eq!(lap(&[(10.0, f64::NAN)]), "`track`, row 1: the curvature must be finite");
    // A closed straight without drag has no steady speed.
    assert!(lap(&[(100.0, 0.0)]).starts_with("the speed of the flying lap has no finite limit"));

    let circle = SteadyCircle { radius: 9.0, grip: 1.4, mass: 280.0, ..SteadyCircle::default() };
    let worn = SteadyCircle { load_sensitivity: 1e-3, reference_load: Some(0.0), ..circle };
    assert!(worn.run().unwrap_err().to_string().starts_with("`load-sensitivity` must be so small"));
}
