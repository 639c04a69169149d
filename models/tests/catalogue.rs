//! The models as data: complete, consistent, and with the same results as the structs.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::HashSet;

use models::{
    Bound, Car, Efficiency, EfficiencyCo2, Gearbox, Kind, Lap, MODELS, Model, ModelError, Power, SteadyCircle,
    StraightLine, Used, find,
};

const TRACK: [(f64, f64); 4] = [(60.0, 0.0), (31.4, 0.1), (60.0, 0.0), (31.4, -0.1)];
const CURVE: [(f64, f64); 3] = [(0.0, 0.0), (15.0, 55e3), (30.0, 50e3)];
const ENGINE: [(f64, f64); 3] = [(300.0, 15e3), (800.0, 50e3), (1200.0, 55e3)];

fn model(name: &str) -> &'static Model {
    find(name).unwrap()
}

#[test]
fn names_are_sorted_and_unique_and_texts_exist() {
    assert!(MODELS.windows(2).all(|pair| pair[0].name < pair[1].name));
    for model in MODELS {
        assert!(!model.source.is_empty() && model.summary.ends_with('.'), "{}", model.name);
        let explained = model.explained;
        for lines in [explained.equations, explained.omitted, explained.accuracy] {
            assert!(!lines.is_empty() && lines.iter().all(|line| !line.ends_with('.')), "{}", model.name);
        }
        let names: HashSet<_> = model.inputs.iter().map(|input| input.name).collect();
        assert_eq!(names.len(), model.inputs.len(), "{}", model.name);
        for input in model.inputs {
            assert!(input.name.chars().all(|c| c.is_ascii_lowercase() || c == '-' || c.is_ascii_digit()));
            assert!(!input.meaning.is_empty());
            assert!(!input.required || input.default.is_none());
            let has_none = matches!(input.kind, Kind::Table { .. } | Kind::StressFile | Kind::Text);
            assert_eq!(input.unit.is_empty(), has_none, "{}", input.name);
        }
        assert!(model.outputs.iter().all(|output| !output.unit.is_empty() && !output.meaning.is_empty()));
    }
    assert!(find("anti-gravity").is_none());
}

/// Bound inputs for each model.
fn examples() -> Vec<(&'static Model, Bound<'static>)> {
    let mut run = Bound::new();
    run.set_number("mass", 280.0).set_number("grip", 1.4).set_number("power", 60e3).set_number("distance", 75.0);
    let mut lap = Bound::new();
    lap.set_number("mass", 280.0).set_number("grip", 1.4).set_number("power", 60e3).set_table("track", &TRACK);
    let mut circle = Bound::new();
    circle.set_number("mass", 280.0).set_number("grip", 1.4).set_number("radius", 9.0);
    let mut efficiency = Bound::new();
    efficiency.set_number("time", 1400.0).set_number("energy", 2e7);
    let mut co2 = Bound::new();
    co2.set_number("time", 1400.0).set_number("fuel", 3e-3).set_number("best-time", 1350.0).set_number("best-co2", 6.0);
    ["straight-line", "lap", "steady-circle", "efficiency", "efficiency-co2"]
        .into_iter()
        .map(model)
        .zip([run, lap, circle, efficiency, co2])
        .collect()
}

#[test]
fn each_model_returns_its_outputs_and_uses_its_defaults() {
    for (model, bound) in examples() {
        let found = model.check_and_run(&bound).unwrap();
        assert_eq!(found.len(), model.outputs.len(), "{}", model.name);
        for input in model.inputs {
            if let (Some(default), None) = (input.default, bound.number(input.name)) {
                let mut spelled = bound.clone();
                spelled.set_number(input.name, default);
                assert_eq!(model.check_and_run(&spelled).as_ref(), Ok(&found), "{} {}", model.name, input.name);
            }
        }
    }
}

#[test]
fn required_inputs_are_required() {
    for (model, bound) in examples() {
        for input in model.inputs.iter().filter(|input| input.required) {
            let mut less = Bound::new();
            for other in model.inputs.iter().filter(|other| other.name != input.name) {
                if let Some(value) = bound.number(other.name) {
                    less.set_number(other.name, value);
                }
                if let Some(rows) = bound.table(other.name) {
                    less.set_table(other.name, rows);
                }
            }
            match model.check_and_run(&less) {
                Err(ModelError::Missing { input: missing, .. }) => assert_eq!(missing, input.name),
                other => panic!("{} {}: {other:?}", model.name, input.name),
            }
        }
    }
}

#[test]
fn each_name_sets_its_field() {
    let car = Car {
        mass: 230.0,
        grip: 1.3,
        drag_area: 1.1,
        lift_area: 2.0,
        rolling_resistance: 0.02,
        rotating_mass: 9.0,
        driven_share: 0.53,
        cg_height: 0.28,
        wheelbase: Some(1.6),
        load_sensitivity: 2e-5,
        reference_load: Some(2500.0),
        track_width: None,
        rear_track_width: None,
        front_roll_share: None,
        air_density: 1.15,
    };
    let mut of_car = Bound::new();
    for (name, value) in [
        ("mass", car.mass),
        ("grip", car.grip),
        ("drag-area", car.drag_area),
        ("lift-area", car.lift_area),
        ("rolling-resistance", car.rolling_resistance),
        ("rotating-mass", car.rotating_mass),
        ("driven-share", car.driven_share),
        ("cg-height", car.cg_height),
        ("wheelbase", 1.6),
        ("load-sensitivity", car.load_sensitivity),
        ("reference-load", 2500.0),
        ("air-density", car.air_density),
    ] {
        of_car.set_number(name, value);
    }
    let gears = [2.8, 2.0, 1.5];
    let mut bound = of_car.clone();
    bound.set_number("distance", 75.0).set_number("staging", 0.3).set_table("engine-curve", &ENGINE);
    bound.set_list("gears", &gears).set_number("final-drive", 4.0).set_number("wheel-radius", 0.23);
    bound.set_number("redline", 1150.0).set_number("shift-time", 0.1);
    bound.set_number("power-limit", 50e3).set_number("measured-factor", 1.02);
    let gearbox =
        Gearbox { gears: gears.to_vec(), final_drive: 4.0, wheel_radius: 0.23, redline: Some(1150.0), shift_time: 0.1 };
    let run = StraightLine {
        car: car.clone(),
        power: Power::Engine(ENGINE.to_vec()),
        distance: 75.0,
        staging: 0.3,
        gearbox: Some(gearbox.clone()),
        power_limit: Some(50e3),
        measured_factor: 1.02,
    };
    let found = run.run().unwrap();
    let values = model("straight-line").check_and_run(&bound).unwrap();
    assert_eq!(values, [found.time, found.speed, found.energy]);

    let car = Car { track_width: Some(1.2), rear_track_width: Some(1.15), front_roll_share: Some(0.52), ..car };
    let mut bound = of_car;
    bound.set_number("track-width", 1.2).set_number("rear-track-width", 1.15).set_number("front-roll-share", 0.52);
    // The car brakes and drives in corners, too.
    let track = [(60.0, 0.0), (15.0, 0.03), (31.4, 0.1), (20.0, 0.02), (60.0, 0.0), (31.4, -0.1)];
    bound.set_table("track", &track).set_table("engine-curve", &ENGINE);
    bound.set_number("braking-grip", 1.2).set_number("start", 5.0);
    bound.set_list("gears", &gears).set_number("final-drive", 4.0).set_number("wheel-radius", 0.23);
    bound.set_number("redline", 1150.0).set_number("shift-time", 0.1);
    bound.set_number("power-limit", 50e3).set_number("measured-factor", 1.02);
    bound.set_number("regeneration", 0.3).set_number("regeneration-limit", 20e3);
    let lap = Lap {
        car,
        power: Power::Engine(ENGINE.to_vec()),
        track: track.to_vec(),
        braking_grip: Some(1.2),
        start: Some(5.0),
        gearbox: Some(gearbox),
        power_limit: Some(50e3),
        regeneration: 0.3,
        regeneration_limit: Some(20e3),
        measured_factor: 1.02,
    };
    let found = lap.run().unwrap();
    let values = model("lap").check_and_run(&bound).unwrap();
    assert_eq!(values, [found.time, found.energy, found.speed, found.recovered]);
    // Each of these inputs has an effect.
    for input in model("lap").inputs {
        if let Some(value) = bound.number(input.name) {
            let mut other = bound.clone();
            other.set_number(input.name, value * 0.99);
            assert_ne!(model("lap").check_and_run(&other).unwrap(), values, "{}", input.name);
        }
    }

    let mut bound = Bound::new();
    for (name, value) in [("radius", 9.0), ("grip", 1.4), ("mass", 230.0), ("lift-area", 2.0), ("air-density", 1.1)] {
        bound.set_number(name, value);
    }
    bound.set_number("load-sensitivity", 5e-5).set_number("reference-load", 2000.0);
    bound.set_number("cg-height", 0.28).set_number("track-width", 1.2).set_number("rear-track-width", 1.15);
    bound.set_number("rear-weight-share", 0.53).set_number("front-roll-share", 0.5).set_number("measured-factor", 1.02);
    let circle = SteadyCircle {
        radius: 9.0,
        grip: 1.4,
        mass: 230.0,
        lift_area: 2.0,
        load_sensitivity: 5e-5,
        reference_load: Some(2000.0),
        air_density: 1.1,
        cg_height: 0.28,
        track_width: Some(1.2),
        rear_track_width: Some(1.15),
        rear_weight_share: 0.53,
        front_roll_share: Some(0.5),
        measured_factor: 1.02,
    };
    let found = circle.run().unwrap();
    let values = model("steady-circle").check_and_run(&bound).unwrap();
    assert_eq!(values, [found.time, found.lateral_acceleration, found.speed]);
}

#[test]
fn invalid_bindings_are_errors() {
    let (model, bound) = examples().remove(0);
    let with = |name, value| {
        let mut more = bound.clone();
        more.set_number(name, value);
        model.check_and_run(&more).unwrap_err()
    };
    assert_eq!(with("horses", 80.0), ModelError::Unknown { model: "straight-line", input: "horses".to_owned() });
    assert!(matches!(with("gears", 2.0), ModelError::Unknown { .. }), "a list bound as a number");
    for input in ["redline", "final-drive", "wheel-radius", "shift-time"] {
        assert!(matches!(with(input, 2.0), ModelError::Conflict { input: named, .. } if named == input));
    }
    let mut both = bound.clone();
    both.set_table("power-curve", &CURVE);
    assert!(matches!(model.check_and_run(&both), Err(ModelError::Conflict { input: "power", .. })));
    let mut both = bound;
    both.set_table("engine-curve", &ENGINE);
    assert!(matches!(model.check_and_run(&both), Err(ModelError::Conflict { input: "engine-curve", .. })));
}

#[test]
fn efficiency_forms() {
    // FS-Rules 2025 v1.1, D7.10: EF = T^2 E
    let electric = Efficiency { time: 1500.0, used: Used::Energy(1.8e7), ..Efficiency::default() };
    assert_eq!(electric.run().unwrap(), 1500.0 * 1500.0 * 1.8e7);
    let petrol = Efficiency { used: Used::Fuel(3e-3), ..electric };
    assert!((petrol.run().unwrap() / (2.25e6 * 9.6e7) - 1.0).abs() < 1e-15);
    // Formula SAE Rules 2024, D.13.4: 2.31 kg of CO2 per litre of petrol
    let car = EfficiencyCo2 {
        time: 1500.0,
        used: Used::Fuel(4e-3),
        best_time: 1400.0,
        best_co2: 7.0,
        ..EfficiencyCo2::default()
    };
    let found = car.run().unwrap();
    assert!((found.co2 - 9.24).abs() < 1e-12);
    assert!((found.factor - 1400.0 / 1500.0 * 7.0 / 9.24).abs() < 1e-15);
    let shorter = EfficiencyCo2 { laps: 10.0, best_time_laps: Some(11.0), best_co2_laps: Some(11.0), ..car };
    assert!((shorter.run().unwrap().factor / found.factor - (10.0_f64 / 11.0).powi(2)).abs() < 1e-15);
    let best = EfficiencyCo2 { time: 1400.0, used: Used::Energy(3.6e6), best_co2: 0.65, ..car };
    assert!((best.run().unwrap().factor - 1.0).abs() < 1e-15);
}
